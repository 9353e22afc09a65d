from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from riskmap.inventory.water import describe_water
from riskmap.spatial.nearest import nearest_distance_m

LOT = shapely.box(0, 0, 10, 10)


def layer(*shapes: object, **columns: object) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=32616)


class TestByEye:
    def test_everything_around_one_lot(self, areas, grid, same_index):
        # Middle (5, 5); stream along x = 25 -> 20 m; pond from y = 35 -> 30 m; the western 4 m
        # in the 1% annual zone -> 0.4; water table 2 m over half the lot's cells, 4 m elsewhere.
        lots = areas([LOT], "measured")
        result = describe_water(
            lots,
            streams=layer(shapely.LineString([(25, -50), (25, 90)])),
            waterbodies=layer(shapely.box(0, 35, 10, 60)),
            floodplain=layer(
                shapely.box(-9, -9, 4, 99),
                shapely.box(-9, -9, 99, 99),
                zone=["hundred_year", "outside"],
            ),
            water_table=grid([[2.0, 4.0], [2.0, 4.0]], cell_m=5.0),
        )
        same_index(result, lots)
        row = result.iloc[0]
        assert row["stream_distance_m"] == 20.0
        assert row["waterbody_distance_m"] == 30.0
        assert row["flood_zone"] == "hundred_year"
        assert row["flood_frac"] == pytest.approx(0.4)
        assert row["water_table_m"] == pytest.approx(3.0)
        assert row["stream_distance_m_evidence"] == "measured"
        assert row["water_table_m_evidence"] == "mapped"

    def test_absent_layers_are_unknown_not_zero(self, areas):
        row = describe_water(areas([LOT])).iloc[0]
        for name in ("stream_distance_m", "waterbody_distance_m", "water_table_m", "flood_frac"):
            assert np.isnan(row[name])
        assert row["flood_zone"] is None
        assert row["flood_zone_evidence"] == "unknown"

    def test_outside_all_mapped_zones(self, areas):
        zones = layer(shapely.box(90, 90, 99, 99), zone=["floodway"])
        row = describe_water(areas([LOT]), floodplain=zones).iloc[0]
        assert (row["flood_zone"], row["flood_frac"]) == ("outside", 0.0)
        assert row["flood_zone_evidence"] == "mapped"

    def test_floodway_inside_the_hundred_year_zone_counts_once(self, areas):
        zones = layer(
            shapely.box(0, 0, 3, 10), shapely.box(0, 0, 6, 10), zone=["floodway", "hundred_year"]
        )
        row = describe_water(areas([LOT]), floodplain=zones).iloc[0]
        assert (row["flood_zone"], row["flood_frac"]) == ("floodway", pytest.approx(0.6))

    def test_five_hundred_year_zone_has_no_share(self, areas):
        zones = layer(shapely.box(0, 0, 5, 5), zone=["five_hundred_year"])
        row = describe_water(areas([LOT]), floodplain=zones).iloc[0]
        assert (row["flood_zone"], row["flood_frac"]) == ("five_hundred_year", 0.0)

    def test_lot_without_shape_is_unknown(self, areas):
        zones = layer(shapely.box(0, 0, 5, 5), zone=["floodway"])
        lots = areas([shapely.Polygon()])
        row = describe_water(lots, floodplain=zones, waterbodies=zones).iloc[0]
        assert row["flood_zone"] is None
        assert np.isnan(row["flood_frac"])
        assert np.isnan(row["waterbody_distance_m"])

    def test_empty_layers_have_no_nearest(self, areas):
        row = describe_water(areas([LOT]), streams=layer(), waterbodies=layer(None)).iloc[0]
        assert np.isnan(row["stream_distance_m"])
        assert np.isnan(row["waterbody_distance_m"])

    def test_on_the_water_the_distance_is_zero(self, areas):
        island = shapely.box(-50, -50, 50, 50).difference(shapely.box(-20, -20, 20, 20))
        lots = areas([shapely.box(30, 30, 40, 40), LOT])
        result = describe_water(lots, waterbodies=layer(island))
        assert result["waterbody_distance_m"].tolist() == [0.0, 15.0]


class TestAgainstEnumeration:
    def test_nearest_by_brute_force(self, star):
        rng = np.random.default_rng(2)
        shapes = [shapely.LineString(rng.uniform(0, 500, (30, 2))) for _ in range(5)]
        shapes += [star(n, 40, *rng.uniform(0, 500, 2), 30) for n in range(8)]
        shapes += [shapely.MultiPoint(rng.uniform(0, 500, (3, 2)))]
        points = rng.uniform(-100, 600, (300, 2))
        known = shapely.points(points)
        points[7] = np.nan
        found = nearest_distance_m(points, np.array(shapes))
        expected = shapely.distance(known[:, None], np.array(shapes)).min(axis=1)
        expected[7] = np.nan
        assert found == pytest.approx(expected, abs=1e-9, nan_ok=True)
