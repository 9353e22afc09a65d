from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from riskmap.contract.arrays import Floats
from riskmap.contract.errors import NotEnoughDataError
from riskmap.groundwater.censored import NO_RESULTS, Results
from riskmap.groundwater.holdout import (
    BUFFER_M,
    PUBLISHED,
    chance_figures,
    held_out_figures,
    hold_out_comparison,
    predict_held_out,
    spatial_blocks,
)
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings
from riskmap.groundwater.well_nitrate import Nitrate, known_of_wells
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


def said(median_mg_l: list[float], gsd: float = 3.0) -> Nitrate:
    count = len(median_mg_l)
    return Nitrate(np.log(median_mg_l), np.full(count, np.log(gsd)), np.zeros(count, np.int64))


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
        assert float(chance_above(4.0, 10.0, gsd=3.0)) == pytest.approx(expected, rel=1e-9)
        assert float(chance_above(10.0, 10.0, gsd=3.0)) == pytest.approx(0.5)

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
            nitrate=said([1.0, 20.0, NAN, 1.0]), shortest_travel_time_d=[NAN] * 4,
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
            nitrate=said([0.5 + added, 0.5 + added + more, 0.5 + added, 0.5 + added]),
            shortest_travel_time_d=[time, time, time / 2, time],
            drainfields_near=[near, near, near, near + 5], own=own, water=WATER, settings=BUILD,
        )  # fmt: skip
        risk = table["well_risk_frac"]
        assert (risk[1:] >= risk[0] - 1e-12).all()
        assert (table["well_risk_low"] <= risk + 1e-12).all()
        assert (table["well_risk_high"] >= risk - 1e-12).all()
        assert risk.between(0, 1).all()

    def test_a_wider_doubt_makes_a_low_prediction_riskier(self) -> None:
        own = own_vulnerability(depth_m=[20.0], casing_m=[9.0], age_yr=[3.0], settings=BUILD)
        sure, unsure = (
            well_risk(
                nitrate=said([2.5], gsd), shortest_travel_time_d=[NAN], drainfields_near=[0],
                own=own, water=WATER, settings=BUILD,
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

    def test_said_and_found(self) -> None:
        # Chances by scipy's log-normal; nine of ten ranges of a true distribution hold.
        rng = np.random.default_rng(4)
        middle, gsd = rng.uniform(0.5, 8.0, 6000), rng.uniform(1.5, 3.0, 6000)
        truth = middle * gsd ** rng.normal(size=6000)
        nitrate = Nitrate(np.log(middle), np.log(gsd), np.zeros(6000, np.int64))
        found = chance_figures(nitrate, truth, np.zeros(6000, bool))
        expected = stats.lognorm(s=np.log(gsd), scale=middle).sf(10.0).mean()
        assert found["said_above_frac"] == pytest.approx(expected, rel=1e-9)
        assert found["found_above_frac"] == pytest.approx(expected, abs=0.012)
        assert found["held_by_range_frac"] == pytest.approx(0.9, abs=0.012)
        for third in ("lowest", "middle", "highest"):
            said_, seen = (found[f"{what}_{third}_third_frac"] for what in ("said", "found"))
            assert seen == pytest.approx(said_, abs=0.02)

    def test_a_result_below_a_limit_is_held_by_a_range_that_reaches_below_it(self) -> None:
        nitrate = Nitrate(np.log([0.05, 5.0, 8.0]), np.log([2.0] * 3), np.zeros(3, np.int64))
        found = chance_figures(nitrate, np.full(3, 0.25), np.full(3, True))
        assert found["held_by_range_frac"] == pytest.approx(1 / 3)

    def test_neighbors_flatter_single_wells_and_blocks_show_it(self) -> None:
        # Nitrate made of a patchy field that nothing explains but where a well lies.
        rng = np.random.default_rng(8)
        place = rng.uniform(0, 12_000, (300, 2))
        patch = np.random.default_rng(2).normal(0, 1, (6, 6))
        nitrate = np.exp(patch[tuple((place // 2000).astype(int).T)] + rng.normal(0, 0.2, 300))
        known = known_of_wells(pd.DataFrame(index=range(300)), depth_m=np.full(300, 20.0))
        results = Results(
            np.arange(300), np.log(nitrate), np.zeros(300, bool), np.full(300, 0.04)
        )  # fmt: skip

        def compared() -> pd.DataFrame:
            return hold_out_comparison(
                known, place, results, measured_mg_l=nitrate, below=np.zeros(300, bool),
                simple={"easting": place[:, 0]}, risk=lambda found: np.exp(found.mean),
                water=WATER, block_m=2000.0, folds=4, seed=1,
            ).set_index(["method", "split"])  # fmt: skip

        table = compared()
        r2 = table.loc["samples", "r2"]
        assert r2["single wells"] > 0.5
        assert r2["blocks"] < r2["single wells"] - 0.3
        listed = table.loc["sampling list, samples", "rank_correlation"]
        assert listed["single wells"] == pytest.approx(
            table.loc[("samples", "single wells"), "rank_correlation"]
        )
        pd.testing.assert_frame_equal(table, compared())

    def test_nothing_is_learned_from_a_held_out_block_or_the_strip_around_it(self) -> None:
        rng = np.random.default_rng(3)
        place, fold = rng.uniform(0, 4000, (80, 2)), np.zeros(80, np.int64)
        fold[place[:, 0] > 2000] = 1
        known = known_of_wells(pd.DataFrame(index=range(80)), depth_m=np.full(80, 20.0))
        value = rng.normal(0, 1, 80)

        def held_out(changed: Floats) -> Floats:
            results = Results(np.arange(80), changed, np.zeros(80, bool), np.full(80, 0.04))
            return predict_held_out(known, place, results, fold, water=WATER, seed=0).mean

        held = fold == 1
        away = np.hypot(*(place[:, None] - place[None, held]).transpose(2, 0, 1)).min(axis=1)
        other = np.where(away <= BUFFER_M, value + 5.0, value)
        assert 0 < (away[~held] <= BUFFER_M).sum() < (~held).sum()
        np.testing.assert_allclose(held_out(other)[held], held_out(value)[held], rtol=1e-9)
        assert np.abs(held_out(value + 5.0) - held_out(value))[held].min() > 1.0

    def test_too_few_samples_are_refused(self) -> None:
        known = known_of_wells(pd.DataFrame(index=range(20)), depth_m=np.full(20, 20.0))
        with pytest.raises(NotEnoughDataError, match="hold-out test"):
            hold_out_comparison(
                known, np.zeros((20, 2)), NO_RESULTS, measured_mg_l=np.ones(20),
                below=np.zeros(20, bool), simple={}, risk=lambda found: found.mean, water=WATER,
                block_m=5000.0, folds=5,
            )  # fmt: skip

    def test_published_state_of_the_art_is_beside(self) -> None:
        assert PUBLISHED["r2"].between(0.3, 0.4).all()
