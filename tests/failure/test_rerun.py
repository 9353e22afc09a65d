"""The failure physics from plain arrays, against the whole assessment."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.kinds import SYSTEM_KINDS
from riskmap.contract.rule_sets import PERSON_USE
from riskmap.contract.rules import RulePeriod, Rules
from riskmap.failure.assess import assess_failure
from riskmap.failure.flow import rule_flow_l_d
from riskmap.failure.geometry import kind_codes
from riskmap.failure.rerun import SystemRecords, SystemsToday, systems_today
from riskmap.failure.settings import FailureSettings
from riskmap.failure.sizing import loading_rule, rate_on_permit_l_d_m2

MARGIN = 2.3
PLAIN, RULES = FailureSettings(), Rules()


def today_of(drawn: SystemRecords, physics: FailureSettings, margin: float) -> SystemsToday:
    wanted = RULES.vertical_separation_m
    return systems_today(drawn, physics, margin=margin, vertical_separation_m=wanted)


def systems(count: int = 400) -> pd.DataFrame:
    rng = np.random.default_rng(5)
    return pd.DataFrame(
        {
            "kind": rng.choice(SYSTEM_KINDS, count),
            "age_yr": rng.uniform(0, 70, count),
            "occupants": rng.integers(1, 7, count).astype(float),
            "tank_volume_l": rng.uniform(1900, 5700, count),
            "field_area_m2": rng.uniform(20, 200, count),
            "ksat_um_s": rng.lognormal(1.0, 1.5, count),
            "wet_depth_cm": rng.uniform(20, 200, count),
            "restriction_cm": rng.uniform(60, 200, count),
            "years_since_pumped_yr": rng.uniform(0, 25, count),
        }
    )


def records(table: pd.DataFrame, rules: Rules = RULES) -> SystemRecords:
    given = {name: table[name].to_numpy(float) for name in table if name != "kind"}
    nothing, rule = np.full(len(table), np.nan), loading_rule(rules.accept_rule)
    return SystemRecords(
        kind=kind_codes(table["kind"]),
        age_yr=given["age_yr"],
        persons=given["occupants"],
        flow_l_d=rule_flow_l_d(given["occupants"], rule=PERSON_USE),
        tank_volume_l=given["tank_volume_l"],
        years_since_pumped_yr=given["years_since_pumped_yr"],
        field_area_m2=given["field_area_m2"],
        ksat_um_s=given["ksat_um_s"],
        limit_depth_m=np.fmin(given["wet_depth_cm"], given["restriction_cm"]) / 100,
        accept_l_d_m2=rate_on_permit_l_d_m2(
            len(table), rule=rule, percolation_min_cm=given.get("percolation_min_cm")
        ),
        wall_credit_m=np.full(len(table), rule.wall_credit_m),
        ponding_found_m=given.get("ponding_found_cm", nothing) / 100,
    )


class TestAgainstTheWholeAssessment:
    def test_plain_parameters_give_its_columns(self) -> None:
        table = systems()
        whole = assess_failure(table, rules=RULES, physics=PLAIN, margin=MARGIN)
        today = today_of(records(table), PLAIN, MARGIN)
        for name in ("load_ratio", "reserve_frac", "pump_overdue_yr"):
            expected = whole[name].to_numpy(float)
            found = getattr(today, name)
            assert np.isnan(found).tolist() == np.isnan(expected).tolist(), name
            known = ~np.isnan(expected)
            assert known.sum() > 300
            assert found[known] == pytest.approx(expected[known], rel=1e-9, abs=1e-12), name
        assert 0.1 < np.nanmean(today.reserve_frac) < 0.99

    def test_water_use_and_margin_act_as_changed_inputs(self) -> None:
        table = systems()
        more = replace(PLAIN, water_use_ratio=1.3, margin_ratio=0.8)
        thirsty = replace(records(table), flow_l_d=1.3 * records(table).flow_l_d)
        direct = today_of(thirsty, PLAIN, 0.8 * MARGIN)
        whole = assess_failure(table, rules=RULES, physics=more, margin=MARGIN)
        for name in ("reserve_frac", "load_ratio"):
            found = whole[name].to_numpy(float)
            assert np.allclose(found, getattr(direct, name), rtol=1e-9, equal_nan=True), name

    def test_other_clogging_numbers_give_the_assessment_under_them(self) -> None:
        table = systems()
        other = replace(PLAIN, alpha_per_m=20.0, maturing_yr=1.1, solids_gain=0.5, margin_ratio=0.9)
        whole = assess_failure(table, rules=RULES, physics=other, margin=MARGIN)
        today = today_of(records(table), other, MARGIN)
        assert np.allclose(today.reserve_frac, whole["reserve_frac"], rtol=1e-9, equal_nan=True)

    def test_what_is_on_record_counts_as_in_the_assessment(self) -> None:
        """Percolation tests on some permits, ponds measured in some fields."""
        rng, rules = np.random.default_rng(2), Rules(accept_rule="montana_percolation")
        table = systems()
        table["percolation_min_cm"] = np.where(
            rng.random(400) < 0.5, rng.uniform(1, 40, 400), np.nan
        )
        table["ponding_found_cm"] = np.where(rng.random(400) < 0.3, rng.uniform(0, 60, 400), np.nan)
        sizing = (RulePeriod("bedroom_trade", "montana_percolation"),)
        rules = replace(rules, sizing=sizing)
        whole = assess_failure(table, rules=rules, physics=PLAIN, margin=MARGIN)
        today = today_of(records(table, rules), PLAIN, MARGIN)
        found = whole["ponding_m_evidence"] == "measured"
        assert found.sum() > 50
        for name in ("load_ratio", "reserve_frac"):
            assert np.allclose(getattr(today, name), whole[name], rtol=1e-9, equal_nan=True), name


class TestProperties:
    @settings(max_examples=20, deadline=None)
    @given(
        water_use=st.floats(0.5, 1.5),
        alpha=st.floats(2, 36),
        maturing=st.floats(0.5, 5),
        gain=st.floats(0.3, 3),
    )
    def test_more_water_or_more_solids_never_leave_more_reserve(
        self, water_use: float, alpha: float, maturing: float, gain: float
    ) -> None:
        drawn = records(systems(60))
        base = FailureSettings(alpha_per_m=alpha, maturing_yr=maturing, solids_gain=gain)
        drawn = replace(drawn, flow_l_d=water_use * drawn.flow_l_d)
        now = today_of(drawn, base, MARGIN).reserve_frac
        for flow, worse in (
            (1.2, base),
            (1.0, replace(base, solids_gain=1.5 * gain)),
            (1.0, replace(base, margin_ratio=0.8)),
            (1.0, replace(base, maturing_yr=0.8 * maturing)),
        ):
            more = replace(drawn, flow_l_d=flow * drawn.flow_l_d)
            then = today_of(more, worse, MARGIN).reserve_frac
            assert np.nanmax(then - now) < 1e-9
