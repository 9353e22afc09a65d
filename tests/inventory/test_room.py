from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from riskmap.contract.rules import Rules
from riskmap.inventory.room import (
    Ground,
    Obstacles,
    best_places,
    describe_room,
    field_depth_cm,
    mound_depth_cm,
)

BARE = Rules(
    building_setback_m=0,
    line_setback_m=0,
    well_setback_m=0,
    water_setback_m=0,
    length_to_width=2.0,
)
NOTHING = Obstacles()
FALLS_NORTH = Ground(slope_pct=8.0, downslope_deg=0.0, wet_depth_cm=200.0, restriction_cm=200.0)
"""Rows run from west to east."""


def layer(*shapes: object, **columns: object) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=32616)


def square(side: float) -> shapely.Polygon:
    return shapely.box(-side / 2, -side / 2, side / 2, side / 2)


DIAMOND = shapely.Polygon([(30, 0), (0, 30), (-30, 0), (0, -30)])
LEG = shapely.Polygon([(0, 0), (30, 0), (0, 30)])
ELL = shapely.union(shapely.box(0, 0, 60, 20), shapely.box(0, 0, 20, 60))
RING = square(60).difference(square(20))
PAIR = shapely.MultiPolygon([shapely.box(0, 0, 20, 20), shapely.box(99, 0, 149, 20)])
CORNER_M = (300 - np.sqrt(90_000 - 82_000)) / 10

DRAWN = {
    # Largest 2 : 1 rectangle with its length from west to east: width in m, worked out by hand.
    "open square: 40 x 20": (square(40), NOTHING, BARE, 20.0),
    "tall lot: length is short of ground, 20 x 10": (shapely.box(0, 0, 20, 90), NOTHING, BARE, 10),
    "wide lot: width is, 20 x 40": (shapely.box(0, 0, 90, 20), NOTHING, BARE, 20),
    "5 m off the line: 30 x 15": (
        square(40), NOTHING, Rules(length_to_width=2, line_setback_m=5), 15
    ),
    "house in the middle leaves strips of 15 m": (
        square(40), Obstacles(buildings=layer(square(10))), BARE, 15
    ),
    "right triangle: w / 30 + 2 w / 30 = 1": (LEG, NOTHING, BARE, 10),
    "diamond: w / 2 + w = 30": (DIAMOND, NOTHING, BARE, 20),
    "L of arms 20 m wide": (ELL, NOTHING, BARE, 20),
    "ring of 20 m": (RING, NOTHING, BARE, 20),
    "two parts, the wider counts": (PAIR, NOTHING, BARE, 20),
    "sliver of a meter": (shapely.box(0, 0, 100, 1), NOTHING, BARE, 1),
    "lake over the south half": (
        square(40), Obstacles(waterbodies=layer(shapely.box(-99, -99, 99, 0))), BARE, 20
    ),
    "lake with 10 m of shore leaves 10 m": (
        square(40),
        Obstacles(waterbodies=layer(shapely.box(-99, -99, 99, 0))),
        Rules(length_to_width=2, line_setback_m=0, water_setback_m=10),
        10,
    ),
    "stream across with 15 m either side leaves 5 m": (
        square(40),
        Obstacles(streams=layer(shapely.LineString([(-99, 0), (99, 0)]))),
        Rules(length_to_width=2, line_setback_m=0, water_setback_m=15),
        5,
    ),
    # 100 m square, well in the middle, 30 m: the rectangle sits in a corner of the lot with its
    # own corner on the circle: (50 - 2w)^2 + (50 - w)^2 = 30^2.
    "well in the middle": (
        square(100),
        Obstacles(wells=layer(shapely.Point(0, 0), use=["domestic"])),
        Rules(length_to_width=2, line_setback_m=0, well_setback_m=30),
        CORNER_M,
    ),
    "ground kept clear": (
        square(40), Obstacles(keep_clear=layer(shapely.box(-20, -20, 20, 8))), BARE, 12
    ),
}  # fmt: skip


def describe(lots, shapes, obstacles=NOTHING, ground=FALLS_NORTH, rules=BARE, need=100.0, **more):
    return describe_room(
        lots(list(shapes)),
        obstacles,
        ground,
        field_m2=need,
        rules=rules,
        **{"mound_m2": need} | more,
    )


class TestDrawnCases:
    @pytest.mark.parametrize("case", DRAWN)
    def test_by_hand(self, lots, case):
        shape, obstacles, rules, width = DRAWN[case]
        row = describe(lots, [shape], obstacles, rules=rules).iloc[0]
        error = max(0.005 * width, 0.04) + 0.002 * width * ("well" in case)
        assert row["place_width_m"] == pytest.approx(width, abs=error)
        assert row["place_length_m"] == pytest.approx(2 * row["place_width_m"])
        assert row.geometry.area == pytest.approx(row["place_m2"])

    def test_rows_follow_the_contour(self, lots):
        # Ground that falls to the north-east on a square of 40 m: seen along the contour it is a
        # diamond of half-diagonal 28.28: 1.5 w = 28.28.
        ground = Ground(10.0, 45.0, 200.0, 200.0)
        row = describe(lots, [square(40)], ground=ground).iloc[0]
        assert row["place_width_m"] == pytest.approx(20 * np.sqrt(2) / 1.5, rel=0.005)
        corners = np.diff(shapely.get_coordinates(row.geometry), axis=0)
        long_side = corners[np.linalg.norm(corners, axis=1).argmax()]
        assert long_side @ [np.sin(np.pi / 4), np.cos(np.pi / 4)] == pytest.approx(0, abs=1e-9)

    def test_level_ground_takes_the_better_direction(self, lots):
        tall = shapely.affinity.rotate(shapely.box(0, 0, 20, 90), 30)
        for ground in (Ground(1.0, 0.0, 200.0, 200.0), Ground(np.nan, np.nan, 200.0, 200.0)):
            row = describe(lots, [tall], ground=ground).iloc[0]
            assert row["place_width_m"] == pytest.approx(20, rel=0.005)


class TestAreas:
    def test_area_left_and_its_ratio(self, lots, same_index):
        # 40 x 40 less a 10 x 10 house less 5 m along the line: 30 * 30 - 100 = 800; needed 400.
        rules = Rules(building_setback_m=0, line_setback_m=5)
        house = Obstacles(buildings=layer(square(10)))
        parcels = lots([square(40)])
        result = describe_room(parcels, house, FALLS_NORTH, field_m2=400, mound_m2=500, rules=rules)
        same_index(result, parcels)
        row = result.iloc[0]
        assert (row["room_m2"], row["needed_m2"], row["room_ratio"]) == (800, 400, 2)

    @pytest.mark.parametrize(
        ("slope", "wet", "restriction", "verdict"),
        [
            (8, 200, 200, "in-ground field"),
            (8, 60, 200, "mound"),
            (8, 200, 60, "mound"),
            (8, 20, 200, "holding tank only"),
            (20, 60, 200, "holding tank only"),
            (20, 200, 200, "in-ground field"),
            (40, 200, 200, "holding tank only"),
        ],
    )
    def test_what_soil_and_slope_leave(self, lots, slope, wet, restriction, verdict):
        ground = Ground(slope, 0.0, wet, restriction)
        row = describe(lots, [square(40)], ground=ground).iloc[0]
        assert row["replacement"] == verdict

    def test_no_room_leaves_a_holding_tank(self, lots):
        row = describe(lots, [square(10)], need=51.0).iloc[0]
        assert row["place_m2"] == pytest.approx(50, rel=0.01)
        assert row["room_m2"] == 100  # enough ground, but no rectangle of it
        assert row["replacement"] == "holding tank only"

    def test_mound_needs_its_own_area(self, lots):
        ground = Ground(8.0, 0.0, 60.0, 200.0)
        row = describe(lots, [square(40)], ground=ground, mound_m2=900.0).iloc[0]
        assert (row["needed_m2"], row["replacement"]) == (900, "holding tank only")

    def test_evidence(self, lots):
        built = Obstacles(buildings=layer(square(4)))
        blind = Ground(np.nan, np.nan, np.nan, np.nan)
        assert describe(lots, [square(40)], built)["replacement_evidence"].tolist() == ["inferred"]
        assert describe(lots, [square(40)])["replacement_evidence"].tolist() == ["assumed"]
        row = describe(lots, [square(40)], built, blind).iloc[0]
        assert (row["replacement"], row["replacement_evidence"]) == ("in-ground field", "assumed")


class TestAwkwardLots:
    def test_under_water_missing_and_empty(self, lots):
        pond = Obstacles(waterbodies=layer(shapely.box(-99, -99, 99, 99)))
        shapes = [square(40), None, shapely.Polygon(), shapely.box(200, 0, 201, 0.001)]
        result = describe(lots, shapes, pond)
        assert result["room_m2"].iloc[0] == 0
        assert result["place_m2"].tolist()[0] == 0
        assert result["replacement"].tolist() == [
            "holding tank only", "unknown", "unknown", "holding tank only",
        ]  # fmt: skip
        assert result["replacement_evidence"].tolist()[1:3] == ["unknown", "unknown"]

    def test_unknown_need_is_unknown(self, lots):
        row = describe(lots, [square(40)], need=np.nan).iloc[0]
        assert row["replacement"] == "unknown"

    def test_irrigation_wells_need_no_setback(self, lots):
        well = Obstacles(wells=layer(shapely.Point(0, 0), use=["irrigation"]))
        row = describe(lots, [square(40)], well, rules=Rules(line_setback_m=0)).iloc[0]
        assert row["room_m2"] == 1600

    def test_chunks_do_not_change_a_lot(self, lots, star):
        shapes = [star(n, 12, 50.0 * n, 0, 40) for n in range(12)]
        houses = Obstacles(buildings=layer(*(square(9 + n % 4) for n in range(12))))
        whole = describe(lots, shapes, houses)
        for n in range(12):
            alone = describe(lots, shapes[n : n + 1], houses)
            assert alone["place_m2"].iloc[0] == whole["place_m2"].iloc[n]
            assert alone["room_m2"].iloc[0] == whole["room_m2"].iloc[n]


class TestAgainstEnumeration:
    """Against a dense search with shapely: middles every 2 % of the shape, width by bisection."""

    @settings(
        max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
    )
    @given(
        seed=st.integers(0, 10**6),
        corners=st.integers(3, 12),
        azimuth=st.floats(0, 359),
        hole=st.booleans(),
    )
    def test_star(self, star, seed, corners, azimuth, hole):
        shape = star(seed, corners, 0, 0, 50)
        if hole:
            shape = shape.difference(star(seed + 1, 5, 3, 3, 12))
        rules = Rules(length_to_width=3.0)
        places, width = best_places(
            np.array([shape]), np.array([shape]), np.array([azimuth]), rules
        )
        searched = self.dense_search(shape, azimuth, 3.0)
        assert width[0] >= searched - max(0.005 * searched, 0.04)
        assert places[0].is_empty or shape.buffer(1e-6).covers(places[0])
        assert places[0].area == pytest.approx(3 * width[0] ** 2)

    @staticmethod
    def dense_search(shape, azimuth, proportion):
        turned = shapely.affinity.rotate(shape, azimuth, origin=(0, 0))
        west, south, east, north = turned.bounds
        x, y = np.meshgrid(np.linspace(west, east, 51), np.linspace(south, north, 51))
        x, y = x.ravel(), y.ravel()
        low, high = np.zeros(x.shape), np.full(x.shape, north - south)
        shapely.prepare(turned)
        for _ in range(14):
            half = (low + high) / 4
            boxes = shapely.box(x - half * proportion, y - half, x + half * proportion, y + half)
            fits = shapely.covers(turned, boxes)
            low, high = np.where(fits, 2 * half, low), np.where(fits, high, 2 * half)
        return low.max()


class TestDepths:
    def test_by_the_separation_that_rules_want(self) -> None:
        # trench of 60 cm; a mound's 60 cm of sand count; 30 cm of natural soil at least
        feet = [Rules(vertical_separation_m=wanted) for wanted in (0.6096, 0.9144, 1.2192)]
        assert [field_depth_cm(rules) for rules in feet] == pytest.approx([120.96, 151.44, 181.92])
        assert [mound_depth_cm(rules) for rules in feet] == pytest.approx([30.0, 31.44, 61.92])

    def test_a_stricter_separation_asks_for_a_mound(self, lots) -> None:
        ground = Ground(slope_pct=8.0, downslope_deg=0.0, wet_depth_cm=140.0, restriction_cm=200.0)
        found = [
            describe(lots, [square(40)], ground=ground, rules=replace(BARE, **wanted))
            for wanted in ({"vertical_separation_m": 0.6}, {"vertical_separation_m": 0.9})
        ]
        assert [table["replacement"].iloc[0] for table in found] == ["in-ground field", "mound"]
