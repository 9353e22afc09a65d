"""Whether the stated doubt is the real doubt, on the sample region where the truth is known.

``python -m benchmarks.coverage`` prints the tables of ``docs/methods/doubt.md``. Measured: the
score that the same model gives when the hidden truth (soil component, age, field, tank, water use,
last pump-out) takes the place of what the records say or leave open, held against the 90 % range
that the run states without knowing it. What has no hidden counterpart (slope, distances, kind of
system, what visits found) keeps its recorded value.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

import riskmap
from riskmap.failure.flow import rule_flow_l_d
from riskmap.inventory.soil_mixtures import DEPTHS, OF_FEATURE
from riskmap.inventory.soils import SURVEY_DEPTH_CM
from riskmap.ranking.score import factor_points
from riskmap.ranking.uncertainty import Doubt, propagate
from riskmap.stages.doubt import scenarios_of
from riskmap.stages.failure import failure_features
from riskmap.stages.result import Result
from riskmap.stages.scenarios import draw_outcomes
from sample_region.make import make_county

SECOND_DRAWS: Final = (128, 512, 2048)
SEEDS: Final = range(8)
YEAR: Final = 2026


def true_features(result: Result, truth: pd.DataFrame) -> pd.DataFrame:
    """Rows of the ranked systems with the hidden truth in place of the records."""
    rows = result.parcels[result.parcels["rank"].notna()]
    known = truth.reindex(rows.index)
    rows = rows[known["true_age"].notna()]
    known = known.loc[rows.index]
    per_person = float(rule_flow_l_d([1.0], rule=result.region.rules.flow_rule)[0])
    changed = pd.DataFrame(rows.drop(columns="geometry")).assign(
        age_yr=known["true_age"].astype(float),
        installed_year=known["true_installed"].astype(float),
        field_area_m2=known["field_area_m2"],
        tank_volume_l=known["tank_l"],
        years_since_pumped_yr=(YEAR - known["last_pumped_year"]).astype(float),
        occupants=known["flow_l_d"] / per_person,
        **_true_soil(result, known["soil"]),
    )
    for name in ("age_yr", "field_area_m2", "tank_volume_l", "years_since_pumped_yr", "occupants"):
        changed[f"{name}_evidence"] = "measured"
    derived, _ = failure_features(
        changed,
        rules=result.region.rules,
        physics=result.region.failure,
        aging=result.aging,
        margin=result.field_margin.margin,
    )
    return changed.assign(**{name: derived[name] for name in derived.columns})


def _true_soil(result: Result, soil: pd.Series) -> dict[str, pd.Series]:
    """Soil columns of the component that truly lies there, where it is in the map unit."""
    ratings = result.component_ratings
    names = result.county.tables["soil_components"].set_index("cokey")["compname"]
    shares = result.soil_shares.sort_values("frac", kind="stable")
    joint = shares.merge(ratings.assign(soil=names).rename_axis("cokey").reset_index(), on="mukey")
    joint = joint[joint["soil"] == joint["parcel_id"].map(soil)]
    there = joint.drop_duplicates("parcel_id", keep="last").set_index("parcel_id")
    columns = {}
    for feature, column in OF_FEATURE.items():
        values = there[column].reindex(soil.index)
        if feature in DEPTHS:
            values = values.fillna(SURVEY_DEPTH_CM).clip(upper=SURVEY_DEPTH_CM)
        recorded = result.parcels[feature].reindex(soil.index)
        found = soil.index.isin(there.index)
        columns[feature] = values.where(found, recorded)
    return columns


def stated_doubt(result: Result, rows: pd.Index, *, top: int, draws: int, seed: int) -> Doubt:
    """Carry doubt as a run does, for these rows."""
    features = pd.DataFrame(result.parcels.loc[rows].drop(columns="geometry"))
    scenarios = scenarios_of(result, rows)
    outcomes = draw_outcomes(scenarios, seed=seed)
    return propagate(features, result.model, top=top, draws=draws, seed=seed, outcomes=outcomes)


def coverage(result: Result, truth: pd.DataFrame, *, top: int, draws: int = 512) -> pd.Series:
    """Shares of systems whose true-input failure score lies in, below and above the 90 % range."""
    changed = true_features(result, truth)
    true = factor_points(changed, result.model, "failure")[1].sum(axis=1).to_numpy(float)
    doubt = stated_doubt(result, changed.index, top=top, draws=draws, seed=1)
    low, high = (doubt.table[f"failure_score_{end}"].to_numpy() for end in ("p05", "p95"))
    chance = doubt.table["failure_score_top_chance"].to_numpy()
    first = np.zeros(len(true))
    first[np.argsort(-true, kind="stable")[:top]] = 1.0
    listed = np.argsort(-result.parcels.loc[changed.index, "failure_score"].to_numpy(float))[:top]
    by_chance = np.argsort(-chance, kind="stable")[:top]
    shift = float(np.mean(true - doubt.table["failure_score_p50"]))
    level = true - shift
    return pd.Series(
        {
            "systems": len(true),
            "inside": float(((true >= low) & (true <= high)).mean()),
            "inside, common shift taken out": float(((level >= low) & (level <= high)).mean()),
            "below": float((true < low).mean()),
            "above": float((true > high).mean()),
            "mean width": float((high - low).mean()),
            "spread of true less stated": float(np.std(true - doubt.table["failure_score_p50"])),
            "mean true less stated": shift,
            "truly first, listed by score": float(first[listed].mean()),
            "truly first, listed by chance": float(first[by_chance].mean()),
            "said of those listed by chance": float(chance[by_chance].mean()),
        }
    )


def stability(result: Result, *, top: int) -> pd.DataFrame:
    """How far chances and list move between seeds, by the number of draws."""
    rows = result.parcels.index[result.parcels["rank"].notna()]
    table = []
    for draws in SECOND_DRAWS:
        found = [
            stated_doubt(result, rows, top=top, draws=draws, seed=seed).table for seed in SEEDS
        ]
        chances = np.stack([one["priority_top_chance"].to_numpy() for one in found])
        open_rows = (chances.mean(axis=0) > 0.05) & (chances.mean(axis=0) < 0.95)
        lists = [set(np.argsort(-chance, kind="stable")[:top]) for chance in chances]
        kept = [len(lists[0] & other) / top for other in lists[1:]]
        stated = np.mean([one["priority_top_error"].to_numpy()[open_rows] for one in found])
        table.append(
            {
                "draws": draws,
                "stated error": float(stated),
                "found error": float(chances[:, open_rows].std(axis=0, ddof=1).mean()),
                "list kept": float(np.mean(kept)),
            }
        )
    return pd.DataFrame(table)


def main(parcels: int = 3000, top: int = 200) -> None:
    """Make the county, run it, print both tables."""
    with tempfile.TemporaryDirectory() as folder:
        make_county(Path(folder), parcels=parcels)
        result = riskmap.assess(riskmap.open_region(Path(folder) / "region.toml"))
        truth = read_truth(Path(folder))
    print(coverage(result, truth, top=top).round(3).to_string())
    print(stability(result, top=top).round(4).to_string(index=False))


def read_truth(folder: Path) -> pd.DataFrame:
    """Hidden truth of a sample region, index ``parcel_id``."""
    return pd.read_csv(folder / "truth.csv", dtype={"parcel_id": str}).set_index("parcel_id")


if __name__ == "__main__":
    main()
