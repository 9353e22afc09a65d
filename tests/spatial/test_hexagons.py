"""Hexagons over places, and shapes written into cells."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from riskmap.contract.grid import grid_from_bounds
from riskmap.spatial.cells import written_in
from riskmap.spatial.hexagons import corners_of, hexagon_of, middles_of


class TestAgainstOtherSoftware:
    @settings(max_examples=30)
    @given(st.integers(0, 2**31), st.sampled_from([250.0, 1000.0, 4000.0]))
    def test_a_point_belongs_to_its_nearest_middle(self, seed: int, across_m: float) -> None:
        points = np.random.default_rng(seed).uniform(-9000, 9000, (200, 2))
        cells = np.stack(np.mgrid[-120:121:1, -120:121:1], axis=-1).reshape(-1, 2)
        reach = 2 * 9000 / across_m + 3
        east, north = cells.T
        cells = cells[(abs(east + north / 2) < reach) & (abs(north) < reach)]
        _, place = cKDTree(middles_of(cells, across_m=across_m)).query(points)
        got = hexagon_of(points[:, 0], points[:, 1], across_m=across_m)
        assert (got == cells[place]).all()

    def test_cells_of_a_shape_are_those_whose_centers_it_holds(self) -> None:
        grid = grid_from_bounds(west_m=-3, north_m=97, cell_m=7, values=np.zeros((13, 15)))
        shape = shapely.Point(50, 50).buffer(31.0)
        found = written_in([(None, 9), (shape, 4)], grid, dtype="int32")
        inside = shapely.contains_xy(shape, *grid.centers())
        assert (found == np.where(inside, 4, 0)).all()


class TestByHand:
    def test_corners_lie_half_a_width_over_cos_30_away_and_meet_the_neighbors(self) -> None:
        corners = corners_of([[0, 0], [1, 0]], across_m=100.0)
        assert np.allclose(np.hypot(*corners[0].T), 100 / np.sqrt(3))
        assert corners[0, :, 0].max() == pytest.approx(50)
        assert np.allclose(corners[0, [0, 1]], corners[1, [4, 3]])

    def test_points_without_a_place_are_refused(self) -> None:
        with pytest.raises(ValueError, match="finite"):
            hexagon_of([np.nan], [1.0], across_m=100.0)
