"""Scenarios of a sample county: what they give back, what they do not depend on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np
import pandas as pd
import pytest

from riskmap.contract.chunks import crew
from riskmap.contract.settings import Belief
from riskmap.ranking.outcomes import Outcomes
from riskmap.ranking.records import UncertainRecord, UncertainWord
from riskmap.ranking.score import score
from riskmap.stages import scenarios as scenario_stage
from riskmap.stages.doubt import scenarios_of
from riskmap.stages.result import Result
from riskmap.stages.scenario_records import CountyRecords, SoilComponents
from riskmap.stages.scenarios import draw_outcomes


@pytest.fixture(scope="module")
def onsite(features: pd.DataFrame) -> pd.DataFrame:
    return features[features["rank"].notna()]


def certain(records: CountyRecords) -> CountyRecords:
    """Return the records as if nothing were open: no spread, no guess."""
    changed: dict[str, object] = {}
    for name in (field.name for field in fields(records)):
        value = getattr(records, name)
        if isinstance(value, UncertainRecord):
            changed[name] = replace(value, spread=None, guessed=None, county=None)
        elif isinstance(value, UncertainWord):
            changed[name] = replace(value, redraw=0 * value.redraw, county=np.empty(0, np.int64))
    changed["plain"] = {
        name: replace(one, spread=None, county=None) for name, one in records.plain.items()
    }
    return replace(records, **changed)  # type: ignore[arg-type]


def nothing_off(beliefs: Sequence[Belief], normal: np.ndarray) -> list[dict[Belief, float]]:
    """Scenarios in which every setting is what the region says."""
    one = {belief: 1.0 if belief.of == "factor" else 0.0 for belief in beliefs}
    return [one] * normal.shape[1]


def test_with_nothing_open_every_scenario_is_the_county_as_scored(
    assessed: Result, onsite: pd.DataFrame, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The physics run again on the records as they are gives the limitations of the score."""
    monkeypatch.setattr(scenario_stage, "draw_beliefs", nothing_off)
    one_soil = assessed.with_things(soil_shares=assessed.soil_shares.iloc[:0])
    scenarios = scenarios_of(one_soil, onsite.index)
    assert scenarios.reached is not None
    plain = replace(scenarios, records=certain(scenarios.records))
    outcomes = draw_outcomes(plain, scenarios=64)
    limits = score(onsite, assessed.model).limits
    recorded = onsite["years_since_pumped_yr"].notna() & onsite["tank_volume_l"].notna()
    compared = 0
    for place, name in enumerate(outcomes.factors):
        known = limits[name].notna() & recorded
        if name in ("failing", "reaching"):  # the condition model's parameters stay open
            drawn = outcomes.limits[known.to_numpy(), place] / 1000
            assert abs(drawn.mean() - limits.loc[known, name].mean()) < 0.01, name
            continue
        found = outcomes.limits[known.to_numpy(), place, 0] / 1000
        assert found == pytest.approx(limits.loc[known, name].to_numpy(), abs=0.00101), name
        assert (outcomes.limits[:, place, 0] == outcomes.limits[:, place, 1]).all(), name
        compared += int(known.sum())
    assert compared > 20 * 100


def test_neither_workers_nor_the_order_of_rows_matter(
    assessed: Result, onsite: pd.DataFrame
) -> None:
    with crew(1):
        one = draw_outcomes(scenarios_of(assessed, onsite.index), scenarios=8, seed=3)
    with crew(2):
        two = draw_outcomes(scenarios_of(assessed, onsite.index), scenarios=8, seed=3)
    assert (one.limits == two.limits).all()
    turned = onsite.iloc[::-1]
    other = draw_outcomes(scenarios_of(assessed, turned.index), scenarios=8, seed=3)
    assert (other.limits[::-1] == one.limits).all()
    assert (other.records["age_yr"][::-1] == one.records["age_yr"]).all()


@pytest.fixture(scope="module")
def drawn(assessed: Result, onsite: pd.DataFrame) -> Outcomes:
    return draw_outcomes(scenarios_of(assessed, onsite.index), scenarios=32, seed=1)


def test_records_are_as_open_as_their_evidence(drawn: Outcomes, onsite: pd.DataFrame) -> None:
    spread = pd.Series(drawn.records["age_yr"].std(axis=1), index=onsite.index)
    by_mark = spread.groupby(onsite["age_yr_evidence"]).median()
    assert by_mark["measured"] < 1 < 5 < by_mark["inferred"]
    pumped = pd.Series(drawn.records["years_since_pumped_yr"].std(axis=1), index=onsite.index)
    known = onsite["years_since_pumped_yr"].notna()
    assert pumped[known].median() < pumped[~known].median()
    assert (drawn.records["years_since_pumped_yr"] <= drawn.records["age_yr"] + 1e-4).all()


def test_what_follows_from_one_record_moves_together(drawn: Outcomes, onsite: pd.DataFrame) -> None:
    """More people in a scenario: more load and more nitrogen, system by system."""
    people = np.argsort(drawn.records["persons"], axis=1)
    rows = np.arange(len(onsite))
    for name in ("load", "nitrogen"):
        limits = drawn.limits[:, drawn.factors.index(name), :].astype(float)
        few, many = limits[rows, people[:, 2]], limits[rows, people[:, -3]]
        assert many.mean() > few.mean() + 30, name


def test_shared_parameters_move_the_whole_county(drawn: Outcomes) -> None:
    load = drawn.limits[:, drawn.factors.index("load"), :].mean(axis=0) / 1000
    assert load.std() > 0.02
    soil = drawn.limits[:, drawn.factors.index("slow_soil"), :].mean(axis=0) / 1000
    assert soil.std() < 0.02


def test_soils_are_chosen_by_their_shares() -> None:
    table = pd.DataFrame(
        {
            "parcel_id": ["b", "a", "b", "z"],
            "value": [5.0, 7.0, 6.0, 9.0],
            "share": [0.3, 0.8, 0.1, 1.0],
        }
    )
    soils = SoilComponents.of({"ksat_um_s": table}, pd.Index(["a", "none", "b"]))
    values = soils.values["ksat_um_s"]
    even = (np.arange(400) + 0.5) / 400
    drawn = np.stack([soils.choose(np.full(3, u)) for u in even], axis=1)
    assert (drawn[1] == -1).all()
    assert set(values[drawn[0]]) == {7.0}
    assert np.mean(values[drawn[2]] == 5.0) == pytest.approx(0.75)
