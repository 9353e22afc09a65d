from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.groundwater.nitrogen import (
    NITROGEN,
    effluent_depth_m_yr,
    lot_area_for_target_m2,
    lot_nitrate_mg_l,
    neighborhood_nitrate_mg_l,
    system_load,
)

NAN = float("nan")
positive = st.floats(0.01, 5.0)


class TestAgainstEnumeration:
    def test_load_by_hand(self) -> None:
        # 3 persons x 4.2 kg x (1 - removed) x (1 - .15)
        table = system_load([3.0, 3.0, NAN, 3.0], ["trench", "aerobic_unit", "trench", "drip"],
                            treatment_removal_frac=[NAN, NAN, NAN, 0.8])  # fmt: skip
        full = 3 * 4.2 * 0.85
        expected = [full, full * 0.75, 2.5 * 4.2 * 0.85, full * 0.2]
        np.testing.assert_allclose(table["nitrogen_load_kg_yr"], expected)
        assert table["load_evidence"].tolist() == ["assumed", "assumed", "assumed", "inferred"]
        assert table["persons_used"].tolist() == [3, 3, 2.5, 3]

    def test_unknown_and_missing_kinds_count_as_unknown(self) -> None:
        table = system_load([2.0, 2.0, 2.0], ["no such kind", None, "unknown"])
        assert table["nitrogen_load_kg_yr"].nunique() == 1

    def test_sound_holding_tank_releases_nothing(self) -> None:
        assert system_load([4.0], ["holding_tank"])["nitrogen_load_kg_yr"][0] == 0

    def test_neighborhood_of_one_lot_is_the_lot(self) -> None:
        # One system on a round lot: both balances are the same sum.
        radius, flow = 30.0, 900.0
        area = np.pi * radius**2
        load = flow / 1000 * 365.25 * 50 * 0.85 / 1000
        around = neighborhood_nitrate_mg_l(
            [0.0], [0.0], load_kg_yr=[load], flow_l_d=[flow], target_x_m=[0.0],
            target_y_m=[0.0], radius_m=radius, recharge_m_yr=0.25, background_mg_l=0.7,
        )  # fmt: skip
        depth = effluent_depth_m_yr(flow, area) * 365.25 / 365
        lot = lot_nitrate_mg_l(
            depth, recharge_m_yr=0.25, effluent_mg_l=50, denitrified_frac=0.15,
            background_mg_l=0.7,
        )  # fmt: skip
        assert around[0] == pytest.approx(float(lot), rel=1e-9)

    def test_nobody_near_leaves_the_background(self) -> None:
        around = neighborhood_nitrate_mg_l(
            [0.0], [0.0], load_kg_yr=[10.0], flow_l_d=[900.0], target_x_m=[1e5, NAN],
            target_y_m=[0.0, 0.0], radius_m=500, background_mg_l=0.6,
        )  # fmt: skip
        assert around[0] == pytest.approx(0.6)
        assert np.isnan(around[1])


class TestProperties:
    @given(positive, positive, st.floats(5, 100), st.floats(0, 0.9), st.floats(0, 5))
    @settings(max_examples=60, deadline=None)
    def test_mixture_lies_between_its_parts(
        self, water: float, rain: float, strength: float, lost: float, background: float
    ) -> None:
        found = float(lot_nitrate_mg_l(water, recharge_m_yr=rain, effluent_mg_l=strength,
                                       denitrified_frac=lost,
                                       background_mg_l=background))  # fmt: skip
        ends = sorted([strength * (1 - lost), background])
        assert ends[0] - 1e-9 <= found <= ends[1] + 1e-9

    @given(st.floats(200, 3000), st.floats(0.05, 1), st.floats(2, 15))
    @settings(max_examples=60, deadline=None)
    def test_lot_of_the_computed_size_meets_the_target(
        self, flow: float, rain: float, target: float
    ) -> None:
        area = lot_area_for_target_m2(flow, target_mg_l=target, recharge_m_yr=rain)
        back = lot_nitrate_mg_l(effluent_depth_m_yr(flow, area), recharge_m_yr=rain)
        assert float(back) == pytest.approx(target, rel=1e-9)

    def test_no_lot_is_large_enough_where_the_background_breaks_the_target(self) -> None:
        assert lot_area_for_target_m2(900, target_mg_l=5, recharge_m_yr=0.2,
                                      background_mg_l=6) == np.inf  # fmt: skip
        assert lot_area_for_target_m2(900, target_mg_l=60, recharge_m_yr=0.2) == 0
        assert np.isnan(lot_nitrate_mg_l(0.0, recharge_m_yr=0.0))
        assert np.isnan(effluent_depth_m_yr(900.0, 0.0))

    def test_defaults_lie_within_their_bounds_and_name_a_source(self) -> None:
        for spec in NITROGEN.values():
            assert spec.lower <= spec.value <= spec.upper
            assert spec.source
