from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from riskmap.spatial.edges import polygon_edges
from riskmap.spatial.overlaps import area_fractions, covered_fractions

MODEST = settings(
    max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


class TestByEye:
    def test_two_lots_on_two_soils(self):
        # Lot 0 lies half on soil 0, half on soil 1; lot 1 wholly on soil 1.
        lots = gpd.GeoSeries([shapely.box(0, 0, 2, 2), shapely.box(3, 0, 4, 1)])
        soils = gpd.GeoSeries([shapely.box(-5, -5, 1, 5), shapely.box(1, -5, 9, 5)])
        pairs = area_fractions(lots, soils)
        assert pairs["i"].tolist() == [0, 0, 1]
        assert pairs["j"].tolist() == [0, 1, 1]
        assert pairs["area_m2"].tolist() == [2.0, 2.0, 1.0]
        assert pairs["frac"].tolist() == [0.5, 0.5, 1.0]

    def test_hole_counts_as_outside(self):
        lake_hole = shapely.box(0, 0, 10, 10).difference(shapely.box(4, 4, 6, 6))
        pairs = area_fractions(gpd.GeoSeries([lake_hole]), gpd.GeoSeries([shapely.box(5, 0, 9, 9)]))
        assert pairs["area_m2"].tolist() == [4 * 9 - 1 * 2]

    def test_parts_count_together(self):
        two = shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(5, 5, 6, 7)])
        cover = gpd.GeoSeries([shapely.box(0, 0, 9, 6)])
        assert area_fractions(gpd.GeoSeries([two]), cover)["area_m2"].tolist() == [2.0]

    def test_touching_is_not_overlap(self):
        lots = gpd.GeoSeries([shapely.box(0, 0, 1, 1)])
        assert area_fractions(lots, gpd.GeoSeries([shapely.box(1, 0, 2, 1)])).empty

    def test_ring_direction_does_not_matter(self):
        clockwise = shapely.Polygon([(0, 0), (0, 2), (2, 2), (2, 0)])
        lots = gpd.GeoSeries([clockwise])
        assert area_fractions(lots, gpd.GeoSeries([shapely.box(1, 1, 3, 3)]))["frac"][0] == 0.25

    def test_empty_and_missing_shapes_have_no_pairs(self):
        lots = gpd.GeoSeries([None, shapely.Polygon(), shapely.box(0, 0, 1, 1)])
        pairs = area_fractions(lots, gpd.GeoSeries([shapely.box(0, 0, 1, 1), None]))
        assert pairs[["i", "j"]].to_numpy().tolist() == [[2, 0]]

    def test_no_coverage_at_all(self):
        assert area_fractions(gpd.GeoSeries([shapely.box(0, 0, 1, 1)]), gpd.GeoSeries([])).empty

    def test_overlapping_zones_are_not_counted_twice(self):
        zones = [shapely.box(0, 0, 2, 1), shapely.box(1, 0, 3, 1), shapely.box(20, 0, 21, 1)]
        lots = gpd.GeoSeries([shapely.box(0, 0, 4, 1), shapely.box(20, 0, 22, 1)])
        assert covered_fractions(lots, gpd.GeoSeries(zones)).tolist() == [0.75, 0.5]


class TestAgainstOtherSoftware:
    """Against GEOS through shapely and geopandas, in coordinates of a real county."""

    @MODEST
    @given(
        seed=st.integers(0, 10**6),
        corners=st.tuples(st.integers(3, 40), st.integers(3, 120)),
        offset=st.tuples(st.floats(-90, 90), st.floats(-90, 90)),
    )
    def test_star_on_star(self, star, seed, corners, offset):
        lot = star(seed, corners[0], 500_000, 4_100_000, 60)
        soil = star(seed + 1, corners[1], 500_000 + offset[0], 4_100_000 + offset[1], 100)
        hole = star(seed + 2, 7, 500_000, 4_100_000, 15)
        lot = lot.difference(hole) if lot.contains(hole) else lot
        expected = shapely.area(shapely.intersection(lot, soil)) / lot.area
        pairs = area_fractions(gpd.GeoSeries([lot]), gpd.GeoSeries([soil]))
        assert pairs["frac"].sum() == pytest.approx(expected, abs=1e-9)

    def test_overlay_of_many(self, star):
        rng = np.random.default_rng(7)
        xy = rng.uniform(0, 600, (150, 2))
        lots = gpd.GeoDataFrame(
            {"lot": range(150)}, geometry=[star(n, 9, *xy[n], 40) for n in range(150)]
        )
        cells = shapely.voronoi_polygons(shapely.MultiPoint(rng.uniform(-50, 650, (60, 2))))
        soils = gpd.GeoDataFrame({"soil": range(60)}, geometry=shapely.get_parts(cells))
        overlay = gpd.overlay(lots, soils, how="intersection", keep_geom_type=True)
        expected = overlay.area.groupby([overlay["lot"], overlay["soil"]]).sum()
        pairs = area_fractions(lots.geometry, soils.geometry).set_index(["i", "j"])["area_m2"]
        joined = np.array([expected.reindex(pairs.index, fill_value=0), pairs])
        assert np.abs(joined[0] - joined[1]).max() < 1e-9 * lots.area.min()
        assert expected.sum() == pytest.approx(pairs.sum(), rel=1e-12)

    @MODEST
    @given(st.lists(st.tuples(*[st.integers(0, 6)] * 4), min_size=2, max_size=6))
    def test_shared_sides_and_corners(self, corners):
        # Blocks on whole meters share sides, corners and whole edges: all areas are exact.
        boxes = [shapely.box(x, y, x + w + 1, y + h + 1) for x, y, w, h in corners]
        shapes = [*boxes, boxes[0].union(boxes[1]), boxes[0].difference(boxes[1])]
        expected = shapely.area(shapely.intersection(np.array(shapes)[:, None], np.array(boxes)))
        pairs = area_fractions(gpd.GeoSeries(shapes), gpd.GeoSeries(boxes))
        found = np.zeros(expected.shape)
        found[pairs["i"], pairs["j"]] = pairs["area_m2"]
        assert found == pytest.approx(expected, abs=1e-12)

    def test_union_of_overlapping_zones(self, star):
        zones = [star(n, 20, 30.0 * n, 0, 60) for n in range(6)]
        lots = [star(100 + n, 12, 25.0 * n, 10, 50) for n in range(6)]
        expected = [lot.intersection(shapely.union_all(zones)).area / lot.area for lot in lots]
        assert covered_fractions(gpd.GeoSeries(lots), gpd.GeoSeries(zones)) == pytest.approx(
            expected, abs=1e-9
        )


class TestProperties:
    @MODEST
    @given(seed=st.integers(0, 10**6), cuts=st.integers(2, 25))
    def test_shares_of_a_full_coverage_add_up_to_one(self, star, seed, cuts):
        rng = np.random.default_rng(seed)
        cells = shapely.voronoi_polygons(
            shapely.MultiPoint(rng.uniform(-50, 50, (cuts, 2))),
            extend_to=shapely.box(-99, -99, 99, 99),
        )
        lot = star(seed, 15, 0, 0, 60)
        pairs = area_fractions(gpd.GeoSeries([lot]), gpd.GeoSeries(shapely.get_parts(cells)))
        assert pairs["frac"].sum() == pytest.approx(1.0, abs=1e-12)

    def test_a_lot_gets_the_same_shares_in_any_company(self, star):
        lots = gpd.GeoSeries([star(n, 9, 20.0 * n, 0, 30) for n in range(12)])
        soils = gpd.GeoSeries([star(50 + n, 90, 40.0 * n, 0, 60) for n in range(8)])
        together = area_fractions(lots, soils)
        for n in range(12):
            alone = area_fractions(lots.iloc[n : n + 1], soils)
            here = together[together["i"] == n]
            assert alone["j"].tolist() == here["j"].tolist()
            assert alone["frac"].tolist() == here["frac"].tolist()

    def test_edges_integrate_to_the_area(self, star):
        shapes = np.array([star(n, 5 + n, 0, 0, 10) for n in range(20)])
        edges = polygon_edges(shapes)
        strips = edges.sign * (edges.x2_m - edges.x1_m) * (edges.y1_m + edges.y2_m) / 2
        totals = np.add.reduceat(strips, edges.start[:-1])
        assert totals == pytest.approx(shapely.area(shapes), rel=1e-12)


class TestRealSurvey:
    """A real county's soil polygons (open data; not part of the project), one of them invalid."""

    def test_shares_equal_those_of_geos(self, shared_data):
        path = shared_data / "soil_survey" / "ar017_county" / "spatial" / "soilmu_a_ar017.shp"
        soils = gpd.read_file(path).to_crs(32615)
        rng = np.random.default_rng(0)
        west, south, east, north = soils.total_bounds
        middles = shapely.points(rng.uniform(west, east, 3000), rng.uniform(south, north, 3000))
        lots = shapely.buffer(middles, rng.uniform(10, 200, 3000), quad_segs=3)
        sound = shapely.make_valid(soils.geometry.to_numpy())
        i, j = shapely.STRtree(sound).query(lots, predicate="intersects")
        expected = np.zeros((3000, len(sound)))
        expected[i, j] = shapely.area(shapely.intersection(lots[i], sound[j])) / shapely.area(
            lots[i]
        )
        pairs = area_fractions(gpd.GeoSeries(lots), soils.geometry)
        found = np.zeros((3000, len(sound)))
        found[pairs["i"], pairs["j"]] = pairs["frac"]
        assert (found > 0).sum() > 3000
        assert np.abs(found - expected).max() < 1e-9
