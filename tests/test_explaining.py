from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from riskmap.action.worklists import part_lists
from riskmap.contract.errors import RiskmapError
from riskmap.contract.features import FEATURES as DECLARED
from riskmap.publish.words.explaining import explain_parcel
from riskmap.publish.words.explaining_steps import rating_step, soil_parts
from riskmap.ranking.priority import CHANCES
from riskmap.ranking.table import ranked_table
from riskmap.region.model_file import read_model

MODEL = read_model(features=DECLARED)


@pytest.fixture(scope="module")
def parcels() -> pd.DataFrame:
    rows = ["10-1", "10-2", "10-3"]
    features = pd.DataFrame({name: pd.Series(pd.NA, index=rows) for name in DECLARED})
    features["service"] = ["onsite", "onsite", "sewer"]
    numbers = {"age_yr": 37.0, "wet_depth_cm": 45.5, "lot_m2": 1234.5, "well_distance_m": 33.3}
    for name, value in (numbers | {"ksat_um_s": 2.5, "water_table_m": 3.3}).items():
        features[name] = np.array([value, value * 1.7, value])
    features["age_yr_evidence"] = "measured"
    features[list(CHANCES)] = np.array([[0.2, 0.3, 0.4], [0.1, 0.1, 0.2], [0.2, 0.3, 0.4]])
    ranked = ranked_table(features, MODEL, units="us")
    cases = pd.DataFrame({"on_file": [], "on_file_year": []})
    ranked = ranked.join(part_lists(ranked, cases, visits=5, followup_frac=0.1))
    ranked["county_records"] = "complaint in May 2024"
    return features.join(ranked)


SHARES = pd.DataFrame(
    {"parcel_id": ["10-1", "10-1", "10-2"], "mukey": ["7", "8", "7"], "frac": [0.25, 0.75, 1]}
)
RATINGS = pd.DataFrame(
    {
        "mukey": ["7", "8", "8"],
        "comppct": [80.0, 60.0, 40.0],
        "rating": [1.0, 0.5, np.nan],
        "wet_top_cm": [30.0, np.nan, 10.0],
        "restriction_cm": [np.nan, 90.0, np.nan],
        "ksat_min_um_s": [1.0, 9.0, 3.0],
        "drainage_class": ["poorly", "well", None],
    },
    index=["a", "b", "c"],
)


def test_soil_rating_is_shown_as_a_sum() -> None:
    # unit 7: a alone (.25); unit 8: b 60 % and c 40 % of .75, c not rated
    step = rating_step(soil_parts("10-1", SHARES, RATINGS), 0.5)
    assert step.value == pytest.approx((0.25 * 1.0 + 0.45 * 0.5) / 0.70, abs=1e-12)
    assert step.text == "(0.4500 x 0.500 + 0.2500 x 1.000) / 0.7000"


def page(parcels: pd.DataFrame, parcel_id: str) -> str:
    return explain_parcel(
        parcel_id,
        parcels=parcels,
        components=soil_parts(parcel_id, SHARES, RATINGS),
        records={
            "permits": pd.DataFrame(
                {"parcel_id": ["10-1", "9"], "action": ["repair", "new"], "issued": pd.NaT},
                index=["4", "5"],
            )
        },
        model=MODEL,
        declared=DECLARED,
    )


def test_points_on_the_page_add_up_to_the_score(parcels: pd.DataFrame) -> None:
    text = page(parcels, "10-1")
    for score in ("failure", "groundwater"):
        part = text.split(f"{score.upper()} SCORE")[1].split("sum of the points")[0]
        labels = [factor.label for factor in MODEL.of(score)]
        points = [
            float(line.split()[-1])
            for line in part.splitlines()
            if any(line.strip().startswith(label) for label in labels)
        ]
        assert len(points) == len(labels)
        assert round(sum(points), 3) == parcels.loc["10-1", f"{score}_score"]


def test_limitation_times_weight_times_scale_is_points(parcels: pd.DataFrame) -> None:
    row = re.search(r"Age of the system +37 +(\S+) +(\S+) +(\S+) +(\S+)", page(parcels, "10-1"))
    assert row is not None
    limit, weight, scale, points = map(float, row.groups())
    # curve between (30, .75) and (45, 1): .75 + 7/15 * .25
    assert limit == pytest.approx(0.75 + 7 / 15 * 0.25, abs=5e-4)
    assert points == pytest.approx(limit * weight * scale, abs=5e-4)


def test_input_rows_and_soil_shares_are_shown(parcels: pd.DataFrame) -> None:
    text = page(parcels, "10-1")
    assert "permits: 1 row\n     row 4: action repair" in text
    assert re.search(r"8 +b +0\.4500 +0\.5 +unknown +90 +9 +well", text)
    assert re.search(r"age_yr +37 +yr +measured", text)


def test_unranked_parcel_says_why(parcels: pd.DataFrame) -> None:
    assert "not ranked: on public sewer" in page(parcels, "10-3")


def test_unknown_number_suggests_near_ones(parcels: pd.DataFrame) -> None:
    with pytest.raises(RiskmapError, match="Near: 10-"):
        page(parcels, "10-4")


def test_priority_is_redone_from_the_chances(parcels: pd.DataFrame) -> None:
    text = page(parcels, "10-1")
    assert "aim: find failures; priority = 100 x chance failed today" in text
    assert "priority = 20.000" in text
    assert "no onsite system is known or likely here" in text


def test_a_learned_ranking_is_said_to_have_spoken(parcels: pd.DataFrame) -> None:
    learned = parcels.iloc[:1].assign(
        decided_by="classifier", learned_chance_frac=0.25, priority=25.0
    )
    text = page(learned, "10-1")
    assert "failed today 0.250000 (by the classifier, learned from visits)" in text
    assert "priority = 25.000" in text
