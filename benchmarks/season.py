"""What a season's plan truly finds on invented counties, beside simpler ways to spend the days.

``python -m benchmarks.season FOLDER...``: folders that ``python -m sample_region.make`` wrote.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import pandas as pd

import riskmap


def season_of(folder: Path, *, inspectors: int, days: int) -> pd.DataFrame:
    """Plan a county's season and count what each way would truly find."""
    region = riskmap.open_region(folder / "region.toml")
    region = replace(region, run=replace(region.run, draws=0))
    truth = pd.read_csv(folder / "truth.csv", dtype={"parcel_id": str}).set_index("parcel_id")
    plan = riskmap.plan(
        riskmap.assess(region),
        inspectors=inspectors,
        days=days,
        failed=truth["failed"].astype(float),
    )
    return plan.compared


def main() -> None:
    """Print a table for each county, and the mean of all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--inspectors", type=int, default=3)
    parser.add_argument("--days", type=int, default=20)
    given = parser.parse_args()
    tables = {}
    for folder in given.folders:
        tables[folder.name] = season_of(folder, inspectors=given.inspectors, days=given.days)
        print(folder.name, tables[folder.name].round(2).to_string(), sep="\n", flush=True)
    mean = pd.concat(tables).groupby("way", sort=False).mean()
    print("mean", mean.round(2).to_string(), sep="\n")


if __name__ == "__main__":
    main()
