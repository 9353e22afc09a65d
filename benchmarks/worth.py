"""What the ranking is worth on the sample region, where the hidden truth is known.

``python -m benchmarks.worth`` prints the table of ``docs/methods/worth.md``. The truth is read here
and nowhere in the program; the generator was not tuned to the scoring model.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd
from sklearn.metrics import average_precision_score

import riskmap
from riskmap.contract.features import FEATURES, SOIL_LIMITS
from riskmap.ranking.score import score
from riskmap.region.model_file import read_model
from riskmap.stages.result import Result
from sample_region.make import make_county

FIRST_MODEL = Path(__file__).with_name("first_model.toml")
RESAMPLES = 1000


def rankings(result: Result) -> Mapping[str, pd.Series]:
    """Four ways to order the ranked parcels, higher first; unknown at the county's middle."""
    rows = result.parcels[result.parcels["rank"].notna()]
    age = rows["age_yr"].fillna(rows["age_yr"].median())
    limits = rows["soil_rating"].fillna(0) + 0.001 * rows[list(SOIL_LIMITS)].sum(axis=1)
    first = score(rows, read_model(FIRST_MODEL, features=FEATURES)).scores["failure_score"]
    return {
        "oldest first": age,
        "soil rule only": limits,
        "score without the physics": first,
        "score with the physics": rows["failure_score"],
    }


def figures(order: pd.Series, failed: np.ndarray, rng: np.random.Generator) -> dict[str, str]:
    """Average precision and share of failures in the first 5 and 10 %, with 90 % intervals."""
    values = order.to_numpy(float)
    samples = [np.arange(len(values))]
    samples += [rng.integers(0, len(values), len(values)) for _ in range(RESAMPLES)]
    table = np.array([_figures(values[rows], failed[rows]) for rows in samples])
    low, high = np.quantile(table[1:], [0.05, 0.95], axis=0)
    names = ("average precision", "found in first 5 %", "found in first 10 %")
    return {name: f"{table[0, i]:.3f} ({low[i]:.3f}-{high[i]:.3f})" for i, name in enumerate(names)}


def _figures(values: np.ndarray, failed: np.ndarray) -> tuple[float, float, float]:
    ordered = failed[np.argsort(-values, kind="stable")]
    found = [ordered[: round(share * len(ordered))].sum() / failed.sum() for share in (0.05, 0.10)]
    return float(average_precision_score(failed, values)), float(found[0]), float(found[1])


def main(parcels: int = 3000) -> pd.DataFrame:
    """Make the county, run it, and give the table."""
    with tempfile.TemporaryDirectory() as folder:
        make_county(Path(folder), parcels=parcels)
        result = riskmap.assess(riskmap.open_region(Path(folder) / "region.toml"))
        truth = pd.read_csv(Path(folder) / "truth.csv", dtype={"parcel_id": str})
    failed_of = truth.set_index("parcel_id")["failed"]
    rows = {}
    for name, order in rankings(result).items():
        known = order[order.index.isin(failed_of.index)]
        failed = failed_of.loc[known.index].to_numpy(bool)
        rows[name] = figures(known, failed, np.random.default_rng(7))
    table = pd.DataFrame(rows).T
    print(f"{len(failed)} systems, {failed.sum()} failed ({failed.mean():.1%})\n")
    print(table.to_string())
    return table


if __name__ == "__main__":
    main()
