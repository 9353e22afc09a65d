"""Time a whole run by step, beside another version of the program, on the same county.

    python -m benchmarks.whole --parcels 3000 --against ../before

`--against` is a checkout of the version to compare with; both run in turn, each in a process of its
own, from nothing kept but machine code. The floor of a step is what it takes to write and hash the
bytes that it gives: no step can take less, and none without arithmetic needs more.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve()
LEAST_S = 0.1
"""Steps that take less in both versions are summed up in one line, s."""


def one(region: Path, out: Path) -> None:
    """Run a region from nothing kept and print processor seconds, bytes given and most memory."""
    from riskmap.running import run
    from riskmap.stages.progress import Progress

    steps: dict[str, float] = {}

    class Clock(Progress):
        @contextmanager
        def stage(self, name: str, *likely: float) -> Iterator[None]:
            start = time.process_time()
            with super().stage(name, *likely):
                yield
            steps[name] = time.process_time() - start

    store = region.parent / ".riskmap"
    shutil.rmtree(store, ignore_errors=True)
    run(region, out=out, progress=Clock())
    sizes = {}
    for path in store.glob("entries/*/entry.json"):
        said = json.loads(path.read_text(encoding="utf-8"))
        sizes[said["stage"]] = sum(said["sizes"].values())
    peak_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    total = time.process_time()
    print(json.dumps({"steps": steps, "sizes": sizes, "total": total, "peak_gb": peak_gb}))


def bytes_per_second(folder: Path, size: int = 1 << 28) -> float:
    """Bytes written and hashed in a processor second."""
    content = os.urandom(size)
    start = time.process_time()
    (folder / "floor").write_bytes(content)
    hashlib.sha256(content).hexdigest()
    return size / (time.process_time() - start)


def timed(checkout: Path, region: Path, out: Path) -> dict[str, Any]:
    """Run a version of the program on a county; what :func:`one` prints."""
    command = [sys.executable, str(HERE), "--one", str(region), str(out)]
    place = {**os.environ, "PYTHONPATH": str(checkout)}
    done = subprocess.run(command, env=place, check=True, capture_output=True, text=True)
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def compare(parcels: int, against: Path, runs: int) -> None:
    """Print the least processor seconds of every step in both versions, with their ratio."""
    from sample_region.make import make_county

    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        county = folder / "county"
        county.mkdir()
        make_county(county, parcels=parcels)
        found: dict[Path, list[dict[str, Any]]] = {HERE.parent.parent: [], against.resolve(): []}
        for number in range(runs + 1):
            for checkout, figures in found.items():
                figure = timed(checkout, county / "region.toml", folder / "result")
                if number:  # the first run compiles
                    figures.append(figure)
        rate = bytes_per_second(folder)
    now, before = found.values()

    def least(figures: list[dict[str, Any]], name: str) -> float:
        return min(figure["steps"].get(name, 0.0) for figure in figures)

    print(f"{'step':<44}{'before':>8}{'now':>8}{'ratio':>7}{'floor':>8}{'MB':>7}")
    rest = [0.0, 0.0]
    for name in now[0]["steps"]:
        pair = [least(before, name), least(now, name)]
        if max(pair) < LEAST_S:
            rest = [sum(two) for two in zip(rest, pair, strict=True)]
            continue
        size = now[0]["sizes"].get(name, 0)
        ratio = pair[1] / pair[0] if pair[0] else float("nan")
        line = f"{pair[0]:8.2f}{pair[1]:8.2f}{ratio:7.2f}{size / rate:8.2f}{size / 1e6:7.1f}"
        print(f"{name:<44}{line}")
    print(f"{'all others':<44}{rest[0]:8.2f}{rest[1]:8.2f}")
    totals = [min(figure["total"] for figure in part) for part in (before, now)]
    print(f"{'whole process':<44}{totals[0]:8.2f}{totals[1]:8.2f}{totals[1] / totals[0]:7.2f}")
    print("peak GB", [round(max(f["peak_gb"] for f in part), 2) for part in (before, now)])


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--one", nargs=2, type=Path)
    parser.add_argument("--parcels", type=int, default=3000)
    parser.add_argument("--against", type=Path)
    parser.add_argument("--runs", type=int, default=1)
    options = parser.parse_args()
    if options.one:
        one(*options.one)
    else:
        compare(options.parcels, options.against, options.runs)


if __name__ == "__main__":
    main()
