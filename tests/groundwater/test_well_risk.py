from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from riskmap.contract.errors import NotEnoughDataError
from riskmap.groundwater.holdout import (
    PUBLISHED,
    held_out_figures,
    hold_out_comparison,
    spatial_blocks,
)
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings
from riskmap.groundwater.well_risk import (
    chance_above,
    germ_chance,
    own_vulnerability,
    well_risk,
)

NAN = float("nan")
WATER, BUILD = GroundwaterSettings(), WellSettings()


def one_own(**given_: float) -> pd.DataFrame:
    known = {"depth_m": 20.0, "casing_m": 10.0, "age_yr": 30.0} | given_
    dug = known.pop("dug", 0.0)
    return own_vulnerability(**{k: [v] for k, v in known.items()}, dug=[dug], settings=BUILD)


class TestOwnVulnerability:
    def test_by_hand(self) -> None:
        # depth (60-20)/52 x .5, casing (30-10)/24 x .5, age (30-10)/50 x .3, not dug
        left = (1 - 40 / 52 * 0.5) * (1 - 20 / 24 * 0.5) * (1 - 0.4 * 0.3)
        assert one_own()["well_vulnerability_frac"][0] == pytest.approx(1 - left)
        assert one_own()["well_evidence"][0] == "measured"

    def test_dug_shallow_old_is_worst_and_deep_new_cased_is_none(self) -> None:
        worst = one_own(depth_m=6.0, casing_m=0.0, age_yr=90.0, dug=1.0)
        best = one_own(depth_m=90.0, casing_m=40.0, age_yr=2.0)
        assert worst["well_vulnerability_frac"][0] == pytest.approx(1 - 0.5 * 0.5 * 0.7 * 0.1)
        assert best["well_vulnerability_frac"][0] == 0

    def test_unknown_is_a_range(self) -> None:
        table = own_vulnerability(
            depth_m=[NAN, 20.0], casing_m=[NAN, 10.0], age_yr=[NAN, NAN], settings=BUILD
        )
        assert (table["well_lowest_frac"] < table["well_vulnerability_frac"]).all()
        assert (table["well_vulnerability_frac"] < table["well_highest_frac"]).all()
        assert table["well_unknowns"].tolist() == ["depth, casing, age, dug", "age, dug"]
        assert table["well_evidence"].tolist() == ["assumed", "inferred"]

    @given(st.floats(0, 100), st.floats(0, 50), st.floats(0, 100), st.floats(0, 20))
    @settings(max_examples=50, deadline=None)
    def test_never_worse_for_deeper_longer_newer(
        self, depth: float, casing: float, age: float, more: float
    ) -> None:
        base = one_own(depth_m=depth, casing_m=casing, age_yr=age)["well_vulnerability_frac"][0]
        for better in (
            {"depth_m": depth + more, "casing_m": casing, "age_yr": age},
            {"depth_m": depth, "casing_m": casing + more, "age_yr": age},
            {"depth_m": depth, "casing_m": casing, "age_yr": max(age - more, 0.0)},
        ):
            assert one_own(**better)["well_vulnerability_frac"][0] <= base + 1e-12


class TestRisk:
    def test_chance_is_the_log_normal_tail(self) -> None:
        expected = stats.lognorm(s=np.log(3.0), scale=4.0).sf(10.0)
        assert float(chance_above(4.0, 10.0)) == pytest.approx(expected, rel=1e-9)
        assert float(chance_above(10.0, 10.0)) == pytest.approx(0.5)

    def test_germs_by_time_and_crowding(self) -> None:
        # At 12 C seven log take 92 days: half that time leaves half; nobody near leaves 2 %.
        half = 7 / 0.0758 / 2
        base = BUILD.base_chance_frac
        found = germ_chance([half, NAN, NAN], [0, 0, 30], temperature_c=12.0, settings=BUILD)
        assert found[0] == pytest.approx(1 - 0.5 * (1 - base), abs=1e-3)
        assert found[1] == pytest.approx(base)
        odds = base / (1 - base) * 1.08**30
        assert found[2] == pytest.approx(odds / (1 + odds))

    def test_order_and_unknown_last(self) -> None:
        own = own_vulnerability(
            depth_m=[20.0] * 4, casing_m=[10.0] * 4, age_yr=[30.0] * 4, settings=BUILD
        )
        table = well_risk(
            nitrate_added_mg_l=[1.0, 20.0, NAN, 1.0], shortest_travel_time_d=[NAN] * 4,
            drainfields_near=[0, 0, 0, 0], own=own, water=WATER, settings=BUILD,
        )  # fmt: skip
        assert table["sampling_order"].tolist() == [2, 1, 4, 3]
        assert np.isnan(table["well_risk_frac"][2])

    @given(st.floats(0, 50), st.floats(1, 5000), st.integers(0, 50), st.floats(0, 20))
    @settings(max_examples=50, deadline=None)
    def test_risk_rises_with_every_cause_and_lies_in_its_range(
        self, added: float, time: float, near: int, more: float
    ) -> None:
        own = own_vulnerability(
            depth_m=[20.0] * 4, casing_m=[NAN] * 4, age_yr=[30.0] * 4, settings=BUILD
        )
        table = well_risk(
            nitrate_added_mg_l=[added, added + more, added, added],
            shortest_travel_time_d=[time, time, time / 2, time],
            drainfields_near=[near, near, near, near + 5], own=own, water=WATER, settings=BUILD,
        )  # fmt: skip
        risk = table["well_risk_frac"]
        assert (risk[1:] >= risk[0] - 1e-12).all()
        assert (table["well_risk_low"] <= risk + 1e-12).all()
        assert (table["well_risk_high"] >= risk - 1e-12).all()
        assert risk.between(0, 1).all()

    def test_the_county_says_how_well_predictions_hold(self) -> None:
        own = own_vulnerability(depth_m=[20.0], casing_m=[9.0], age_yr=[3.0], settings=BUILD)
        sure, unsure = (
            well_risk(
                nitrate_added_mg_l=[2.0], shortest_travel_time_d=[NAN], drainfields_near=[0],
                own=own, water=WATER, settings=WellSettings(prediction_gsd=gsd),
            )["chance_above_limit_frac"][0]
            for gsd in (1.5, 5.0)
        )  # fmt: skip
        assert sure < unsure
        assert unsure == pytest.approx(stats.lognorm(s=np.log(5.0), scale=2.5).sf(10.0))


class TestHoldOut:
    def test_figures_by_hand(self) -> None:
        measured = np.array([1.0] * 17 + [12.0, 15.0, 30.0])
        predicted = np.arange(20.0)
        figures = held_out_figures(predicted, measured)
        assert figures["found_in_first_10_pct_frac"] == pytest.approx(2 / 3)
        assert figures["above_limit"] == 3
        assert held_out_figures(measured, measured)["r2"] == 1
        mean = np.full(20, np.expm1(np.log1p(measured).mean()))
        assert held_out_figures(mean, measured)["r2"] == pytest.approx(0, abs=1e-12)

    def test_blocks(self) -> None:
        blocks = spatial_blocks([0, 999, 1000, 0], [0, 999, 0, 1500], block_m=1000)
        assert len(set(blocks.tolist())) == 3
        assert blocks[0] == blocks[1]

    def test_neighbors_flatter_a_random_split_and_blocks_show_it(self) -> None:
        # Nitrate made of a patchy field that no feature explains but the coordinates betray.
        rng = np.random.default_rng(8)
        x, y = rng.uniform(0, 60_000, (2, 500))
        patch = np.random.default_rng(2).normal(0, 1, (6, 6))
        here = patch[(x // 10_000).astype(int), (y // 10_000).astype(int)]
        plume = rng.gamma(2.0, 1.0, 500)
        nitrate = np.exp(0.4 * np.log1p(plume) + here + rng.normal(0, 0.2, 500))
        features = pd.DataFrame({"added": plume, "x": x, "y": y})
        table = hold_out_comparison(
            features,
            nitrate,
            x_m=x,
            y_m=y,
            plume_column="added",
            block_m=10_000.0,
            folds=5,
            trees=40,
            seed=1,
        ).set_index(["method", "split"])
        forest = table.loc["random forest", "r2"]
        assert forest["random"] > 0.5
        assert forest["blocks"] < forest["random"] - 0.3
        again = hold_out_comparison(
            features,
            nitrate,
            x_m=x,
            y_m=y,
            plume_column="added",
            block_m=10_000.0,
            folds=5,
            trees=40,
            seed=1,
        ).set_index(["method", "split"])
        pd.testing.assert_frame_equal(table, again)

    def test_too_few_samples_are_refused(self) -> None:
        with pytest.raises(NotEnoughDataError, match="hold-out test"):
            hold_out_comparison(
                pd.DataFrame({"added": np.ones(20)}), np.ones(20), x_m=np.arange(20.0),
                y_m=np.zeros(20), plume_column="added", block_m=5000.0, folds=5,
            )  # fmt: skip

    def test_published_state_of_the_art_is_beside(self) -> None:
        assert PUBLISHED["r2"].between(0.3, 0.4).all()
