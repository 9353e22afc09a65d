from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import CRS

from riskmap.contract.errors import CrsError
from riskmap.contract.grid import Grid
from riskmap.inventory.terrain import (
    MIN_TAN_SLOPE,
    derive_terrain,
    describe_terrain,
    horn_gradient,
    wetness_index,
)


class TestByEye:
    def test_plane_falling_to_the_south_east(self, grid, areas, same_index):
        # Falls 3 m per 100 m toward east and 4 toward south: 5 %, azimuth 90 + atan(4/3).
        y, x = np.mgrid[0:10, 0:10] * 10.0
        terrain = derive_terrain(grid(100 - 0.03 * x - 0.04 * y))
        lots = areas([shapely.box(20, 20, 45, 45), shapely.box(0, 0, 33, 12)])
        result = describe_terrain(lots, terrain)
        same_index(result, lots)
        assert result["slope_pct"].to_numpy() == pytest.approx(5.0, abs=1e-4)
        assert result["downslope_deg"].to_numpy() == pytest.approx(90 + 53.130, abs=1e-2)
        assert result["slope_pct_evidence"].tolist() == ["mapped", "mapped"]

    def test_elevation_is_the_exact_mean(self, grid, areas):
        # A plane of cell centers: the mean over a whole-cell block is that at the block's middle.
        terrain = derive_terrain(grid([[1, 2, 3], [4, 5, 6], [7, 8, 9]]), wetness=False)
        result = describe_terrain(areas([shapely.box(0, 0, 20, 20)]), terrain)
        assert result["elevation_m"].tolist() == [6.0]
        assert result["wetness"].isna().all()
        assert result["wetness_evidence"].tolist() == ["unknown"]

    def test_too_little_known_ground_is_unknown(self, grid, areas):
        z = np.zeros((5, 5))
        z[:, :3] = np.nan
        terrain = derive_terrain(grid(z), wetness=False)
        result = describe_terrain(
            areas([shapely.box(0, 0, 40, 50), shapely.box(10, 0, 50, 50)]), terrain
        )
        assert result["elevation_m"].isna().tolist() == [True, False]
        assert result["elevation_m_evidence"].tolist() == ["unknown", "mapped"]

    def test_without_terrain_all_is_unknown(self, areas, same_index):
        lots = areas([shapely.box(0, 0, 1, 1)])
        result = describe_terrain(lots, None)
        same_index(result, lots)
        assert result["slope_pct_evidence"].tolist() == ["unknown"]
        assert result["slope_pct"].isna().all()

    def test_level_ground_falls_nowhere(self, grid, areas):
        terrain = derive_terrain(grid(np.zeros((4, 4))), wetness=False)
        result = describe_terrain(areas([shapely.box(5, 5, 30, 30)]), terrain)
        assert result["slope_pct"].tolist() == [0.0]
        assert result["downslope_deg"].isna().all()


class TestSlope:
    def test_unknown_neighbors_make_a_cell_unknown(self, grid):
        z = np.zeros((5, 5))
        z[2, 2] = np.nan
        east, _ = horn_gradient(grid(z))
        assert np.isnan(east.values[1:4, 1:4]).all()
        assert not np.isnan(east.values[0]).any()

    def test_degrees_are_refused(self):
        with pytest.raises(CrsError, match="degrees"):
            horn_gradient(Grid(np.zeros((3, 3)), 0, 3, 1, 1, CRS.from_epsg(4269)))

    def test_oblong_cells(self):
        y, x = np.mgrid[0:6, 0:6]
        z = 0.2 * (x * 3.0) + 0.1 * (-y * 7.0)
        raster = Grid(z, 0, 42, 3, 7, CRS.from_epsg(32616))
        east, north = horn_gradient(raster)
        assert east.values == pytest.approx(0.2, abs=1e-6)
        assert north.values == pytest.approx(0.1, abs=1e-6)

    def test_against_a_direct_formula(self, grid):
        z = np.random.default_rng(1).normal(size=(40, 30))
        east, north = horn_gradient(grid(z))
        p = z[:-2], z[1:-1], z[2:]
        weights = np.array([1, 2, 1])
        column = sum(w * row for w, row in zip(weights, p, strict=True))
        assert east.values[1:-1, 1:-1] == pytest.approx(
            (column[:, 2:] - column[:, :-2]) / 80, abs=1e-6
        )
        along = z[:, :-2] + 2 * z[:, 1:-1] + z[:, 2:]
        assert north.values[1:-1, 1:-1] == pytest.approx((along[:-2] - along[2:]) / 80, abs=1e-6)


class TestWetness:
    def test_valley_floor_gathers_both_sides(self, grid):
        # A V-shaped valley that falls to the south: the wettest cells lie on its floor.
        y, x = np.mgrid[0:30, 0:21]
        z = np.abs(x - 10) * 2.0 - y * 0.5
        terrain = derive_terrain(grid(z))
        assert terrain.wetness is not None
        assert (terrain.wetness.values[5:-2].argmax(axis=1) == 10).all()

    def test_upslope_area_against_a_plain_walk(self, grid):
        # A rough cone without pits or flats: walk down from every cell by the steepest way.
        y, x = np.mgrid[0:25, 0:31]
        rng = np.random.default_rng(8)
        z = -3.0 * np.hypot(x - 15, y - 12) + rng.uniform(0, 0.5, x.shape)
        z = z.astype(np.float32)
        visits = np.zeros(z.shape)
        for row, column in np.ndindex(z.shape):
            here: tuple[int, int] | None = (row, column)
            while here is not None:
                visits[here] += 1
                ways = [
                    ((z[here] - z[r, c]) / np.hypot(r - here[0], c - here[1]), (r, c))
                    for r in range(here[0] - 1, here[0] + 2)
                    for c in range(here[1] - 1, here[1] + 2)
                    if (r, c) != here and 0 <= r < 25 and 0 <= c < 31
                ]
                fall, lower = max(ways)
                here = lower if fall > 0 else None
        index = wetness_index(grid(z), np.full(z.shape, 0.1)).values
        inner = (slice(1, -1), slice(1, -1))
        assert np.exp(index[inner]) * 0.1 / 10 == pytest.approx(visits[inner], rel=1e-5)

    def test_flat_cells_use_the_floor(self, grid):
        z = np.zeros((6, 6))
        index = wetness_index(grid(z), np.zeros((6, 6))).values
        assert np.isfinite(index).all()
        assert index.min() == pytest.approx(np.log(10 / MIN_TAN_SLOPE), abs=1e-5)

    def test_unknown_cells_stay_unknown(self, grid):
        z = np.random.default_rng(0).normal(size=(12, 12))
        z[3, 4] = np.nan
        index = wetness_index(grid(z), np.full(z.shape, 0.1)).values
        assert np.isnan(index[3, 4])
        assert np.isfinite(index).sum() == z.size - 1


class TestRealGround:
    """A real mountain basin (open data; not part of the project)."""

    def test_slope_against_the_published_slope_grid(self, shared_data):
        rasterio = pytest.importorskip("rasterio")
        folder = shared_data / "terrain_water" / "steep_basin" / "dem"
        with rasterio.open(folder / "dem_raw.tif") as source:
            z = source.read(1, masked=True).filled(np.nan).astype(float)
            affine, crs = source.transform, CRS.from_user_input(source.crs)
        raster = Grid(z, affine.c, affine.f, affine.a, -affine.e, crs)
        east, north = horn_gradient(raster)
        slope = np.hypot(east.values, north.values)
        with rasterio.open(folder / "basin_slope.tif") as source:
            published = source.read(1, masked=True).filled(np.nan)
            assert source.transform.almost_equals(affine, 1e-3)
        both = np.isfinite(slope) & np.isfinite(published)
        assert both.mean() > 0.3
        # The grid's unit and method are not documented; the order of steepness must agree.
        rank = np.corrcoef(
            np.argsort(np.argsort(slope[both])), np.argsort(np.argsort(published[both]))
        )
        assert rank[0, 1] > 0.97
