from __future__ import annotations

import pandas as pd

from riskmap.contract.features import FEATURES as DECLARED
from riskmap.contract.features import RANKED
from riskmap.ranking.priority import CHANCES
from riskmap.ranking.table import ranked_table
from riskmap.region.model_file import read_model


def table() -> pd.DataFrame:
    rows = ["a", "b", "c", "d", "e"]
    features = pd.DataFrame({name: pd.Series(pd.NA, index=rows) for name in DECLARED})
    features["service"] = ["onsite", "sewer", "none", "unknown", "onsite"]
    known = ["a", "b", "c", "d"]
    features.loc[known, ["age_yr", "wet_depth_cm", "lot_m2", "well_distance_m"]] = [50, 20, 900, 20]
    features.loc[known, ["water_table_m", "ksat_um_s"]] = [1.0, 0.3]
    features[list(CHANCES)] = [0.2, 0.3, 0.4]
    return ranked_table(
        features,
        read_model(features=DECLARED),
        units="us",
    )


def test_every_row_is_scored_or_has_its_reason() -> None:
    result = table()
    assert result.index.tolist() == ["a", "b", "c", "d", "e"]
    assert result["not_ranked_reason"].tolist() == [
        "",
        "on public sewer",
        "no building, no sewage",
        "service unknown: ranked apart",
        "too little is known to score",
    ]
    assert result["rank"].tolist()[0] == 1
    assert result["rank"].isna().tolist() == [False, True, True, True, True]
    assert result["apart_rank"].dropna().to_dict() == {"d": 1}
    assert result["priority"].notna().tolist() == [True, False, False, True, False]


def test_columns_are_the_declared_ones() -> None:
    names = [name for name in table().columns if not name.endswith("_points")]
    assert names == [column.name for column in RANKED]


def test_reasons_only_for_scored_rows() -> None:
    result = table()
    assert result.loc["a", "reason_1"] != ""
    assert result.loc[["b", "c", "e"], "reason_1"].tolist() == ["", "", ""]
    assert "Slope" in result.loc["a", "unknown"]


def test_priority_is_the_chance_by_default() -> None:
    result = table()
    assert result.loc["a", "priority"] == 20.0
    assert result.loc["d", "priority"] == 20.0
