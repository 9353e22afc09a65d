"""The failure physics from plain arrays, against the whole assessment."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.kinds import SYSTEM_KINDS
from riskmap.failure.assess import FailureChoices, assess_failure
from riskmap.failure.flow import rule_flow_l_d
from riskmap.failure.geometry import kind_codes
from riskmap.failure.parameter_ranges import FailureParameters
from riskmap.failure.rerun import SystemRecords, systems_today
from riskmap.failure.rules_data import PERSON_USE

MARGIN = 2.3
PLAIN = FailureParameters()


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


def records(table: pd.DataFrame) -> SystemRecords:
    given = {name: table[name].to_numpy(float) for name in table if name != "kind"}
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
    )


class TestAgainstTheWholeAssessment:
    def test_plain_parameters_give_its_columns(self) -> None:
        table = systems()
        whole = assess_failure(table, choices=FailureChoices(margin=MARGIN))
        today = systems_today(records(table), PLAIN, margin=MARGIN)
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
        more = replace(PLAIN, water_use=1.3, field_margin=0.8)
        thirsty = replace(records(table), flow_l_d=1.3 * records(table).flow_l_d)
        direct = systems_today(thirsty, PLAIN, margin=0.8 * MARGIN)
        by_parameter = systems_today(records(table), more, margin=MARGIN)
        assert np.allclose(by_parameter.reserve_frac, direct.reserve_frac, equal_nan=True)
        assert np.allclose(by_parameter.load_ratio, direct.load_ratio, equal_nan=True)


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
        base = FailureParameters(
            water_use=water_use, alpha_per_m=alpha, maturing_yr=maturing, solids_gain=gain
        )
        now = systems_today(drawn, base, margin=MARGIN).reserve_frac
        for worse in (
            replace(base, water_use=1.2 * water_use),
            replace(base, solids_gain=1.5 * gain),
            replace(base, field_margin=0.8),
            replace(base, maturing_yr=0.8 * maturing),
        ):
            then = systems_today(drawn, worse, margin=MARGIN).reserve_frac
            assert np.nanmax(then - now) < 1e-9
