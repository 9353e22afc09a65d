from __future__ import annotations

from math import erf, pi, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import integrate

from riskmap.contract.grid import grid_from_bounds
from riskmap.contract.units import YEAR_D
from riskmap.groundwater.arrival import arrived_frac
from riskmap.groundwater.gradient import FlowField, flow_field
from riskmap.groundwater.paths import Paths, trace_paths
from riskmap.groundwater.plume import (
    left_after,
    nitrate_added_mg_l,
    shape_plumes,
)
from riskmap.groundwater.reach import pairs_in_reach
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.groundwater.slabs import layer_mean, window_mean

Floats = NDArray[np.float64]
POROSITY = 0.25
PURE = GroundwaterSettings(
    thickness_m=15.0, recharge_m_yr=0.0, direction_sd_deg=0.0, source_width_m=20.0,
    source_depth_m=2.0, effluent_mg_l=60.0, porosity_frac=POROSITY,
    dispersivity_across_m=1.0, dispersivity_down_m=0.1,
)  # fmt: skip


def uniform(gradient: float = 0.004) -> FlowField:
    grid = grid_from_bounds(west_m=0, north_m=1500, cell_m=15, values=np.zeros((100, 100)))
    return flow_field(
        grid.with_values(50 - gradient * grid.centers()[0]),
        conductivity_m_d=20.0, porosity_frac=POROSITY,
    )  # fmt: skip


def corner() -> FlowField:
    """Potential flow round a corner: streamlines part, then draw together again."""
    grid = grid_from_bounds(west_m=0, north_m=1400, cell_m=10, values=np.zeros((140, 140)))
    x, y = grid.centers()
    return flow_field(
        grid.with_values(-0.5e-5 * (x**2 - y**2)), conductivity_m_d=50.0, porosity_frac=POROSITY
    )


def added_at(
    field: FlowField, start: tuple[float, float], x: Floats, y: Floats,
    settings_: GroundwaterSettings = PURE, *, load: float = 8.0,
    screen: tuple[float, float] = (0, 15), width: float = 0.0,
) -> tuple[Floats, Paths]:  # fmt: skip
    paths = trace_paths(field, x_m=[start[0]], y_m=[start[1]], max_distance_m=1000.0)
    plumes = shape_plumes(paths, load_kg_yr=[load], settings=settings_)
    pairs = pairs_in_reach(paths, plumes.reach_m(paths), x_m=x, y_m=y)
    found = np.zeros(len(x))
    found[pairs.receptor] = nitrate_added_mg_l(
        plumes, pairs, screen_top_m=np.full(len(x), float(screen[0])),
        screen_bottom_m=np.full(len(x), float(screen[1])), capture_width_m=width,
    )  # fmt: skip
    return found, paths


def section(paths: Paths, point: int, half: float, step: float = 0.5) -> tuple[Floats, Floats]:
    """Places along the line across a path at one of its points."""
    east = paths.x_m[point + 1] - paths.x_m[point - 1]
    north = paths.y_m[point + 1] - paths.y_m[point - 1]
    size = np.hypot(east, north)
    offset = np.arange(-half, half + step / 2, step)
    return (
        paths.x_m[point] - offset * north / size,
        paths.y_m[point] + offset * east / size,
    )


class TestMassIsConserved:
    @pytest.mark.parametrize("point", [5, 30, 100])
    @pytest.mark.parametrize("recharge", [0.0, 0.3])
    def test_through_sections_of_a_straight_plume(self, point: int, recharge: float) -> None:
        chosen = GroundwaterSettings(
            thickness_m=15.0, recharge_m_yr=recharge, direction_sd_deg=3.0, source_width_m=20.0,
            source_depth_m=2.0, effluent_mg_l=60.0, porosity_frac=POROSITY,
        )  # fmt: skip
        _, paths = added_at(uniform(), (105.0, 705.0), np.zeros(1), np.zeros(1), chosen)
        x, y = section(paths, point, 400.0)
        added, _ = added_at(uniform(), (105.0, 705.0), x, y, chosen)
        through = added.sum() * 0.5 * 0.08 * 15.0  # mg/L x m x m/d x m = g/d
        assert through == pytest.approx(8000.0 / YEAR_D, rel=1e-3)

    @pytest.mark.parametrize("point", [20, 80, 120, 160])
    def test_through_sections_of_a_curved_plume(self, point: int) -> None:
        start = (200.0, 800.0)
        _, paths = added_at(corner(), start, np.zeros(1), np.zeros(1))
        x, y = section(paths, point, 180.0)
        added, _ = added_at(corner(), start, x, y)
        through = added.sum() * 0.5 * paths.flux_m_d[point] * 15.0
        assert through == pytest.approx(8000.0 / YEAR_D, rel=1e-3)

    def test_through_layers_of_one_section(self) -> None:
        x, y = np.full(20, 405.0), np.full(20, 705.0)
        layers = [
            added_at(uniform(), (105.0, 705.0), x[:1], y[:1], screen=(z, z + 1))[0][0]
            for z in range(15)
        ]
        whole = added_at(uniform(), (105.0, 705.0), x[:1], y[:1])[0][0]
        assert np.mean(layers) == pytest.approx(whole, rel=1e-4)

    def test_a_wide_draw_takes_the_mean_across(self) -> None:
        y = np.arange(700.0, 740.0, 0.25) + 0.125
        points, _ = added_at(uniform(), (105.0, 705.0), np.full(len(y), 305.0), y)
        wide, _ = added_at(
            uniform(), (105.0, 705.0), np.array([305.0]), np.array([720.0]), width=40.0
        )
        assert wide[0] == pytest.approx(points.mean(), rel=1e-4)


class TestAgainstNumericalSolutions:
    def test_random_walk_in_uniform_flow(self) -> None:
        # 200,000 particles from the source, stepped down-gradient, spread across and down, turned
        # back at the water table and at the bottom; concentrations from counts in windows.
        rng = np.random.default_rng(11)
        count, steps, dx = 200_000, 60, 5.0
        y, z = rng.uniform(-10, 10, count), rng.uniform(0, 2, count)
        for _ in range(steps):
            y += rng.normal(0, sqrt(2 * 1.0 * dx), count)
            z = np.abs(z + rng.normal(0, sqrt(2 * 0.1 * dx), count))
            z = np.where(z > 15, 30 - z, z)
        load = 8000.0 / YEAR_D
        for low, top, bottom in [(-5, 0, 3), (20, 0, 3), (-5, 8, 12), (35, 4, 10)]:
            inside = (y > low) & (y < low + 10) & (z > top) & (z < bottom)
            expected = load * inside.mean() / (10 * (bottom - top)) / 0.08
            found, _ = added_at(
                uniform(), (105.0, 705.0), np.array([405.0]), np.array([705.0 + low + 5]),
                screen=(top, bottom), width=10.0,
            )  # fmt: skip
            noise = 4 / sqrt(inside.sum())
            assert found[0] == pytest.approx(expected, rel=noise)

    def test_random_walk_round_a_corner(self) -> None:
        # The walk knows the exact velocity field and nothing of paths, widths or formulas.
        rng = np.random.default_rng(3)
        count, dx = 40_000, 2.0
        start = (200.0, 800.0)
        _, paths = added_at(corner(), start, np.zeros(1), np.zeros(1))
        direction = np.array([200.0, -800.0]) / np.hypot(200.0, 800.0)
        off = rng.uniform(-10, 10, count)
        x, y = start[0] - off * direction[1], start[1] + off * direction[0]
        for _ in range(360):  # 720 m
            speed = np.hypot(x, y)
            ux, uy = x / speed, -y / speed
            side = rng.normal(0, sqrt(2 * 1.0 * dx), count)
            x, y = x + dx * ux - side * uy, y + dx * uy + side * ux
            x, y = np.abs(x), np.abs(y)
        psi = x * y  # the stream function says how far to the side of the path a particle is
        at = int(np.searchsorted(paths.distance_m, 720.0))
        speed = np.hypot(paths.x_m[at], paths.y_m[at])
        offset = (psi - start[0] * start[1]) / speed
        lines = np.array([-25.0, -10.0, 0.0, 10.0, 25.0])
        nx, ny = section(paths, at, 30.0)
        added, _ = added_at(corner(), start, nx, ny)
        for line in lines:
            share = (np.abs(offset - line) < 4).mean() / 8
            expected = 8000.0 / YEAR_D * share / (paths.flux_m_d[at] * 15.0)
            where = np.abs(np.arange(-30, 30.25, 0.5) - line) < 4
            assert added[where].mean() == pytest.approx(expected, rel=0.08)

    def test_finite_differences_with_decay(self) -> None:
        # One-dimensional steady advection, dispersion along and decay, solved on 4,000 cells.
        v, a, decay, dx, n = 0.32, 10.0, 0.0008, 0.5, 4000
        d = v * a
        lower, middle, upper = d / dx**2 + v / (2 * dx), -2 * d / dx**2 - decay, 0.0
        upper = d / dx**2 - v / (2 * dx)
        right = np.zeros(n)
        right[0] = -lower
        from scipy.linalg import solve_banded

        bands = np.vstack([np.full(n, upper), np.full(n, middle), np.full(n, lower)])
        c = solve_banded((1, 1), bands, right)
        x = np.arange(1, n + 1) * dx
        pick = [19, 199, 999]
        found = left_after(x[pick], x[pick] / v, decay_1_d=decay, dispersivity_m=a)
        np.testing.assert_allclose(found, c[pick], rtol=1e-3)


class TestAgainstEnumeration:
    def test_window_mean_is_the_integral(self) -> None:
        def density(x: float, low: float, high: float, sigma: float) -> float:
            return (
                0.5 * (erf((x - low) / sigma / sqrt(2)) - erf((x - high) / sigma / sqrt(2)))
                / (high - low)
            )  # fmt: skip

        for lower, upper, low, high, sigma in [
            (-1, 3, -2, 2, 1.0), (5, 5.1, -2, 2, 3.0), (0, 30, 0, 1, 0.05), (2, 2.5, 0, 1, 2.0),
        ]:  # fmt: skip
            whole = integrate.quad(
                density, lower, upper, args=(low, high, sigma), points=[low, high], limit=200
            )[0]
            found = window_mean(lower, upper, low, high, sigma)
            assert float(found) == pytest.approx(whole / (upper - lower), rel=1e-5)

    def test_layer_mean_against_the_cosine_series(self) -> None:
        # Heat-equation solution between two closed walls, by separation of variables.
        b, low, high, sigma, lower, upper = 12.0, 2.0, 3.5, 4.0, 1.0, 6.0
        k = np.arange(1, 200) * pi / b
        initial = (np.sin(k * high) - np.sin(k * low)) / k / (high - low)
        window = (np.sin(k * upper) - np.sin(k * lower)) / k / (upper - lower)
        series = 1 / b + 2 / b * (initial * window * np.exp(-0.5 * (k * sigma) ** 2)).sum()
        found = layer_mean(lower, upper, low, high, sigma, thickness=b)
        assert float(found) == pytest.approx(series, rel=1e-6)
        mixed = layer_mean(lower, upper, low, high, 40.0, thickness=b)
        assert float(mixed) == pytest.approx(1 / b)

    def test_superposed_plumes_are_the_sum_of_plumes_alone(self) -> None:
        rng = np.random.default_rng(0)
        sx, sy = rng.uniform(100, 600, 12), rng.uniform(500, 900, 12)
        wx, wy = rng.uniform(300, 1400, 20), rng.uniform(500, 900, 20)
        loads = rng.uniform(3, 15, 12)
        paths = trace_paths(uniform(), x_m=sx, y_m=sy, max_distance_m=1000.0)
        plumes = shape_plumes(paths, load_kg_yr=loads, settings=PURE)
        pairs = pairs_in_reach(paths, plumes.reach_m(paths), x_m=wx, y_m=wy)
        each = nitrate_added_mg_l(
            plumes, pairs, screen_top_m=np.zeros(20), screen_bottom_m=np.full(20, 9.0)
        )
        together = np.bincount(pairs.receptor, weights=each, minlength=20)
        alone = sum(
            added_at(uniform(), (x, y), wx, wy, load=load, screen=(0, 9))[0]
            for x, y, load in zip(sx, sy, loads, strict=True)
        )
        np.testing.assert_allclose(together, alone, rtol=1e-9, atol=1e-12)


class TestProperties:
    @given(st.floats(1, 30), st.floats(30, 900), st.floats(-60, 60))
    @settings(max_examples=40, deadline=None)
    def test_never_stronger_than_the_effluent_and_linear_until_then(
        self, load: float, distance: float, offset: float
    ) -> None:
        x, y = np.array([105.0 + distance]), np.array([705.0 + offset])
        weak, _ = added_at(uniform(), (105.0, 705.0), x, y, load=load, screen=(0, 1))
        assert 0 <= weak[0] <= PURE.effluent_mg_l * (1 + 1e-9)
        more, _ = added_at(uniform(), (105.0, 705.0), x, y, load=load * 1.5, screen=(0, 1))
        assert more[0] >= weak[0] * (1 - 1e-9)

    def test_weaker_farther_to_the_side_and_farther_down(self) -> None:
        y = 705.0 + np.arange(0.0, 60.0, 5.0)
        side, _ = added_at(uniform(), (105.0, 705.0), np.full(12, 405.0), y)
        assert (np.diff(side) < 0).all()
        x = 105.0 + np.arange(30.0, 900.0, 30.0)
        along, _ = added_at(uniform(), (105.0, 705.0), x, np.full(29, 705.0))
        assert (np.diff(along) < 0).all()
        deep = [
            added_at(uniform(), (105.0, 705.0), x[:1], y[:1], screen=(z, z + 2))[0][0]
            for z in range(0, 12, 2)
        ]
        assert (np.diff(deep) < 0).all()

    def test_recharge_buries_the_plume(self) -> None:
        buried = GroundwaterSettings(
            thickness_m=15.0, recharge_m_yr=0.5, direction_sd_deg=0.0, source_width_m=20.0,
            source_depth_m=2.0, effluent_mg_l=60.0, porosity_frac=POROSITY,
        )  # fmt: skip
        place = np.array([905.0]), np.array([705.0])
        for screen, comparison in (((0, 1), np.less), ((6, 9), np.greater)):
            with_rain, _ = added_at(uniform(), (105.0, 705.0), *place, buried, screen=screen)
            without, _ = added_at(uniform(), (105.0, 705.0), *place, screen=screen)
            assert comparison(with_rain[0], without[0])

    def test_unknown_load_or_still_water_reaches_nobody(self) -> None:
        place = np.array([205.0]), np.array([705.0])
        unknown, _ = added_at(uniform(), (105.0, 705.0), *place, load=float("nan"))
        assert np.nan_to_num(unknown[0]) == 0
        still, _ = added_at(uniform(0.0), (105.0, 705.0), *place)
        assert still[0] == 0

    @given(st.floats(1, 1000), st.floats(0.02, 2), st.floats(1, 20_000), st.floats(0.5, 50))
    @settings(max_examples=60, deadline=None)
    def test_arrival_rises_with_age_and_stays_within_bounds(
        self, x: float, v: float, age: float, a: float
    ) -> None:
        now = float(arrived_frac(x, x / v, age, dispersivity_m=a))
        later = float(arrived_frac(x, x / v, age * 1.5, dispersivity_m=a))
        assert 0 <= now <= later + 1e-12 <= 1 + 1e-9
        assert float(arrived_frac(x, x / v, np.nan, dispersivity_m=a)) == 1
        assert float(arrived_frac(x, x / v, 1e9, dispersivity_m=a)) == pytest.approx(1, abs=1e-9)
