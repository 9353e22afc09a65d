"""The mat's growth, the years left and what would help."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.special import wrightomega

from riskmap.failure.clogging import Surface, outflow_m3_d
from riskmap.failure.mat import (
    LOOK_AHEAD_YR,
    REST_DECAY_YR,
    Load,
    Mat,
    grown_mat,
    resistance_and_front,
    rested,
    years_until,
)
from riskmap.failure.settings import USUAL

Runner = Callable[..., pd.DataFrame]
FIELDS = ("trench", "bed", "mound", "seepage_pit", "drip", "aerobic_unit", "cesspool")

systems = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(FIELDS),
        "area_m2": st.floats(10, 200),
        "flow_l_d": st.floats(20, 3000),
        "ksat_um_s": st.floats(0.02, 300),
        "limit_depth_m": st.one_of(st.just(float("nan")), st.floats(0, 3)),
        "age_yr": st.floats(0, 80),
        "neglect": st.floats(0, 0.98),
    }
)


def _worsens(run: Runner, system: dict[str, object], name: str, good: float, bad: float) -> None:
    """From the good to the bad value the reserve and the years left never grow."""
    table = run(**{**system, name: [good, bad]})
    assert table.notna().all().all()
    for column, slack in (
        ("reserve_frac", 1e-9),
        ("years_to_stressed_yr", 1e-5),
        ("years_to_failed_yr", 1e-5),
    ):
        before, after = table[column]
        assert after <= before + slack, column
    if system["kind"] != "mound":
        assert table["ponding_m"][1] >= table["ponding_m"][0] - 1e-9


class TestMonotone:
    @given(systems, st.floats(1.001, 5))
    @settings(max_examples=30, deadline=None)
    def test_load(self, run_field: Runner, system: dict[str, object], times: float) -> None:
        flow = float(system["flow_l_d"])  # type: ignore[arg-type]
        _worsens(run_field, system, "flow_l_d", flow, flow * times)

    @given(systems, st.floats(0.01, 60))
    @settings(max_examples=30, deadline=None)
    def test_age(self, run_field: Runner, system: dict[str, object], more: float) -> None:
        age = float(system["age_yr"])  # type: ignore[arg-type]
        _worsens(run_field, system, "age_yr", age, age + more)

    @given(systems, st.floats(1.01, 30))
    @settings(max_examples=30, deadline=None)
    def test_finer_soil(self, run_field: Runner, system: dict[str, object], times: float) -> None:
        ksat = float(system["ksat_um_s"])  # type: ignore[arg-type]
        _worsens(run_field, system, "ksat_um_s", ksat, ksat / times)

    @given(systems, st.floats(1.001, 5))
    @settings(max_examples=30, deadline=None)
    def test_smaller_area(self, run_field: Runner, system: dict[str, object], times: float) -> None:
        area = float(system["area_m2"])  # type: ignore[arg-type]
        _worsens(run_field, system, "area_m2", area, area / times)

    @given(systems, st.floats(0.001, 1))
    @settings(max_examples=30, deadline=None)
    def test_neglect(self, run_field: Runner, system: dict[str, object], share: float) -> None:
        kept = float(system["neglect"])  # type: ignore[arg-type]
        _worsens(run_field, system, "neglect", kept, kept + share * (1 - kept))

    @given(systems, st.floats(0, 3), st.floats(0, 3))
    @settings(max_examples=30, deadline=None)
    def test_shallower_water(
        self, run_field: Runner, system: dict[str, object], a: float, b: float
    ) -> None:
        _worsens(run_field, system, "limit_depth_m", max(a, b), min(a, b))

    @given(systems)
    @settings(max_examples=30, deadline=None)
    def test_helping_never_harms(self, run_field: Runner, system: dict[str, object]) -> None:
        row = run_field(**system).iloc[0]
        assert row["half_flow_ponding_m"] <= row["ponding_m"] + 1e-9 or system["kind"] == "mound"
        for name in ("half_flow", "pumping", "resting"):
            gained = row[f"years_gained_{name}_yr"]
            assert 0 <= gained <= LOOK_AHEAD_YR - row["years_to_failed_yr"] + 1e-5


def _many(n: int) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(21)
    return {
        "kind": rng.choice(FIELDS, n),
        "area_m2": rng.uniform(10, 200, n),
        "flow_l_d": rng.uniform(20, 2000, n),
        "ksat_um_s": np.exp(rng.uniform(-4, 5.7, n)),
        "limit_depth_m": np.where(rng.random(n) < 0.5, np.nan, rng.uniform(0, 3, n)),
        "age_yr": rng.uniform(0, 80, n),
        "neglect": rng.uniform(0, 0.98, n),
    }


class TestMonotoneOverACounty:
    """The same on 4,000 systems at once, each made worse by its own amount."""

    @pytest.mark.parametrize(
        "name", ["flow_l_d", "area_m2", "ksat_um_s", "limit_depth_m", "age_yr", "neglect"]
    )
    def test_worse_never_looks_better(self, run_field: Runner, name: str) -> None:
        systems = _many(4000)
        times = np.random.default_rng(22).uniform(1.001, 4, 4000)
        value = systems[name]
        worse = {
            "flow_l_d": value * times,
            "age_yr": value + times,
            "neglect": value + (1 - value) * 0.3,
            "limit_depth_m": np.where(np.isnan(value), 2.0, value / times),
        }.get(name, value / times)
        before, after = run_field(**systems), run_field(**{**systems, name: worse})
        for column in ("reserve_frac", "years_to_stressed_yr", "years_to_failed_yr"):
            rise = (after[column] - before[column]).max()
            assert rise <= 1e-6, column
        assert (before["reserve_frac"] - after["reserve_frac"]).max() > 0.05


class TestAnalyticLimits:
    def _trench(self) -> tuple[Mat, Surface, Load, float]:
        one = np.ones(1)
        surface = Surface(50 * one, 110 * one, 0.3 * one, 0.6 * one, np.inf * one, 0.4 * one)
        load = Load(0.35 * one, 0.7 * one, 0.6 * one, one)
        mat = grown_mat(12 * one, load, mature_d=90 * one, climb_m=np.inf * one)
        return mat, surface, load, 0.4

    def test_years_by_the_closed_form(self) -> None:
        """The critical resistance by brentq, then the time by the Wright omega function.

        With y = pace * t the growth reads y + A exp(-y) = G; v = -A exp(-y) ... solved in logs.
        """
        mat, surface, load, _ = self._trench()
        inlet = surface.inlet_m
        far = np.full(1, np.inf)

        def spare(log_r: float) -> float:
            out = outflow_m3_d(inlet, np.exp([log_r]), far, surface)
            return float(out[0] - load.inflow_m3_d[0])

        critical = np.exp(brentq(spare, 0, 12, xtol=1e-14))
        young, mature = float(surface.young_d[0]), 90.0
        pace = 0.7 / USUAL.maturing_yr
        solids = mature * USUAL.solids_gain * 0.6 * 0.7 / USUAL.maturing_yr
        gone = 1 - float(mat.maturity[0])
        full = mature - young
        start = young + mature * float(mat.solids[0]) + full
        # start - full * gone * exp(-pace t) + solids t = critical, y = pace t:
        # y - B exp(-y) = G  =>  y = G + v, v exp(v) = B exp(-G) => v = omega(ln B - G)
        b, g = full * gone * pace / solids, (critical - start) * pace / solids
        expected = (g + float(wrightomega(np.log(b) - g))) / pace
        found = float(years_until(inlet, mat, surface, load)[0])
        assert 0 < found < LOOK_AHEAD_YR
        assert found == pytest.approx(expected, abs=1e-6)

    def test_at_the_year_of_failure_the_pond_is_at_the_inlet(self) -> None:
        mat, surface, load, _ = self._trench()
        years = years_until(surface.inlet_m, mat, surface, load)
        later = grown_mat(12 + years, load, mature_d=mat.mature_d, climb_m=mat.climb_m)
        resistance, front = resistance_and_front(later, surface, load)
        out = outflow_m3_d(surface.inlet_m, resistance, front, surface)
        assert out == pytest.approx(load.inflow_m3_d, rel=1e-6)

    def test_a_new_field_has_no_mat_and_an_old_kept_one_the_mature_mat(self) -> None:
        _, surface, load, _ = self._trench()
        kept = Load(load.inflow_m3_d, load.load_ratio, 0 * load.neglect, load.strength)
        for age, expected in ((0.0, float(surface.young_d[0])), (500.0, 90.0)):
            mat = grown_mat(np.array([age]), kept, mature_d=90 * np.ones(1), climb_m=np.ones(1))
            resistance, front = resistance_and_front(mat, surface, kept)
            assert resistance[0] == pytest.approx(expected)
            assert front[0] == pytest.approx(float(age > 0))

    def test_resting_for_one_decay_time_leaves_37_percent(self) -> None:
        mat, _, _, _ = self._trench()
        after = rested(mat, rest_yr=REST_DECAY_YR)
        assert after.maturity == pytest.approx(mat.maturity * np.exp(-1))
        assert after.solids == pytest.approx(mat.solids)

    def test_a_kept_field_within_its_capacity_lasts(self, run_field: Runner) -> None:
        table = run_field(neglect=0.0, age_yr=60.0, flow_l_d=[200, 300, 400], area_m2=60)
        assert (table["years_to_failed_yr"] == LOOK_AHEAD_YR).all()
        assert (table["ponding_m"] < table["inlet_m"]).all()

    def test_an_overloaded_field_fails_when_its_mat_matures(self, run_field: Runner) -> None:
        new, old = run_field(neglect=0.0, age_yr=[0.0, 30.0], flow_l_d=900)["years_to_failed_yr"]
        assert 0 < new < 20
        assert old == 0

    def test_a_pit_clogs_at_the_bottom_first(self, run_field: Runner) -> None:
        """Effluent creeps up the wall of a pit over the years."""
        ages = [0.5, 2, 5, 10, 40]
        table = run_field(kind="seepage_pit", age_yr=ages, neglect=0.0, area_m2=40, flow_l_d=250)
        assert (np.diff(table["ponding_m"]) > 0).all()
        assert table["ponding_m"].iloc[0] < 0.1 * table["inlet_m"].iloc[0]

    def test_pumping_gains_years_for_a_neglected_tank_only(self, run_field: Runner) -> None:
        kept, neglected = run_field(neglect=[0.0, 0.9], flow_l_d=350, age_yr=5)[
            "years_gained_pumping_yr"
        ]
        assert kept == 0
        assert neglected > 5

    def test_resting_revives_a_failed_field(self, run_field: Runner) -> None:
        row = run_field(neglect=0.0, age_yr=30.0, flow_l_d=800).iloc[0]
        assert row["years_to_failed_yr"] == 0
        assert row["years_gained_resting_yr"] > 0.5
        assert row["rested_ponding_m"] < row["ponding_m"]

    def test_treated_effluent_clogs_less(self, run_field: Runner) -> None:
        plain, treated = run_field(kind=["trench", "aerobic_unit"], flow_l_d=600)["ponding_m"]
        assert treated < plain

    def test_a_holding_tank_has_no_field(self, run_field: Runner) -> None:
        assert run_field(kind="holding_tank").isna().all().all()
