"""Score one parcel by hand: read the model file, turn each feature into points, add them up.

``python docs/gallery/score_by_hand.py`` prints the sum and checks it against the program's.
"""

# ruff: noqa: T201
from __future__ import annotations

import tomllib
from importlib.resources import files

import numpy as np
import pandas as pd

from riskmap.contract.features import FEATURES
from riskmap.ranking.model import parse_model
from riskmap.ranking.score import score

PARCEL = {
    "age_yr": 34.0, "kind": "trench", "wet_depth_cm": 75.0, "ksat_um_s": 3.0, "slope_pct": 9.0,
    "lot_m2": 2400.0, "load_ratio": 0.9, "reserve_frac": 0.35, "pump_overdue_yr": 6.0,
    "complaints": 1.0, "soil_rating": 0.8, "well_distance_m": 45.0, "water_table_m": 2.5,
    "chance_failing_frac": 0.15, "nitrogen_kg_yr": 10.0, "systems_per_km2": 20.0,
}  # fmt: skip
"""What is known of the parcel; every other feature is unknown, which is not the same as safe."""


def points_by_hand(content: dict) -> dict[str, float]:
    """Limitation (three decimals) x weight x 100 / sum of the weights, for each failure factor."""
    factors = [factor for factor in content["factor"] if factor["score"] == "failure"]
    total = sum(factor["weight"] for factor in factors)
    points = {}
    for factor in factors:
        value = PARCEL.get(factor["feature"])
        if value is None:
            limit = factor["unknown"]
        elif "table" in factor:
            limit = factor["table"][value]
        else:
            limit = np.interp(value, *zip(*factor["curve"], strict=True))
        points[factor["name"]] = round(round(float(limit), 3) * factor["weight"] * 100 / total, 3)
    return points


def main() -> tuple[float, float]:
    """Print the sum; return it and the program's score."""
    text = (files("riskmap.ranking") / "scoring_model.toml").read_text(encoding="utf-8")
    content = tomllib.loads(text)
    points = points_by_hand(content)
    for name, value in sorted(points.items(), key=lambda item: -item[1]):
        print(f"{name:<16} {value:7.3f}")
    by_hand = round(sum(points.values()), 3)
    names = {factor["feature"] for factor in content["factor"]}
    known = {name: PARCEL.get(name, np.nan) for name in sorted(names)}
    found = score(pd.DataFrame([known]), parse_model(content, features=FEATURES))
    by_program = float(found.scores["failure_score"].iloc[0])
    print(f"{'by hand':<16} {by_hand:7.3f}\n{'by the program':<16} {by_program:7.3f}")
    return by_hand, by_program


if __name__ == "__main__":
    main()
