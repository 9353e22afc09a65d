from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from exactextract import exact_extract
from exactextract.raster import NumPyRasterSource
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from riskmap.spatial.zonal import raster_means

MODEST = settings(
    max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def by_exactextract(shapes, raster):
    source = NumPyRasterSource(raster.values, *raster.bounds, srs_wkt=raster.crs.to_wkt())
    frame = gpd.GeoDataFrame(geometry=list(shapes), crs=raster.crs)
    return exact_extract(source, frame, ["mean", "count"], output="pandas")


class TestByEye:
    def test_three_by_three(self, grid, same_index):
        # 1 2 3     A lot over the middle cell's right half and the cell beside it:
        # 4 5 6     (0.5 * 5 + 1 * 6) / 1.5 = 8.5 / 1.5
        # 7 8 9     The whole grid: 5.
        raster = grid([[1, 2, 3], [4, 5, 6], [7, 8, 9]])
        lots = gpd.GeoSeries([shapely.box(15, 10, 30, 20), shapely.box(0, 0, 30, 30)])
        result = raster_means(lots, raster)
        same_index(result, lots)
        assert result["mean"].tolist() == pytest.approx([8.5 / 1.5, 5.0], abs=1e-14)
        assert result["covered_frac"].tolist() == [1.0, 1.0]

    def test_unknown_cells_do_not_count(self, grid):
        result = raster_means(gpd.GeoSeries([shapely.box(0, 0, 20, 10)]), grid([[np.nan, 4.0]]))
        assert result["mean"].tolist() == [4.0]
        assert result["covered_frac"].tolist() == [0.5]

    def test_part_outside_the_grid_on_each_side(self, grid):
        raster = grid([[1.0, 2.0], [3.0, 4.0]])
        sides = [(-10, 10, 10, 20), (10, 10, 30, 20), (0, 10, 10, 30), (0, -10, 10, 10)]
        result = raster_means(gpd.GeoSeries([shapely.box(*side) for side in sides]), raster)
        assert result["mean"].tolist() == [1.0, 2.0, 1.0, 3.0]
        assert result["covered_frac"].tolist() == [0.5] * 4

    def test_outside_empty_and_missing_are_unknown(self, grid):
        shapes = gpd.GeoSeries([shapely.box(90, 90, 99, 99), shapely.Polygon(), None])
        result = raster_means(shapes, grid([[1.0]]))
        assert result["mean"].isna().all()

    def test_single_precision_grid(self, grid):
        raster = grid([[1, 2], [3, 4]])
        small = raster.__class__(
            raster.values.astype(np.float32), 0.0, 20.0, 10.0, 10.0, raster.crs
        )
        assert raster_means(gpd.GeoSeries([shapely.box(0, 0, 20, 20)]), small)["mean"][0] == 2.5


class TestAgainstOtherSoftware:
    """Against exactextract, whose cell shares are of single precision: 1e-6 of the value range."""

    @MODEST
    @given(
        seed=st.integers(0, 10**6),
        corners=st.integers(3, 60),
        place=st.tuples(st.floats(-60, 360), st.floats(-60, 260)),
        radius=st.floats(1, 150),
    )
    def test_star(self, grid, star, seed, corners, place, radius):
        values = np.random.default_rng(seed).uniform(0, 1, (20, 30))
        values[5:9, 3:12] = np.nan
        raster = grid(values)
        shape = star(seed, corners, *place, radius)
        expected = by_exactextract([shape], raster)
        found = raster_means(gpd.GeoSeries([shape]), raster)
        known_m2 = found["covered_frac"][0] * shape.area
        assert known_m2 == pytest.approx(expected["count"][0] * 100, abs=1e-4 * max(1, known_m2))
        if expected["count"][0] > 1e-3:
            assert found["mean"][0] == pytest.approx(expected["mean"][0], abs=1e-6)

    def test_holes_parts_and_oblong_cells(self, star):
        from pyproj import CRS

        from riskmap.contract.grid import Grid

        rng = np.random.default_rng(3)
        raster = Grid(
            rng.normal(size=(60, 70)), 500_000.0, 4_000_400.0, 7.3, 8.1, CRS.from_epsg(32616)
        )
        shapes = []
        for n in range(60):
            x, y = 500_000 + rng.uniform(0, 500), 4_000_000 + rng.uniform(0, 400)
            outer = star(n, 25, x, y, 80)
            ring = outer.difference(shapely.Point(x, y).buffer(12))
            shapes.append(ring.union(shapely.box(x + 100, y, x + 130, y + 15)))
        expected = by_exactextract(shapes, raster)
        found = raster_means(gpd.GeoSeries(shapes), raster)
        assert found["mean"].to_numpy() == pytest.approx(expected["mean"].to_numpy(), abs=1e-6)


class TestProperties:
    def test_a_constant_stays_itself(self, grid, star):
        shapes = gpd.GeoSeries([star(n, 9, 50, 50, 40) for n in range(30)])
        result = raster_means(shapes, grid(np.full((10, 10), 3.25)))
        assert result["mean"].to_numpy() == pytest.approx(3.25, rel=1e-12)
        assert result["covered_frac"].to_numpy() == pytest.approx(1.0, rel=1e-12)

    def test_a_lot_gets_the_same_mean_in_any_company(self, grid, star):
        raster = grid(np.random.default_rng(0).normal(size=(30, 30)))
        shapes = gpd.GeoSeries([star(n, 9, 20 + 10.0 * n, 150, 5.0 + n) for n in range(20)])
        together = raster_means(shapes, raster)["mean"]
        alone = [raster_means(shapes.iloc[n : n + 1], raster)["mean"].iloc[0] for n in range(20)]
        assert together.tolist() == alone

    def test_wide_after_tall(self, grid):
        # The scratch space must suit every window, whatever came before it.
        raster = grid(np.arange(100.0).reshape(10, 10))
        shapes = gpd.GeoSeries(
            [shapely.box(1, 1, 9, 99), shapely.box(1, 1, 99, 9), shapely.box(1, 1, 99, 99)]
        )
        expected = by_exactextract(shapes, raster)["mean"]
        assert raster_means(shapes, raster)["mean"].to_numpy() == pytest.approx(expected, abs=1e-5)
