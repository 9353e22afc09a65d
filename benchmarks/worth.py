"""What the ranking is worth in all worlds of the sample region, where the hidden truth is known.

``python -m benchmarks.worth FOLDER`` makes the counties that are missing in ``FOLDER/counties``,
runs the program on those without a result in ``FOLDER/results``, each in a process of its own, and
prints the tables of ``docs/methods/worth.md``. What is there is kept, so it can be stopped and
resumed; to judge another version of the program take away ``FOLDER/results``.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import MappingProxyType
from typing import Final

from benchmarks.worth_county import OUTCOMES, read_systems
from benchmarks.worth_tables import tables, write_into
from sample_region.make import PARCELS, SEED
from sample_region.worlds import WORLDS

Seeds = Mapping[str, Sequence[int]]

BUILDING: Final[Seeds] = MappingProxyType(dict.fromkeys(WORLDS, (11, 12, 13)))
"""Seeds looked at while the program was built; nothing is claimed from them."""
JUDGING: Final[Seeds] = MappingProxyType(
    {
        "usual": (SEED, 101, 202, 303, 404),
        "found-repaired": (511, 512),
        "few-records": (521, 522),
        "ground-decides": (531, 532),
        "chance-decides": (541, 542),
        "some-complain": (551, 552),
        "visits-miss": (561, 562),
    }
)
"""Seeds that judge; no weight, prior or threshold was chosen by looking at them."""
SETS: Final = MappingProxyType({"building": BUILDING, "judging": JUDGING})
CHANCES: Final = (
    "chance_failed_frac:failed",
    "chance_stressed_frac:stressed",
    "chance_failing_frac:by_5_yr",
)
MOST_WORKERS: Final = 2


def county_folder(folder: Path, world: str, seed: int) -> Path:
    """Where a county lies."""
    return folder / "counties" / f"{world}_{seed}"


def result_folder(folder: Path, world: str, seed: int) -> Path:
    """Where the program's result for a county lies."""
    return folder / "results" / f"{world}_{seed}"


def missing(folder: Path, seeds: Seeds) -> list[tuple[str, int]]:
    """Worlds and seeds that have no county or no result yet."""
    return [
        (world, seed)
        for world, seed in _pairs(seeds)
        if not (county_folder(folder, world, seed) / "truth.csv").exists()
        or not (result_folder(folder, world, seed) / "parcels.parquet").exists()
    ]


def _pairs(seeds: Seeds) -> Iterator[tuple[str, int]]:
    for world, some in seeds.items():
        for seed in some:
            yield world, seed


def fill(folder: Path, seeds: Seeds, *, parcels: int, workers: int) -> None:
    """Make and run what is missing, at most `workers` counties at a time (never more than two)."""
    with ThreadPoolExecutor(min(workers, MOST_WORKERS)) as pool:
        jobs = [pool.submit(_one, folder, *pair, parcels) for pair in missing(folder, seeds)]
        for job in jobs:
            sys.stdout.write(f"{job.result()}\n")
            sys.stdout.flush()


def _one(folder: Path, world: str, seed: int, parcels: int) -> str:
    county, result = county_folder(folder, world, seed), result_folder(folder, world, seed)
    if not (county / "truth.csv").exists():
        part = county.with_name(f"{county.name}.part")
        shutil.rmtree(part, ignore_errors=True)
        size = ["--world", world, "--seed", str(seed), "--parcels", str(parcels)]
        said = _process("sample_region.make", str(part), *size)
        if said:
            return f"{county.name}: not made: {said}"
        part.rename(county)
    result.parent.mkdir(parents=True, exist_ok=True)
    region = str(county / "region.toml")
    said = _process("riskmap.cli", "run", region, "--out", str(result), "--quiet")
    return f"{county.name}: not run: {said}" if said else f"{county.name}: done"


def _process(module: str, *words: str) -> str:
    """Run a module; return the end of what it complained of, or nothing."""
    done = subprocess.run(
        [sys.executable, "-m", module, *words], capture_output=True, text=True, check=False
    )
    return done.stderr.strip()[-500:] or "no reason given" if done.returncode else ""


def measured(
    folder: Path, seeds: Seeds, *, columns: Sequence[str] = (), chances: Sequence[str] = CHANCES
) -> str:
    """Return the tables for the counties that have a result."""
    lacking = set(missing(folder, seeds))
    counties = {}
    for world, some in seeds.items():
        there = [seed for seed in some if (world, seed) not in lacking]
        if there:
            counties[world] = {
                seed: read_systems(
                    county_folder(folder, world, seed),
                    result_folder(folder, world, seed),
                    columns=columns,
                    chances=chances,
                )
                for seed in there
            }
    return tables(counties, columns=columns, chances=chances) if counties else ""


def _chance(text: str) -> str:
    column, _, outcome = text.partition(":")
    if not column or outcome not in OUTCOMES:
        raise argparse.ArgumentTypeError(f"{text}: write COLUMN:OUTCOME, one of {OUTCOMES}")
    return text


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="keeps counties and results")
    parser.add_argument("--seeds", choices=list(SETS), default="judging")
    parser.add_argument("--worlds", nargs="+", choices=list(WORLDS), default=list(WORLDS))
    parser.add_argument("--parcels", type=int, default=PARCELS)
    parser.add_argument("--column", nargs="+", default=[], help="columns that order the list")
    parser.add_argument("--chance", nargs="+", type=_chance, default=list(CHANCES))
    parser.add_argument("--workers", type=int, choices=range(1, MOST_WORKERS + 1), default=1)
    parser.add_argument("--no-runs", action="store_true", help="measure what is there")
    parser.add_argument("--page", type=Path, help="write the tables into this page too")
    given = parser.parse_args()
    seeds = {world: SETS[given.seeds][world] for world in given.worlds}
    if not given.no_runs:
        fill(given.folder, seeds, parcels=given.parcels, workers=given.workers)
    for world, seed in missing(given.folder, seeds):
        sys.stdout.write(f"missing: {world} {seed}\n")
    text = measured(given.folder, seeds, columns=given.column, chances=given.chance)
    sys.stdout.write(text + "\n")
    if given.page and text:
        write_into(given.page, f"Seeds of the {given.seeds} set.\n\n{text}")


if __name__ == "__main__":
    main()
