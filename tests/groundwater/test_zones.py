from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.groundwater.gradient import FlowField, flow_field
from riskmap.groundwater.setbacks import virus_aquifer
from riskmap.groundwater.zones import Zones, capture_zones, clean_rings

NAN = float("nan")
YEAR_D = 365.0


def plan(size: int = 80, cell_m: float = 40.0) -> Grid:
    return grid_from_bounds(
        west_m=0, north_m=size * cell_m, cell_m=cell_m, values=np.zeros((size, size))
    )


def flow(head: Grid) -> FlowField:
    return flow_field(head, conductivity_m_d=10.0, porosity_frac=0.2)


def zones_of(field: FlowField, x: list[float], y: list[float], *, years: float = 5.0) -> Zones:
    return capture_zones(
        x, y, pumping_m3_d=1.0, field=field, thickness_m=20.0, time_d=years * YEAR_D,
        widen_deg=5.0,
    )  # fmt: skip


class TestAnalyticLimits:
    def test_a_zone_ends_at_the_divide(self) -> None:
        grid = plan()
        x, y = grid.centers()
        ridge = grid.with_values(50 - 0.01 * np.abs(x - 1600) - 1e-4 * y)
        # 5 years at 0.5 m/d are 900 m; the divide lies 400 m away.
        ring = zones_of(flow(ridge), [2000.0], [1600.0]).rings[0]
        west = ring[:, 0].min()
        assert west == pytest.approx(1600, abs=3 * grid.cell_m)
        assert np.ptp(ring[:, 1]) < 250  # no wandering along the divide
        far = zones_of(flow(ridge), [3000.0], [1600.0]).rings[0]
        assert far[:, 0].min() == pytest.approx(3000 - 5 * YEAR_D * 0.5, abs=40)

    def test_a_well_beyond_the_known_water_gets_the_circle(self) -> None:
        grid = plan()
        head = grid.with_values(50 - 0.01 * grid.centers()[0])
        head.values[:, 60:] = NAN
        found = zones_of(flow(head), [2800.0, 9000.0, NAN], [1600.0, 1600.0, 1600.0])
        assert found.method.tolist() == ["fixed radius", "fixed radius", "unknown"]
        # Volumetric radius: sqrt(Q t / (pi n H)) (35 Ill. Adm. Code 671, App. A)
        radius = np.sqrt(1.0 * 5 * YEAR_D / (np.pi * 0.2 * 20.0))
        assert np.ptp(found.rings[0][:, 0]) / 2 == pytest.approx(radius, rel=0.01)
        assert len(found.rings[2]) == 0


class TestAgainstEnumeration:
    def test_a_crossed_ring_becomes_all_that_it_sweeps(self) -> None:
        turn = np.linspace(0, 1.5 * np.pi, 60)
        center = np.column_stack([40 * np.cos(turn), 40 * np.sin(turn)])
        outward = center / 40
        for half in (10.0, 60.0):  # 60 m to each side of a bend of 40 m: the inner side folds over
            left, right = center + half * outward, center - half * outward
            ring = np.concatenate([left, right[::-1], left[:1]])[None]
            found = shapely.Polygon(clean_rings(ring)[0])
            bars = [
                shapely.LineString([a, b])
                for a, b in zip(left, right, strict=True)
            ]  # fmt: skip
            assert found.is_valid
            assert all(found.buffer(1e-6).covers(bar) for bar in bars)
            assert found.area <= shapely.union_all(bars).convex_hull.area

    @settings(max_examples=25, deadline=None)
    @given(st.integers(0, 10_000))
    def test_rings_on_rough_water_are_simple_and_hold_their_well(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        grid = plan()
        rough = ndimage.gaussian_filter(rng.normal(size=grid.values.shape), 2.5) * 4
        x, y = rng.uniform(400, 2800, (2, 12))
        found = zones_of(flow(grid.with_values(50 + rough)), list(x), list(y))
        for ring, east, north in zip(found.rings, x, y, strict=True):
            shape = shapely.Polygon(ring)
            assert shape.is_valid
            assert shape.distance(shapely.Point(east, north)) < 0.1 * grid.cell_m


class TestVirusAquifer:
    def test_names(self) -> None:
        names = ["Sand", " sand and gravel", "coarse gravel", "karst limestone", None]
        assert virus_aquifer(names).tolist() == ["sand", "gravel", "coarse gravel", None, None]
