from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from riskmap.failure.soil_hydraulics import bottom_and_wall, flux_ceiling_m_d, suction_m

ALPHA = 12.0


def _array(*values: float) -> list[np.ndarray]:
    return [np.array([value]) for value in values]


def _both(head: float, resistance: float, ksat: float, ceiling: float) -> tuple[float, float]:
    down, out = bottom_and_wall(*_array(head, resistance, ksat, ceiling), alpha_per_m=ALPHA)
    return float(down[0]), float(out[0])


def _flux_by_brentq(head: float, resistance: float, ksat: float) -> float:
    """Solve q R = s + ln(Ks / q) / alpha with q at most Ks by bisection on ln q."""

    def gap(log_q: float) -> float:
        q = np.exp(log_q)
        return float(q * resistance - head - (np.log(ksat) - log_q) / ALPHA)

    top = np.log(ksat)
    return float(ksat) if gap(top) <= 0 else float(np.exp(brentq(gap, top - 200, top, xtol=1e-14)))


cases = st.tuples(
    st.floats(0.0, 3.0), st.floats(0.1, 500.0), st.floats(1e-3, 20.0), st.floats(0.01, 1.0)
)


class TestAgainstOtherSoftware:
    @given(cases)
    @settings(max_examples=40, deadline=None)
    def test_bottom_and_wall_against_brentq_and_quad(
        self, case: tuple[float, float, float, float]
    ) -> None:
        head, resistance, ksat, share = case
        ceiling = ksat * share

        def local(s: float) -> float:
            return min(_flux_by_brentq(s, resistance, ksat), ceiling)

        down, out = _both(head, resistance, ksat, ceiling)
        assert down == pytest.approx(local(head), rel=1e-9)
        turn = resistance * ceiling - np.log(ksat / ceiling) / ALPHA
        points = [turn] if 0 < turn < head else None
        area, _ = quad(local, 0, head, points=points, epsabs=0, epsrel=1e-9, limit=200)
        assert out == pytest.approx(area, rel=1e-7, abs=1e-14)


class TestAnalyticLimits:
    def test_no_mat_passes_the_saturated_flux(self) -> None:
        down, out = _both(0.3, 1e-9, 2.0, 2.0)
        assert down == pytest.approx(2.0, rel=1e-9)
        assert out == pytest.approx(2.0 * 0.3, rel=1e-6)

    def test_strong_mat_under_deep_water_is_plain_darcy(self) -> None:
        """Suction is nothing beside 1 km of head: q = s / R."""
        down, _ = _both(1000.0, 5e4, 1.0, 1.0)
        assert down == pytest.approx(1000.0 / 5e4, rel=1e-3)

    def test_dry_mat_is_drawn_by_suction_alone(self) -> None:
        down, out = _both(0.0, 50.0, 1.0, 1.0)
        assert down * 50.0 == pytest.approx(float(suction_m(down, 1.0, alpha_per_m=ALPHA)))
        assert out == 0.0

    def test_water_table_at_the_bottom_leaves_the_pond_alone(self) -> None:
        ceiling = flux_ceiling_m_d(*_array(0.3, 40.0, 1.0, 0.0))
        assert ceiling[0] == pytest.approx(0.3 / 40.0)
        drowned = flux_ceiling_m_d(*_array(0.3, 40.0, 1.0, -0.5))
        assert _both(0.3, 40.0, 1.0, float(drowned[0])) == (0.0, 0.0)
        assert _both(0.3, 40.0, 1.0, 5e-324) == pytest.approx((0.0, 0.0), abs=1e-300)

    def test_suction_is_nil_at_saturation(self) -> None:
        assert float(suction_m(2.0, 2.0, alpha_per_m=ALPHA)) == 0.0
        assert float(suction_m(3.0, 2.0, alpha_per_m=ALPHA)) == 0.0


class TestProperties:
    @given(cases, st.floats(1.001, 10))
    @settings(max_examples=60, deadline=None)
    def test_more_head_passes_more_and_more_mat_less(
        self, case: tuple[float, float, float, float], times: float
    ) -> None:
        head, resistance, ksat, _ = case
        base = _both(head, resistance, ksat, ksat)
        deeper = _both(head * times + 0.01, resistance, ksat, ksat)
        matted = _both(head, resistance * times, ksat, ksat)
        coarser = _both(head, resistance, ksat * times, ksat * times)
        for i in (0, 1):
            assert deeper[i] >= base[i] * (1 - 1e-12)
            assert matted[i] <= base[i] * (1 + 1e-12)
            assert coarser[i] >= base[i] * (1 - 1e-12)
