"""What carries the order of the list: the records people made, or everything else.

Makes the invented county, where the truth is known, scores it, and orders it by the whole failure
score, by the points of complaints, repairs and last visit alone, and by all other points; and does
the last again among the systems of which nothing bad is on record.
``python docs/gallery/what_carries_the_order.py`` prints the table of ``docs/methods/worth.md``.
"""

# ruff: noqa: T201
from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pandas as pd

import riskmap
from riskmap.ranking.metrics import average_precision, found_in_top
from riskmap.ranking.score import score
from sample_region.make import make_county

RECORDS = ["complaints", "repairs", "last_visit"]
RESAMPLES = 500


def with_interval(order: np.ndarray, failed: np.ndarray) -> list[str]:
    """Average precision and share found in the first tenth, with 90% intervals."""
    rng = np.random.default_rng(7)
    ones = np.ones(len(failed))
    drawn = [np.arange(len(failed))]
    drawn += [rng.integers(0, len(failed), len(failed)) for _ in range(RESAMPLES)]
    cells = []
    for figure in (average_precision, lambda *given: found_in_top(*given, 0.10)):
        values = np.array([figure(failed[rows], order[rows], ones) for rows in drawn])
        low, high = np.nanquantile(values[1:], [0.05, 0.95])
        cells.append(f"{values[0]:.3f} ({low:.3f}-{high:.3f})")
    return cells


def main(parcels: int = 3000) -> pd.DataFrame:
    """Make, score, order and compare."""
    with tempfile.TemporaryDirectory() as folder:
        make_county(Path(folder), parcels=parcels)
        result = riskmap.assess(riskmap.open_region(Path(folder) / "region.toml"))
        truth = pd.read_csv(Path(folder) / "truth.csv", dtype={"parcel_id": str})
    failed_of = truth.set_index("parcel_id")["failed"]
    rows = result.parcels[result.parcels["rank"].notna()]
    rows = rows[rows.index.isin(failed_of.index)]
    failed = failed_of.loc[rows.index].to_numpy(float)
    names = [factor.name for factor in result.model.of("failure")]
    points = score(rows, result.model).points[names]
    by_records = points[RECORDS].sum(axis=1).to_numpy()
    age = rows["age_yr"].fillna(rows["age_yr"].median()).to_numpy(float)
    whole = points.sum(axis=1).to_numpy()
    found = rows["last_stage"].isin(["stressed", "failed"]) | (rows["complaints"] > 0)
    silent = ~(found | (rows["repairs"] > 0)).to_numpy(bool)
    table = {
        "whole failure score": with_interval(whole, failed),
        "records people made only": with_interval(by_records, failed),
        "everything but these records": with_interval(whole - by_records, failed),
        "the same, nothing on record": with_interval((whole - by_records)[silent], failed[silent]),
        "oldest first, nothing on record": with_interval(age[silent], failed[silent]),
    }
    shown = pd.DataFrame(table, index=["average precision", "found in first 10%"]).T
    few = f"of {silent.sum()} with nothing on record {failed[silent].mean():.1%}"
    print(f"{len(failed)} systems, {failed.mean():.1%} failed; {few}\n\n{shown.to_string()}")
    return shown


if __name__ == "__main__":
    main()
