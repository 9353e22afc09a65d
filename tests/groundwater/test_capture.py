from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.grid import grid_from_bounds
from riskmap.groundwater.capture import (
    bounding_curve,
    fixed_radius_m,
    stagnation_m,
    travel_time_on_axis_d,
    upgradient_length_m,
)
from riskmap.groundwater.gradient import FlowField, flow_field
from riskmap.groundwater.paths import trace_paths
from riskmap.groundwater.setbacks import setback_violations
from riskmap.groundwater.zones import capture_zones, systems_inside


def uniform(gradient: float = 0.004) -> FlowField:
    grid = grid_from_bounds(west_m=0, north_m=3000, cell_m=20, values=np.zeros((150, 150)))
    return flow_field(
        grid.with_values(50 - gradient * grid.centers()[0]),
        conductivity_m_d=20.0, porosity_frac=0.25,
    )  # fmt: skip


def corner() -> FlowField:
    grid = grid_from_bounds(west_m=0, north_m=1400, cell_m=10, values=np.zeros((140, 140)))
    x, y = grid.centers()
    return flow_field(
        grid.with_values(-0.5e-5 * (x**2 - y**2)), conductivity_m_d=50.0, porosity_frac=0.25
    )


class TestAgainstEnumeration:
    def test_axis_time_by_stepping(self) -> None:
        # On the axis the speed is q/n (1 + X0/x): add dx / speed from the well outwards.
        flux, porosity, x0, length = 0.05, 0.2, 30.0, 200.0
        x = (np.arange(400_000) + 0.5) * length / 400_000
        stepped = (length / 400_000 / (flux / porosity * (1 + x0 / x))).sum()
        found = travel_time_on_axis_d(length, flux_m_d=flux, porosity_frac=porosity, stagnation=x0)
        assert float(found) == pytest.approx(stepped, rel=1e-6)
        back = upgradient_length_m(stepped, flux_m_d=flux, porosity_frac=porosity, stagnation=x0)
        assert float(back) == pytest.approx(length, rel=1e-6)

    def test_bounding_curve_divides_what_the_well_takes_from_what_passes(self) -> None:
        # Uniform flow toward -x and a sink at the origin have the stream function y - X0 angle,
        # the angle seen from the well against the flow; it is 0 on the dividing line.
        along, half = bounding_curve(500.0, 25.0, points=40)
        angle = np.pi - np.arctan2(half, along)
        np.testing.assert_allclose(half - 25.0 * angle, 0.0, atol=1e-8)
        assert along[0, 0] == -25.0
        assert along[0, -1] == pytest.approx(500.0, rel=1e-9)
        assert half.max() < np.pi * 25.0

    def test_zone_tells_captured_particles_from_others(self) -> None:
        # Particles are walked with the exact velocity of uniform flow and a sink; those that come
        # to the well in time must be those inside the ring.
        pumped, thickness, flux, porosity, days = 60.0, 20.0, 0.08, 0.25, 1200.0
        zones = capture_zones(
            [2000.0], [1500.0], pumping_m3_d=[pumped], field=uniform(), thickness_m=thickness,
            time_d=days, curved=False,
        )  # fmt: skip
        rng = np.random.default_rng(1)
        x0, y0 = rng.uniform(1500, 2050, 400), rng.uniform(1450, 1550, 400)
        x, y = x0 - 2000.0, y0 - 1500.0
        taken = np.zeros(400, bool)
        strength = pumped / (2 * np.pi * thickness)
        dt = 0.5
        for _ in range(int(days / dt)):
            r2 = np.maximum(x**2 + y**2, 1e-6)
            taken |= r2 < 4.0
            vx, vy = (flux - strength * x / r2) / porosity, -strength * y / r2 / porosity
            x, y = np.where(taken, x, x + dt * vx), np.where(taken, y, y + dt * vy)
        ring = shapely.Polygon(zones.rings[0])
        inside = shapely.contains_xy(ring, x0, y0)
        edge = shapely.distance(shapely.points(x0, y0), ring.exterior)
        upstream_end = x0 < 1500.0 + shapely.get_coordinates(ring)[:, 0].min() - 1500.0 + 40
        clear = (edge > 4.0) & ~upstream_end
        assert clear.sum() > 250
        assert inside[clear].sum() > 20
        np.testing.assert_array_equal(inside[clear], taken[clear])

    def test_setbacks_over_all_pairs(self) -> None:
        rng = np.random.default_rng(4)
        sx, sy = rng.uniform(0, 400, (2, 70))
        wx, wy = rng.uniform(0, 400, (2, 30))
        wx[0], wy[0] = sx[0], sy[0]
        sx[5] = np.nan
        found = setback_violations(sx, sy, well_x_m=wx, well_y_m=wy, required_m=30.48)
        distance = np.hypot(sx[:, None] - wx, sy[:, None] - wy)
        expected = sorted(zip(*np.nonzero(distance < 30.48), strict=True))
        assert list(zip(found["system"], found["well"], strict=True)) == expected
        np.testing.assert_allclose(found["distance_m"] + found["short_by_m"], 30.48)
        assert (found["distance_m"] == 0).any()

    def test_a_distance_equal_to_the_rule_is_no_violation(self) -> None:
        found = setback_violations([0.0], [0.0], well_x_m=[30.0], well_y_m=[0.0], required_m=30.0)
        assert found.empty


class TestZones:
    def test_curved_zone_follows_the_path_and_holds_it(self) -> None:
        zones = capture_zones(
            [600.0], [300.0], pumping_m3_d=[40.0], field=corner(), thickness_m=20.0, time_d=1500.0
        )
        assert zones.method.tolist() == ["curved path"]
        ring = shapely.Polygon(zones.rings[0])
        assert ring.is_valid
        path = trace_paths(corner(), x_m=[600.0], y_m=[300.0], max_distance_m=900.0, upstream=True)
        assert shapely.contains_xy(ring, path.x_m[1:], path.y_m[1:]).all()
        straight = capture_zones(
            [600.0], [300.0], pumping_m3_d=[40.0], field=corner(), thickness_m=20.0,
            time_d=1500.0, curved=False,
        )  # fmt: skip
        assert straight.method.tolist() == ["uniform flow"]
        far = shapely.Polygon(straight.rings[0]).symmetric_difference(ring).area
        assert far > 0.05 * ring.area

    def test_curved_and_straight_agree_where_the_flow_is_straight(self) -> None:
        both = [
            capture_zones(
                [2000.0], [1500.0], pumping_m3_d=[60.0], field=uniform(), thickness_m=20.0,
                time_d=1200.0, curved=curved,
            ).rings[0]
            for curved in (True, False)
        ]  # fmt: skip
        one, two = (shapely.Polygon(ring) for ring in both)
        assert one.symmetric_difference(two).area < 1e-3 * two.area

    def test_still_water_falls_back_to_the_circle(self) -> None:
        flat = uniform(0.0)
        zones = capture_zones(
            [1000.0, np.nan], [1000.0, 0.0], pumping_m3_d=[50.0, 50.0], field=flat,
            thickness_m=20.0, time_d=1000.0,
        )  # fmt: skip
        assert zones.method.tolist() == ["fixed radius", "unknown"]
        assert len(zones.rings[1]) == 0
        radius = fixed_radius_m(50.0, time_d=1000.0, porosity_frac=0.25, thickness_m=20.0)
        away = np.hypot(zones.rings[0][:, 0] - 1000, zones.rings[0][:, 1] - 1000)
        np.testing.assert_allclose(away, radius)

    def test_area_holds_about_the_water_pumped(self) -> None:
        # All water in the zone and no other reaches the well in time, so its volume is Q t; the
        # far end is drawn straight across, which adds a little.
        zones = capture_zones(
            [2500.0], [1500.0], pumping_m3_d=[60.0], field=uniform(), thickness_m=20.0,
            time_d=3000.0, curved=False,
        )  # fmt: skip
        volume = shapely.Polygon(zones.rings[0]).area * 20.0 * 0.25
        assert volume == pytest.approx(60.0 * 3000.0, rel=0.05)

    def test_systems_inside(self) -> None:
        zones = capture_zones(
            [2000.0, np.nan], [1500.0, 1.0], pumping_m3_d=[60.0, 1.0], field=uniform(),
            thickness_m=20.0, time_d=1200.0,
        )  # fmt: skip
        wells, systems = systems_inside(
            zones, [1900.0, 2500.0, np.nan, 1800.0], [1500.0, 1500.0, 0.0, 1510.0]
        )
        assert wells.tolist() == [0, 0]
        assert systems.tolist() == [0, 3]

    @given(st.floats(1, 500), st.floats(0.005, 0.5), st.floats(30, 5000))
    @settings(max_examples=40, deadline=None)
    def test_more_pumping_or_time_never_shrinks_the_zone(
        self, pumped: float, flux: float, days: float
    ) -> None:
        def length(q: float, t: float) -> float:
            x0 = stagnation_m(q, flux_m_d=flux, thickness_m=20.0)
            return float(upgradient_length_m(t, flux_m_d=flux, porosity_frac=0.2, stagnation=x0))

        assert length(pumped * 1.2, days) >= length(pumped, days)
        assert length(pumped, days * 1.2) >= length(pumped, days)
        x0 = stagnation_m(pumped, flux_m_d=flux, thickness_m=20.0)
        back = travel_time_on_axis_d(
            length(pumped, days), flux_m_d=flux, porosity_frac=0.2, stagnation=x0
        )
        assert float(back) == pytest.approx(days, rel=1e-5)
