"""Time the three ways side by side, hold their results against each other, print a table.

Run from the project's root: ``python -m benchmarks.compare --parcels 3000 20000 100000``.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median

import numpy as np

from benchmarks.county import make_county

WAYS = ("by_hand", "best_library", "riskmap_job")
STAGES = ("read", "soils", "slope", "water_table", "wells", "score")
FRACTION_TOLERANCE = 1e-9
MEAN_TOLERANCE = 1e-6


def main() -> None:
    """Compare at every size asked for; exit with 1 if results differ."""
    options = _options()
    agree = True
    with tempfile.TemporaryDirectory() as scratch:
        for count in options.parcels:
            county = Path(scratch) / str(count)
            make_county(county, count)
            _run("riskmap_job", county, ())  # compile once, as an installed project has
            runs = {way: _repeat(way, county, count, options) for way in WAYS}
            _print_table(count, runs)
            agree &= _print_agreement(county)
    sys.exit(0 if agree else 1)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--parcels", type=int, nargs="+", default=[3000])
    parser.add_argument("--runs", type=int, default=3, help="runs of each way (median counts)")
    parser.add_argument("--slow-runs", type=int, help="runs by hand from 50,000 parcels on")
    parser.add_argument("--map", action="store_true", help="time the folium page by hand as well")
    return parser.parse_args()


def _repeat(way: str, county: Path, count: int, options: argparse.Namespace) -> list[dict]:
    slow = way == "by_hand" and count >= 50_000 and options.slow_runs
    flags = ("--map",) if way == "by_hand" and options.map else ()
    return [_run(way, county, flags) for _ in range(options.slow_runs if slow else options.runs)]


def _run(way: str, county: Path, flags: tuple[str, ...]) -> dict:
    command = [sys.executable, "-m", f"benchmarks.{way}", str(county), str(county / f"{way}.npz")]
    done = subprocess.run([*command, *flags], capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(done.stderr)
    return dict(json.loads(done.stdout.splitlines()[-1]))


def _print_table(count: int, runs: dict[str, list[dict]]) -> None:
    counts = ", ".join(f"{way}: {len(done)}" for way, done in runs.items())
    print(f"\n{count:,} parcels; medians of {counts} runs")
    print("| stage | " + " | ".join(f"{way} wall s | processor s" for way in WAYS) + " |")
    print("|---" * (1 + 2 * len(WAYS)) + "|")
    for stage in (*STAGES, "map"):
        if any(stage in run["stages"] for run in runs["by_hand"]):
            print(f"| {stage} | " + " | ".join(_cells(runs[way], (stage,)) for way in WAYS) + " |")
    print("| sum without map | " + " | ".join(_cells(runs[way], STAGES) for way in WAYS) + " |")
    peaks = [f"peak {max(run['peak_gb'] for run in runs[way]):.2f} GB | " for way in WAYS]
    print("| memory | " + " | ".join(peaks) + " |")
    total = {way: _sum(runs[way], STAGES, 1) for way in WAYS}
    for way in WAYS[:2]:
        ratio = total[way] / total["riskmap_job"]
        print(f"riskmap_job takes {ratio:.1f} times fewer processor seconds than {way}")


def _sum(runs: list[dict], stages: tuple[str, ...], figure: int) -> float:
    return median(sum(run["stages"].get(stage, (0, 0))[figure] for stage in stages) for run in runs)


def _cells(runs: list[dict], stages: tuple[str, ...]) -> str:
    if not any(stage in runs[0]["stages"] for stage in stages):
        return " | "
    return " | ".join(f"{_sum(runs, stages, figure):.2f}" for figure in (0, 1))


def _print_agreement(county: Path) -> bool:
    found = {way: np.load(county / f"{way}.npz") for way in WAYS}
    ours = found["riskmap_job"]
    fractions = [_share_difference(ours, found[way]) for way in WAYS[:2]]
    means = {
        way: max(np.nanmax(np.abs(ours[name] - found[way][name])) for name in STAGES[2:4])
        for way in WAYS[:2]
    }
    wells = max(np.abs(ours["well"] - found[way]["well"]).max() for way in WAYS[:2])
    print(
        f"soil fractions differ by at most {fractions[0]:.1e} (hand), {fractions[1]:.1e} (library)"
    )
    print(f"raster means differ from exactextract by at most {means['best_library']:.1e}")
    print(
        f"  and from rasterstats, which counts whole cells by their centers, {means['by_hand']:.2g}"
    )
    print(f"well distances differ by at most {wells:.1e} m")
    return max(fractions) <= FRACTION_TOLERANCE and means["best_library"] <= MEAN_TOLERANCE


def _share_difference(ours: np.lib.npyio.NpzFile, other: np.lib.npyio.NpzFile) -> float:
    """Largest difference of any lot's share of any soil; absent is 0."""
    keys = [found["share_lot"] * 1000 + found["share_soil"] for found in (ours, other)]
    every, where = np.unique(np.concatenate(keys), return_inverse=True)
    signed = np.concatenate([ours["share"], -other["share"]])
    return float(np.abs(np.bincount(where, signed, minlength=len(every))).max())


if __name__ == "__main__":
    main()
