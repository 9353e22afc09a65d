from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.action.sampling import (
    ABOVE,
    FRESH,
    NEVER,
    OLD,
    RAISED,
    REACH_M,
    load_near,
    sampling_order,
)

TODAY = date(2026, 6, 1)


def systems(*rows: tuple[float, float, float]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["x_m", "y_m", "groundwater_score"])
    return table.assign(rank=pd.array(range(1, len(rows) + 1), "Int64"))


def wells(*x: float) -> pd.DataFrame:
    return pd.DataFrame(
        {"well_id": [f"W{n}" for n in range(len(x))], "use": "domestic", "x_m": x, "y_m": 0.0}
    )


class TestPublishedValues:
    def test_tiers_by_the_limits_of_the_safe_drinking_water_act(self) -> None:
        # 40 CFR 141.62: nitrate 10 mg/L as N; 40 CFR 141.23: from half of it public systems
        # sample more often.
        samples = pd.DataFrame(
            {
                "well_id": ["W0", "W1", "W2", "W3", "W4"],
                "date": ["2026-01-01", "2026-01-01", "2026-01-01", "2010-01-01", "2025-01-01"],
                "nitrate_mg_l": [10.1, 10.0, 4.9, 1.0, np.nan],
                "coliform": pd.array([False, None, False, False, True], "boolean"),
            }
        )
        table = sampling_order(wells(*[0.0] * 6), systems((0, 0, 80)), samples, today=TODAY)
        why = table.set_index("well_id")["why"].to_dict()
        assert why == {"W0": ABOVE, "W1": RAISED, "W2": FRESH, "W3": OLD, "W4": ABOVE, "W5": NEVER}
        assert table["well_id"].tolist() == ["W0", "W4", "W1", "W3", "W5", "W2"]


class TestAgainstEnumeration:
    def test_load_by_hand(self) -> None:
        # one system of score 80 at the well, one of 50 at half the reach, one just outside
        places = np.array([[0.0, 0.0], [REACH_M / 2, 0.0], [REACH_M + 0.1, 0.0]])
        found = load_near(np.array([[0.0, 0.0]]), places, np.array([80.0, 50.0, 100.0]))
        assert found["load"][0] == pytest.approx(0.8 + 0.25)
        assert found["systems_near"][0] == 2
        assert found["nearest_system_m"][0] == 0.0
        assert found["worst_groundwater_score"][0] == 80.0

    @given(st.integers(0, 10**6), st.integers(1, 12), st.integers(0, 30))
    @settings(max_examples=40, deadline=None)
    def test_load_against_a_plain_loop(self, seed: int, count: int, many: int) -> None:
        rng = np.random.default_rng(seed)
        here, there = rng.random((count, 2)) * 600, rng.random((many, 2)) * 600
        score = np.where(rng.random(many) < 0.2, np.nan, rng.random(many) * 100)
        found = load_near(here, there, score)
        for number, place in enumerate(here):
            away = np.hypot(*(there - place).T)
            near = away <= REACH_M
            part = np.nan_to_num(score[near]) / 100 * (1 - away[near] / REACH_M)
            assert found["load"][number] == pytest.approx(part.sum())
            assert found["systems_near"][number] == near.sum()


class TestOrder:
    def test_given_risk_goes_before_the_count(self) -> None:
        near = systems((0, 0, 90))
        assert sampling_order(wells(0.0, 100.0), near, today=TODAY)["well_id"][0] == "W0"
        told = wells(0.0, 100.0).assign(well_risk_frac=[0.1, 0.7])
        table = sampling_order(told, near, today=TODAY)
        assert table["well_id"].tolist() == ["W1", "W0"]
        assert table["risk"].tolist() == [0.7, 0.1]

    def test_other_uses_are_left_out_and_unplaced_wells_go_last(self) -> None:
        table = wells(0.0, 10.0, np.nan, 20.0)
        table["use"] = ["irrigation", "domestic", None, "public"]
        order = sampling_order(table, systems((0, 0, 90)), today=TODAY)
        assert order["well_id"].tolist() == ["W1", "W3", "W2"]
        assert order["order"].tolist() == [1, 2, 3]
        assert np.isnan(order["risk"].iloc[2])

    def test_systems_ranked_apart_do_not_count(self) -> None:
        near = systems((0, 0, 90)).assign(rank=pd.array([None], "Int64"))
        assert sampling_order(wells(0.0), near, today=TODAY)["systems_near"].tolist() == [0]

    def test_last_results_are_the_last_that_tested(self) -> None:
        samples = pd.DataFrame(
            {
                "well_id": ["W0", "W0", "W0"],
                "date": ["2026-01-01", "2020-01-01", None],
                "nitrate_mg_l": [np.nan, 3.0, 40.0],
                "coliform": pd.array([False, None, None], "boolean"),
            }
        )
        row = sampling_order(wells(0.0), systems((0, 0, 1)), samples, today=TODAY).iloc[0]
        assert row["last_nitrate_mg_l"] == 3.0
        assert row["last_sample"] == pd.Timestamp("2026-01-01")
        assert row["why"] == FRESH
        assert not row["last_coliform"]

    def test_a_coarse_detection_limit_is_no_raised_result(self) -> None:
        samples = pd.DataFrame(
            {
                "well_id": ["W0"],
                "date": ["2026-01-01"],
                "nitrate_mg_l": [6.0],
                "nitrate_below_limit": pd.array([True], "boolean"),
            }
        )
        table = sampling_order(wells(0.0), systems((0, 0, 1)), samples, today=TODAY)
        assert table["why"].tolist() == [FRESH]
