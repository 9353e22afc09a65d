"""Ponding: conservation, limits, an independent solver."""

from __future__ import annotations

import itertools
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from riskmap.contract.units import FOOT_M, UM_S_M_D
from riskmap.failure.clogging import Surface, mature_resistance_d, outflow_m3_d, pond
from riskmap.failure.geometry import field_shape
from riskmap.failure.settings import USUAL
from riskmap.failure.sizing import rate_of_ksat


def _random(n: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, Surface]:
    """Inflow, resistance, front and surface of n trenches and pits, some near water."""
    rng = np.random.default_rng(seed)
    pit = rng.random(n) < 0.4
    area = rng.uniform(20, 120, n)
    inlet = np.where(pit, 2.4, 0.3)
    surface = Surface(
        bottom_m2=np.where(pit, area * 0.19, area),
        wall_m=np.where(pit, area / 2.4, area * 2.2),
        inlet_m=inlet,
        brim_m=inlet * 1.6,
        separation_m=np.where(rng.random(n) < 0.3, rng.uniform(-0.2, 0.8, n), np.inf),
        ksat_m_d=np.exp(rng.normal(-1.0, 1.3, n)),
    )
    resistance = np.exp(rng.normal(4.0, 1.0, n))
    front = np.where(pit, inlet * rng.random(n), np.inf)
    return area * rng.uniform(0.002, 0.03, n), resistance, front, surface


def _one(surface: Surface, i: int) -> dict[str, float]:
    return {f.name: float(getattr(surface, f.name)[i]) for f in fields(surface)}


def _flux(head: float, resistance: float, ksat: float) -> float:
    def gap(log_q: float) -> float:
        return float(np.exp(log_q) * resistance - head - (np.log(ksat) - log_q) / USUAL.alpha_per_m)

    top = np.log(ksat)
    return ksat if gap(top) <= 0 else float(np.exp(brentq(gap, top - 100, top, xtol=1e-13)))


def _outflow_by_quadrature(head: float, resistance: float, front: float, s: dict) -> float:
    """Second solution of the same physics: local fluxes by brentq, the wall by quadrature."""
    ksat, young = s["ksat_m_d"], 0.05 / s["ksat_m_d"]

    def local(depth: float, r: float) -> float:
        ceiling = min(ksat, max(head + s["separation_m"], 0.0) / r)
        return min(_flux(depth, r, ksat), ceiling)

    def wall(z: float) -> float:
        return local(head - z, resistance if z < front else young)

    edges = sorted({0.0, min(front, head), head})
    parts = [
        quad(wall, a, b, epsabs=1e-13, epsrel=1e-8, limit=200)[0]
        for a, b in itertools.pairwise(edges)
    ]
    return s["bottom_m2"] * local(head, resistance) + s["wall_m"] * sum(parts)


class TestAgainstOtherSoftware:
    def test_ponding_by_brentq_and_quadrature(self) -> None:
        """scipy.optimize.brentq and scipy.integrate.quad on 25 systems: depth within 1e-6 m."""
        inflow, resistance, front, surface = _random(25, seed=11)
        found = pond(inflow, resistance, front, surface).head_m
        for i in range(25):
            s = _one(surface, i)

            def excess(
                h: float,
                r: float = resistance[i],
                f: float = front[i],
                s: dict[str, float] = s,
                q: float = inflow[i],
            ) -> float:
                return _outflow_by_quadrature(h, r, f, s) - q

            if excess(0.0) >= 0:
                expected = 0.0
            elif excess(s["brim_m"]) <= 0:
                expected = s["brim_m"]
            else:
                expected = float(brentq(excess, 0.0, s["brim_m"], xtol=1e-9))
            assert found[i] == pytest.approx(expected, abs=1e-6)

    def test_the_sample_holds_every_case(self) -> None:
        inflow, resistance, front, surface = _random(25, seed=11)
        head = pond(inflow, resistance, front, surface).head_m
        assert (head == 0).any()
        assert (head == surface.brim_m).any()
        assert ((head > 0) & (head < surface.brim_m)).sum() >= 8


class TestConservation:
    def test_what_flows_in_flows_out(self) -> None:
        inflow, resistance, front, surface = _random(5000, seed=12)
        result = pond(inflow, resistance, front, surface)
        leaves = result.infiltrated_m3_d + result.surfaced_m3_d
        np.testing.assert_allclose(leaves, inflow, rtol=1e-9)
        ponded = (result.head_m > 0) & (result.head_m < surface.brim_m)
        again = outflow_m3_d(result.head_m, resistance, front, surface)
        np.testing.assert_allclose(again[ponded], inflow[ponded], rtol=1e-9)
        assert ponded.sum() > 1000

    def test_nothing_surfaces_below_the_brim(self) -> None:
        inflow, resistance, front, surface = _random(2000, seed=13)
        result = pond(inflow, resistance, front, surface)
        below = result.head_m < surface.brim_m
        assert (result.surfaced_m3_d[below] == 0).all()
        assert (result.surfaced_m3_d >= 0).all()

    def test_scaling_a_field_scales_its_outflow(self) -> None:
        _, resistance, front, surface = _random(100, seed=14)
        double = replace(surface, bottom_m2=2 * surface.bottom_m2, wall_m=2 * surface.wall_m)
        head = 0.5 * surface.inlet_m
        once = outflow_m3_d(head, resistance, front, surface)
        np.testing.assert_allclose(
            outflow_m3_d(head, resistance, front, double), 2 * once, rtol=1e-12
        )


class TestAnalyticLimits:
    def test_no_mat_passes_the_saturated_flux(self) -> None:
        n = 4
        ksat = np.array([0.1, 0.5, 2.0, 8.0])
        ones, far = np.ones(n), np.full(n, np.inf)
        surface = Surface(30 * ones, 0 * ones, 0.3 * ones, 0.6 * ones, far, ksat)
        out = outflow_m3_d(0.3 * ones, np.full(n, 1e-9), far, surface)
        np.testing.assert_allclose(out, 30 * ksat, rtol=1e-8)

    def test_mat_that_covers_the_whole_wall_is_a_mat_without_front(self) -> None:
        _, resistance, _, surface = _random(50, seed=15)
        head = surface.inlet_m
        covered = outflow_m3_d(head, resistance, head, surface)
        everywhere = outflow_m3_d(head, resistance, np.full(50, np.inf), surface)
        np.testing.assert_allclose(covered, everywhere, rtol=1e-12)

    def test_no_flow_no_pond(self) -> None:
        _, resistance, front, surface = _random(50, seed=16)
        result = pond(np.zeros(50), resistance, front, surface)
        assert (result.head_m == 0).all()

    @pytest.mark.parametrize("kind", ["trench", "bed", "seepage_pit"])
    def test_a_full_standard_field_passes_the_acceptance_rate(self, kind: str) -> None:
        ksat = np.geomspace(0.3, 100, 30)
        shape = field_shape([kind] * 30, wall_credit_m=FOOT_M)
        far = np.full(30, np.inf)
        standard = Surface(
            shape.bottom_per_m2,
            shape.wall_per_m2,
            shape.inlet_m,
            shape.brim_m,
            far,
            ksat * UM_S_M_D,
        )
        accept = rate_of_ksat(ksat) / 1000
        mature = mature_resistance_d(accept, standard)
        out = outflow_m3_d(standard.inlet_m, mature, far, standard)
        np.testing.assert_allclose(out, accept, rtol=1e-9)

    def test_a_soil_too_tight_for_its_rate_still_gets_a_mat(self) -> None:
        one = np.ones(1)
        tight = Surface(one, 2 * one, 0.3 * one, 0.6 * one, np.inf * one, 1e-3 * one)
        assert mature_resistance_d(0.05 * one, tight) == pytest.approx(10 * tight.young_d)


class TestProperties:
    @given(st.integers(0, 10_000))
    @settings(max_examples=30, deadline=None)
    def test_outflow_rises_with_head_and_falls_with_front(self, seed: int) -> None:
        _, resistance, front, surface = _random(40, seed=seed)
        heads = np.linspace(0, 1, 9)[:, None] * surface.brim_m
        outs = np.array([outflow_m3_d(h, resistance, front, surface) for h in heads])
        assert (np.diff(outs, axis=0) >= -1e-12 * outs.max()).all()
        lower = outflow_m3_d(surface.inlet_m, resistance, front * 0.7, surface)
        higher = outflow_m3_d(surface.inlet_m, resistance, front, surface)
        assert (lower >= higher * (1 - 1e-12)).all()

    @given(st.integers(0, 10_000), st.floats(1.01, 3.0))
    @settings(max_examples=30, deadline=None)
    def test_a_higher_wall_leaves_more_reserve(self, seed: int, times: float) -> None:
        inflow, resistance, front, surface = _random(40, seed=seed)
        higher = replace(surface, inlet_m=surface.inlet_m * times, brim_m=surface.brim_m * times)
        low = pond(inflow, resistance, front, surface).head_m / surface.inlet_m
        high = pond(inflow, resistance, front, higher).head_m / higher.inlet_m
        assert (np.minimum(high, 1) <= np.minimum(low, 1) + 1e-9).all()

    def test_unknown_stays_unknown_and_alone(self) -> None:
        inflow, resistance, front, surface = _random(10, seed=17)
        holed = resistance.copy()
        holed[3] = np.nan
        result = pond(inflow, holed, front, surface)
        whole = pond(inflow, resistance, front, surface)
        assert np.isnan(result.head_m[3])
        keep = np.arange(10) != 3
        np.testing.assert_array_equal(result.head_m[keep], whole.head_m[keep])
