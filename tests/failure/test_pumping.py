from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from riskmap.contract.units import GALLON_L
from riskmap.failure.pumping import (
    PUMP_OUT_RATE_YR,
    assumed_years_since_pumped_yr,
    neglect,
    pump_interval_yr,
    pump_overdue_yr,
    recovering,
)

volumes = st.floats(100, 4000).map(lambda gallons: gallons * GALLON_L)


class TestAgainstEnumeration:
    def test_halfway_between_four_cells(self) -> None:
        """1000 gal: 3.7, 2.6; 1250 gal: 4.8, 3.4 (3 and 4 persons); the mean is 3.625."""
        assert float(pump_interval_yr(1125 * GALLON_L, 3.5)) == pytest.approx(3.625)

    def test_outside_the_table_the_edge_holds(self) -> None:
        found = pump_interval_yr(np.array([100, 9000, 1000, 1000]) * GALLON_L, [4, 4, 0, 40])
        np.testing.assert_allclose(found, [1.0, 7.5, 12.4, 0.7])

    def test_the_empty_cell_takes_its_neighbor(self) -> None:
        assert float(pump_interval_yr(500 * GALLON_L, 10)) == pytest.approx(0.1)

    def test_overdue(self) -> None:
        late = pump_overdue_yr([10, 2, np.nan, 5], [2.6, 2.6, 2.6, np.nan])
        np.testing.assert_allclose(late, [7.4, 0, np.nan, np.nan])

    def test_weeks_after_a_pump_out(self) -> None:
        weeks = np.array([0, 6, 7.9, 8.1, np.nan, -1]) * 7 / 365.25
        assert recovering(weeks).tolist() == [True, True, True, False, False, False]
        assert recovering(weeks, weeks=6.5).tolist() == [True, True, False, False, False, False]

    def test_neglect_is_the_mean_over_a_cycle(self) -> None:
        """Numerical integration of the ramp."""
        for x in (0.3, 1.0, 1.4, 2.0, 3.7, 20.0):
            cycle = max(x, 1.0)
            mean = quad(lambda y: min(max(y - 1, 0), 1), 0, cycle, points=[1, 2])[0] / cycle
            assert float(neglect(x * 2.6, 2.6)) == pytest.approx(mean, abs=1e-7)

    def test_assumed_time_is_the_mean_of_a_truncated_wait(self) -> None:
        draws = np.random.default_rng(3).exponential(1 / PUMP_OUT_RATE_YR, 400_000)
        for age in (2.0, 20.0, 60.0):
            found = float(assumed_years_since_pumped_yr(age))
            assert found == pytest.approx(np.minimum(draws, age).mean(), rel=0.005)


class TestProperties:
    @given(volumes, volumes, st.floats(0.5, 12), st.floats(0.5, 12))
    @settings(max_examples=60)
    def test_interval_rises_with_volume_and_falls_with_persons(
        self, a: float, b: float, p: float, q: float
    ) -> None:
        small, large = sorted((a, b))
        few, many = sorted((p, q))
        assert pump_interval_yr(small, p) <= pump_interval_yr(large, p) + 1e-12
        assert pump_interval_yr(a, many) <= pump_interval_yr(a, few) + 1e-12

    @given(st.floats(0, 100), st.floats(0, 100), st.floats(0.1, 30))
    @settings(max_examples=60)
    def test_neglect_rises_with_time_and_stays_below_one(
        self, a: float, b: float, interval: float
    ) -> None:
        low, high = neglect(sorted((a, b)), interval)
        assert 0 <= low <= high + 1e-15 < 1

    def test_unknown_stays_unknown(self) -> None:
        assert np.isnan(pump_interval_yr([np.nan, 4000.0], [4, np.nan])).all()
        assert np.isnan(neglect([np.nan], [2.0])).all()
