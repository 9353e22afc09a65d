"""Picks against need on a sample county, and a county's own standing by neighborhood."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import riskmap
from riskmap.action.mailing import to_write_to
from riskmap.contract.errors import ModelError, RegionError
from riskmap.contract.features import FEATURES, column
from riskmap.region.model_file import write_model
from riskmap.region.sections import FairnessSettings, ModelSettings
from riskmap.stages import scoring
from riskmap.stages.fairness import POOL, judge_fairness, read_standing
from riskmap.stages.result import Result


def named(path: Path, column: str = "") -> FairnessSettings:
    return FairnessSettings(standing=str(path), column=column)


def test_picks_of_the_list_are_counted(assessed: Result, features: pd.DataFrame) -> None:
    lists = replace(assessed.region.lists, inspections=100, letters=60)
    region = replace(assessed.region, lists=lists)
    found = judge_fairness(replace(assessed.county, region=region), features, None)
    assert found is not None
    assert found.inspections is not None
    assert found.letters is not None
    table = found.inspections.table
    assert table["picks"].sum() == 100
    assert found.letters.table["picks"].sum() == min(60, len(to_write_to(features)))
    first = features[features["rank"].le(100).fillna(False).to_numpy(bool)]
    by_place = first["neighborhood"].fillna("unknown").value_counts()
    alone = table.index.drop(POOL)
    assert 1 < len(alone) < features["neighborhood"].nunique()
    assert table.loc[alone, "picks"].eq(by_place.reindex(alone, fill_value=0)).all()
    chance = features.loc[features["rank"].notna(), "chance_failing_frac"]
    places = features.loc[chance.index, "neighborhood"].fillna("unknown")
    need = chance.groupby(places).sum() / chance.sum()
    assert np.allclose(table.loc[alone, "need_frac"], need.reindex(alone))
    assert (100 * need.drop(alone) < 5).all()
    assert table.loc[POOL, "need_frac"] == pytest.approx(need.drop(alone).sum())
    assert table["verdict"].ne("too few to say").all()
    assert len(found.words) == 2


def test_everybody_picked_is_no_comparison(assessed: Result, features: pd.DataFrame) -> None:
    lists = replace(assessed.region.lists, inspections=0, letters=0)
    region = replace(assessed.region, lists=lists)
    assert judge_fairness(replace(assessed.county, region=region), features, None) is None
    nowhere = features.assign(neighborhood=None)
    assert judge_fairness(assessed.county, nowhere, None) is None


def test_a_slant_along_the_countys_own_number_is_told(
    assessed: Result, features: pd.DataFrame, tmp_path: Path
) -> None:
    """Picks are moved to where the number is high; the sentence must say so."""
    systems = features[features["rank"].notna()].copy()
    names = [f"place {i}" for i in range(8)]
    systems["neighborhood"] = np.resize(names, len(systems))
    steps = systems["neighborhood"].map({n: i for i, n in enumerate(names)}).to_numpy()
    order = np.random.default_rng(1).random(len(systems)) - 0.06 * steps
    systems["rank"] = pd.Series(order, index=systems.index).rank(method="first").astype("Int64")
    path = tmp_path / "standing.csv"
    rows = [f"{n},{30000 + 4000 * i}" for i, n in enumerate(names)]
    path.write_text("neighborhood,median_income\n" + "\n".join(rows) + "\n", encoding="utf-8")
    region = replace(
        assessed.region,
        lists=replace(assessed.region.lists, inspections=200, letters=0),
        fairness=named(path),
    )
    county = replace(assessed.county, region=region)
    found = judge_fairness(county, systems, read_standing(path, region.fairness))
    assert found is not None
    assert found.standing == "median_income"
    assert "higher median income get more inspections" in " ".join(found.words)


def test_standing_file_faults_are_named(tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    with pytest.raises(RegionError, match="cannot be read"):
        read_standing(path, named(path))
    path.write_text("place,income\nElm,1\n", encoding="utf-8")
    with pytest.raises(RegionError, match="needs a column 'neighborhood'"):
        read_standing(path, named(path))
    path.write_text("neighborhood,income\nElm,much\n", encoding="utf-8")
    with pytest.raises(RegionError, match="line 2: income = 'much'"):
        read_standing(path, named(path))
    path.write_text("neighborhood,income,renters\nElm,,0.4\nOak,5,0.1\n", encoding="utf-8")
    found = read_standing(path, named(path, "renters"))
    assert found is not None
    assert found.to_dict() == {"Elm": 0.4, "Oak": 0.1}
    first = read_standing(path, named(path))
    assert first is not None
    assert first.isna().tolist() == [True, False]


def test_a_protected_feature_stops_the_run(
    assessed: Result, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    factor = replace(assessed.model.factors[0], feature="median_income_usd")
    model = replace(assessed.model, factors=(factor, *assessed.model.factors[1:]))
    write_model(model, tmp_path / "m.toml")
    known = FEATURES | {"median_income_usd": column("median_income_usd")}
    monkeypatch.setattr(scoring, "FEATURES", known)
    region = replace(assessed.region, model=ModelSettings(file=str(tmp_path / "m.toml")))
    with pytest.raises(ModelError, match="protected attribute"):
        riskmap.assess(region, kept=tmp_path)
