from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.groundwater.gradient import DIVIDE, FLAT, FLOWING, SINK, UNKNOWN, flow_field


def surface(head: object, cell_m: float = 20.0) -> Grid:
    return grid_from_bounds(west_m=1000, north_m=5000, cell_m=cell_m, values=head)


def plane(east: float, north: float, rows: int = 6, columns: int = 7) -> Grid:
    grid = surface(np.zeros((rows, columns)))
    x, y = grid.centers()
    return grid.with_values(50 + east * x + north * y)


class TestAgainstEnumeration:
    def test_three_by_three_by_eye(self) -> None:
        # Head falls 1 m per 20 m cell to the east: gradient .05, water goes east (90 degrees).
        field = flow_field(
            surface([[3, 2, 1], [3, 2, 1], [3, 2, 1]]), conductivity_m_d=8.0, porosity_frac=0.2
        )
        np.testing.assert_allclose(field.gradient_frac, 0.05)
        np.testing.assert_allclose(field.direction_deg, 90.0)
        np.testing.assert_allclose(field.flux_m_d, 0.4)
        np.testing.assert_allclose(field.velocity_m_d, 2.0)  # 8 x .05 / .2 (Darcy by hand)

    @given(st.floats(-0.05, 0.05), st.floats(-0.05, 0.05))
    @settings(max_examples=40, deadline=None)
    def test_plane_in_any_direction_also_at_the_edge(self, east: float, north: float) -> None:
        field = flow_field(plane(east, north), conductivity_m_d=1.0, porosity_frac=0.3)
        np.testing.assert_allclose(field.gradient_frac, np.hypot(east, north), atol=1e-11)
        if np.hypot(east, north) > 1e-4:
            toward = np.degrees(np.arctan2(-east, -north)) % 360
            gap = np.abs((field.direction_deg - toward + 180) % 360 - 180)
            assert gap.max() < 1e-4

    def test_quadratic_surface_is_exact_at_inner_centers(self) -> None:
        grid = surface(np.zeros((9, 9)))
        x, y = grid.centers()
        head = 1e-5 * (x - 1000) ** 2 - 2e-5 * (y - 5000) ** 2
        field = flow_field(grid.with_values(head), conductivity_m_d=1.0, porosity_frac=0.3)
        inner = np.s_[1:-1, 1:-1]
        np.testing.assert_allclose(field.east_frac[inner], -2e-5 * (x - 1000)[inner], atol=1e-12)
        np.testing.assert_allclose(field.north_frac[inner], 4e-5 * (y - 5000)[inner], atol=1e-12)


class TestNoNonsense:
    def test_flat_has_no_direction(self) -> None:
        field = flow_field(surface(np.full((4, 4), 7.0)), conductivity_m_d=1.0, porosity_frac=0.3)
        assert (field.flag == FLAT).all()
        assert np.isnan(field.direction_deg).all()
        assert (field.gradient_frac == 0).all()

    def test_top_and_pit_have_no_direction(self) -> None:
        head = np.array([[1.0, 1, 1, 1, 1], [1, 2, 1, 0, 1], [1, 1, 1, 1, 1]])
        field = flow_field(surface(head), conductivity_m_d=1.0, porosity_frac=0.3)
        assert field.flag[1, 1] == DIVIDE
        assert field.flag[1, 3] == SINK
        assert np.isnan(field.direction_deg[1, [1, 3]]).all()
        assert field.flag[1, 2] == FLOWING
        assert field.direction_deg[1, 2] == pytest.approx(90.0)

    def test_level_ridge_is_a_divide(self) -> None:
        head = -np.abs(np.arange(7) - 3.0)[None, :] * np.ones((5, 1))
        field = flow_field(surface(head), conductivity_m_d=1.0, porosity_frac=0.3)
        assert (field.flag[:, 3] == DIVIDE).all()
        assert (field.direction_deg[:, 1] == 270).all()
        assert (field.direction_deg[:, 5] == 90).all()

    def test_unknown_head_stays_unknown_and_does_not_spread(self) -> None:
        grid = plane(-0.01, 0.0)
        values = grid.values.copy()
        values[2, 3] = np.nan
        field = flow_field(grid.with_values(values), conductivity_m_d=1.0, porosity_frac=0.3)
        assert field.flag[2, 3] == UNKNOWN
        assert np.isnan(field.gradient_frac).sum() == 1
        np.testing.assert_allclose(field.gradient_frac[2, 2], 0.01)

    def test_impossible_ground_is_refused(self) -> None:
        with pytest.raises(ValueError, match="positive"):
            flow_field(plane(0.1, 0), conductivity_m_d=0.0, porosity_frac=0.3)
        with pytest.raises(ValueError, match="porosity"):
            flow_field(plane(0.1, 0), conductivity_m_d=1.0, porosity_frac=1.5)
        with pytest.raises(ValueError, match="square"):
            flow_field(
                Grid(np.zeros((4, 4)), 0, 80, 10, 20), conductivity_m_d=1.0, porosity_frac=0.3
            )


class TestGrid:
    def test_bilinear_is_exact_on_a_plane_and_nan_outside(self) -> None:
        grid = plane(0.02, -0.03)
        rng = np.random.default_rng(0)
        x, y = rng.uniform(1010, 1130, 50), rng.uniform(4890, 4990, 50)
        np.testing.assert_allclose(grid.bilinear(x, y), 50 + 0.02 * x - 0.03 * y, atol=1e-9)
        assert np.isnan(grid.bilinear([0.0, np.nan], [0.0, 4950.0])).all()
        assert np.isnan(grid.sample([999.0], [4950.0])[0])

    def test_cell_of(self) -> None:
        row, column = plane(0, 0).cell_of([1000.0, 1139.9, 1140.0], [5000.0, 4880.1, 4990.0])
        assert row.tolist() == [0, 5, -1]
        assert column.tolist() == [0, 6, -1]
