from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from riskmap.contract.rules import Rules
from riskmap.inventory.lots import less, middles, obstacles_near, sound_polygons
from riskmap.inventory.siting import locate_treatment_areas

BARE = Rules(
    permit_radius_m=10,
    building_reach_m=30,
    building_setback_m=0,
    line_setback_m=0,
    water_setback_m=0,
    min_area_m2=1,
)


USUAL = Rules(building_setback_m=3, line_setback_m=3, water_setback_m=15)


def locate(
    parcels: gpd.GeoDataFrame, *, rules: Rules = USUAL, **layers: object
) -> gpd.GeoDataFrame:
    return locate_treatment_areas(parcels, rules=rules, **layers)


def layer(*shapes: object, crs: object = 32616, **columns: object) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs)


def points(*xy: tuple[float, float], of: list[str]) -> gpd.GeoDataFrame:
    return layer(*(shapely.Point(p) for p in xy), parcel_id=of)


class TestByEye:
    def test_permit_point_wins(self, lots, same_index):
        # Lot of 100 x 100 m; the permit's point 5 m from the west line: most of a disc of 10 m.
        parcels = lots([shapely.box(0, 0, 100, 100)])
        house = layer(shapely.box(60, 60, 75, 75))
        permit = points((5, 50), of=["p0"])
        result = locate(parcels, permit_points=permit, buildings=house)
        same_index(result, parcels)
        disc = np.pi * 10**2
        cap = 10**2 * np.arccos(0.5) - 5 * np.sqrt(10**2 - 5**2)
        assert result["treatment_m2"].iloc[0] == pytest.approx(disc - cap, rel=0.01)
        assert result["treatment_m2_evidence"].tolist() == ["measured"]
        assert result["lot_m2"].tolist() == [10_000.0]

    def test_permit_point_off_its_lot_is_not_used(self, lots):
        parcels = lots([shapely.box(0, 0, 100, 100), shapely.box(100, 0, 200, 100)])
        permit = points((150, 50), of=["p0"])
        result = locate(parcels, permit_points=permit)
        assert result["treatment_m2_evidence"].tolist() == ["assumed", "assumed"]

    def test_the_last_permit_on_the_lot_counts(self, lots):
        parcels = lots([shapely.box(0, 0, 100, 100)])
        permits = points((20, 20), (80, 70), (500, 500), of=["p0"] * 3)
        result = locate(parcels, permit_points=permits)
        assert result[["x_m", "y_m"]].to_numpy()[0] == pytest.approx([80, 70], abs=1e-6)

    def test_near_the_main_building_less_buildings(self, lots):
        # House 10 x 10 in the middle of a large lot; reach 30 m, no setbacks: the house grown by
        # 30 m (100 + 4 * 10 * 30 + quarter discs) less the house.
        parcels = lots([shapely.box(-200, -200, 200, 200)])
        house = layer(shapely.box(-5, -5, 5, 5))
        result = locate(parcels, buildings=house, rules=BARE)
        expected = 4 * 10 * 30 + np.pi * 30**2
        assert result["treatment_m2"].iloc[0] == pytest.approx(expected, rel=0.03)
        assert result["treatment_m2_evidence"].tolist() == ["inferred"]
        house_ground = result.geometry.iloc[0].intersection(shapely.box(-5, -5, 5, 5)).area
        assert house_ground == pytest.approx(0, abs=1e-9)

    def test_the_largest_footprint_is_the_main_building(self, lots):
        parcels = lots([shapely.box(0, 0, 400, 100)])
        sheds = layer(shapely.box(10, 10, 15, 15), shapely.box(350, 50, 370, 65))
        result = locate(parcels, buildings=sheds, rules=BARE)
        assert result["x_m"].iloc[0] > 300

    def test_setbacks_by_hand(self, lots):
        # A lot of 30 x 30 wholly within reach; 3 m off the line leaves 24 x 24; a wall-to-wall
        # house 24 m wide and 6 m deep with 3 m around takes rows y 9..21: left 24 x (6 + 6).
        parcels = lots([shapely.box(0, 0, 30, 30)])
        house = layer(shapely.box(0, 12, 30, 18))
        rules = Rules(building_setback_m=3, line_setback_m=3)
        result = locate(parcels, buildings=house, rules=rules)
        assert result["treatment_m2"].iloc[0] == pytest.approx(24 * 12, rel=1e-9)

    def test_small_lot_without_footprint_is_taken_whole(self, lots):
        result = locate(lots([shapely.box(0, 0, 50, 50)]))
        assert result["treatment_m2"].tolist() == pytest.approx([44.0 * 44])
        assert result["treatment_m2_evidence"].tolist() == ["assumed"]
        assert result["lot_line_m"].tolist() == [25.0]

    def test_large_lot_without_footprint_leaves_out_its_heart(self, lots):
        result = locate(lots([shapely.box(0, 0, 400, 400)]))
        assert result["treatment_m2"].tolist() == pytest.approx([394.0**2 - 220.0**2])
        on_area = shapely.intersects(
            result.geometry.to_numpy(), shapely.points(result[["x_m", "y_m"]].to_numpy())
        )
        assert on_area.all()

    def test_water_setback(self, lots):
        # A lake along the south line with 15 m setback: 50 x 50 less 15 m less 3 m lines.
        parcels = lots([shapely.box(0, 0, 50, 50)])
        lake = layer(shapely.box(-500, -500, 500, 0))
        result = locate(parcels, waterbodies=lake)
        assert result["treatment_m2"].iloc[0] == pytest.approx(44 * (47 - 15), rel=1e-9)


class TestFallbacks:
    def test_lot_under_water_is_taken_whole(self, lots):
        parcels = lots([shapely.box(0, 0, 50, 50)])
        result = locate(parcels, waterbodies=layer(shapely.box(-9, -9, 99, 99)))
        assert result["treatment_m2"].tolist() == [2500.0]
        assert result["treatment_m2_evidence"].tolist() == ["assumed"]

    def test_every_drawn_lot_gets_ground(self, lots):
        shapes = [
            shapely.box(0, 0, 1000, 0.4),  # sliver
            shapely.MultiPolygon([shapely.box(0, 9, 2, 11), shapely.box(50, 50, 90, 90)]),
            shapely.box(0, 100, 60, 160).difference(shapely.box(10, 110, 50, 150)),  # ring
            shapely.Polygon([(200, 0), (220, 20), (220, 0), (200, 20)]),  # bow tie
            shapely.box(300, 300, 303, 303),  # smaller than any field
            shapely.Polygon([(400, 0), (410, 0), (405, 0)]),  # no area at all
        ]
        parcels = lots(shapes)
        houses = layer(*(shape.envelope for shape in shapes[1:3]))
        result = locate(parcels, buildings=houses)
        assert (result["treatment_m2"] > 0).all()
        assert not result.geometry.is_empty.any()
        assert result.geometry.is_valid.all()
        assert np.isfinite(result[["x_m", "y_m"]].to_numpy()).all()
        assert result["lot_m2"].isna().tolist() == [False] * 5 + [True]

    def test_house_that_fills_the_lot(self, lots):
        parcels = lots([shapely.box(0, 0, 20, 20)])
        result = locate(parcels, buildings=layer(shapely.box(-1, -1, 21, 21)))
        assert result["treatment_m2"].tolist() == [400.0]

    def test_parcel_without_shape_is_unknown(self, lots):
        parcels = lots([None, shapely.box(0, 0, 50, 50), shapely.Polygon()])
        result = locate(parcels)
        assert result["treatment_m2_evidence"].tolist() == ["unknown", "assumed", "unknown"]
        assert result["treatment_m2"].isna().tolist() == [True, False, True]
        assert result["x_m"].isna().tolist() == [True, False, True]

    def test_empty_layers_and_no_parcels(self, lots):
        none = layer()
        parcels = lots([shapely.box(0, 0, 50, 50)])
        result = locate(parcels, buildings=none, waterbodies=none)
        assert len(result) == 1
        assert len(locate(parcels.iloc[:0], buildings=none)) == 0


class TestProperties:
    @settings(
        max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
    )
    @given(seed=st.integers(0, 10**6))
    def test_area_lies_on_its_lot_and_off_the_buildings(self, lots, star, seed):
        rng = np.random.default_rng(seed)
        x, y = 80.0 * np.array(np.divmod(np.arange(16), 4))
        parcels = lots([star(seed + n, 9, x[n], y[n], 39) for n in range(16)])
        houses = [star(seed + n, 5, *rng.uniform(-20, 260, 2), 15) for n in range(12)]
        result = locate(parcels, buildings=layer(*houses))
        off_lot = shapely.difference(result.geometry.to_numpy(), parcels.geometry.to_numpy())
        assert shapely.area(off_lot).max() < 1e-6
        near = result["treatment_m2_evidence"].eq("inferred").to_numpy()
        built = shapely.intersection(result.geometry.to_numpy(), shapely.union_all(houses))
        assert shapely.area(built)[near].max(initial=0) < 1e-6

    def test_chunks_do_not_change_a_lot(self, lots, star):
        x, y = 70.0 * np.array(np.divmod(np.arange(25), 5))
        parcels = lots([star(n, 9, x[n], y[n], 39) for n in range(25)])
        houses = layer(*(star(90 + n, 6, x[n] + 5, y[n], 12) for n in range(0, 25, 2)))
        lake = layer(star(7, 300, 150, 150, 90))
        permits = points(
            *((x[n], y[n]) for n in range(0, 25, 5)), of=[f"p{n}" for n in range(0, 25, 5)]
        )
        options = {"buildings": houses, "waterbodies": lake, "permit_points": permits}
        whole = locate(parcels, **options)
        parts = [locate(parcels.iloc[n::3], **options) for n in range(3)]
        again = pd.concat(parts).loc[whole.index]
        plain = ["lot_m2", "treatment_m2", "treatment_m2_evidence", "x_m", "y_m", "lot_line_m"]
        pd.testing.assert_frame_equal(
            pd.DataFrame(again[plain]), pd.DataFrame(whole[plain]), check_exact=True
        )


class TestLotTools:
    def test_obstacles_of_a_large_lake_equal_the_full_buffer(self, star):
        lake = np.array([star(1, 900, 0, 0, 500)])
        homes = shapely.box(np.arange(0, 500, 50), 0, np.arange(40, 540, 50), 40)
        full = shapely.buffer(lake[0], 15, quad_segs=4)
        found = less(homes, obstacles_near(homes, lake, 15))
        assert shapely.area(found) == pytest.approx(shapely.area(homes - full), abs=1e-6)

    def test_collections_keep_their_polygons(self):
        mixed = shapely.GeometryCollection(
            [shapely.Point(9, 9), shapely.MultiPolygon([shapely.box(0, 0, 1, 1)])]
        )
        shapes = sound_polygons(np.array([mixed, shapely.LineString([(0, 0), (1, 1)])]))
        assert shapely.area(shapes).tolist() == [1.0, 0.0]

    def test_middle_of_a_horseshoe_is_on_it(self):
        shoe = shapely.box(0, 0, 10, 10).difference(shapely.box(2, 2, 8, 10))
        middle = middles(np.array([shoe, shapely.Polygon()]))
        assert shoe.intersects(shapely.Point(middle[0]))
        assert np.isnan(middle[1]).all()


class TestRealParcels:
    """A real city's parcels (open data; not part of the project): 37 of them invalid."""

    def test_every_parcel_keeps_its_row_and_gets_ground(self, shared_data):
        folder = shared_data / "records" / "city_parcels_flood"
        path = folder / "ASSESSING_ParcelsFY2014.topojson"
        parcels = gpd.read_file(path, columns=["ML"], rows=4000)
        parcels = parcels.set_crs(4326, allow_override=True).to_crs(32619)
        water = gpd.read_file(folder / "HYDRO_WaterBodies.geojson", columns=[]).to_crs(32619)
        result = locate(parcels, waterbodies=water)
        drawn = shapely.area(shapely.make_valid(parcels.geometry.to_numpy())) > 0
        assert len(result) == len(parcels)
        assert (result["treatment_m2"] > 0).to_numpy()[drawn].all()
        assert result.geometry.is_valid.all()
        assert result["treatment_m2_evidence"].ne("unknown").to_numpy()[drawn].all()
