"""Where on the lot the system is: a 40-acre farm's soil is not the drain field's soil."""

from __future__ import annotations

from collections.abc import Callable

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from riskmap.contract.arrays import Whole
from riskmap.contract.rules import Rules
from riskmap.inventory.lots import (
    QUARTER_SEGMENTS,
    inside_line,
    less,
    line_distance_m,
    main_buildings,
    middles,
    obstacles_near,
    sound_polygons,
)
from riskmap.spatial.edges import GeometryArray

Step = Callable[[Whole], GeometryArray]


def locate_treatment_areas(
    parcels: gpd.GeoDataFrame,
    *,
    permit_points: gpd.GeoDataFrame | None = None,
    buildings: gpd.GeoDataFrame | None = None,
    waterbodies: gpd.GeoDataFrame | None = None,
    rules: Rules,
) -> gpd.GeoDataFrame:
    """Draw the likely treatment area of each lot.

    Tried in turn until one leaves ground: around the permit's own point (``measured``); near the
    main building less buildings and setbacks (``inferred``); then, all ``assumed``: near the
    building without setbacks; the buildable part of a small lot, or the outer band of a large one;
    the lot less its buildings; the lot.

    Parameters
    ----------
    parcels
        Lots, index ``parcel_id``, region reference system (m).
    permit_points
        Points with a column ``parcel_id``, oldest first; the last that lies on its lot counts.
    buildings, waterbodies
        Polygons over the lots and at least the setbacks around.
    rules
        Setbacks and distances.

    Returns
    -------
    GeoDataFrame
        Index of `parcels`; ``treatment_m2``, ``treatment_m2_evidence``, ``x_m``, ``y_m`` (a point
        on the area), ``lot_m2``, ``lot_line_m``, geometry. Parcels without a shape have an empty
        area, NaN and ``unknown``.
    """
    lots = sound_polygons(parcels.geometry)
    houses = _shapes(buildings)
    areas = np.full(len(lots), shapely.Polygon(), dtype=object)
    evidence = np.full(len(lots), "unknown", dtype=object)
    for mark, step in _steps(parcels.index, lots, permit_points, houses, waterbodies, rules):
        rows = np.flatnonzero((evidence == "unknown") & ~shapely.is_empty(lots))
        drawn = step(rows)
        good = shapely.area(drawn) >= rules.min_area_m2
        areas[rows[good]], evidence[rows[good]] = drawn[good], mark
    left = (evidence == "unknown") & ~shapely.is_missing(parcels.geometry.to_numpy())
    areas[left] = _slivers(parcels.geometry.to_numpy()[left], lots[left])
    evidence[left & ~shapely.is_empty(areas)] = "assumed"
    return _table(parcels, lots, areas, evidence)


def _shapes(layer: gpd.GeoDataFrame | None) -> GeometryArray:
    if layer is None:
        return np.empty(0, dtype=object)
    shapes = sound_polygons(layer.geometry)
    return shapes[~shapely.is_empty(shapes)]


def _steps(
    parcel_ids: pd.Index,
    lots: GeometryArray,
    permit_points: gpd.GeoDataFrame | None,
    houses: GeometryArray,
    waterbodies: gpd.GeoDataFrame | None,
    rules: Rules,
) -> list[tuple[str, Step]]:
    """List the ways to draw an area, best first: positions of lots in, shapes out."""
    taken = obstacles_near(lots, houses, rules.building_setback_m)
    water = obstacles_near(lots, _shapes(waterbodies), rules.water_setback_m)
    reach = _reach(lots, houses, rules)

    def buildable(rows: Whole) -> GeometryArray:
        return less(less(inside_line(lots[rows], rules.line_setback_m), taken[rows]), water[rows])

    def by_size(rows: Whole) -> GeometryArray:
        drawn, lot = buildable(rows), lots[rows]
        large = shapely.area(lot) > rules.small_lot_m2
        drawn[large] = less(drawn[large], inside_line(lot[large], rules.lot_band_m))
        return drawn

    def near_building(rows: Whole) -> GeometryArray:
        return _common(reach[rows], lambda some: buildable(rows[some]))

    def near_building_plainly(rows: Whole) -> GeometryArray:
        bare = obstacles_near(lots[rows], houses, 0.0)
        return _common(reach[rows], lambda some: less(lots[rows[some]], bare[some]))

    def around_permit(rows: Whole) -> GeometryArray:
        discs = _permit_discs(parcel_ids, lots, permit_points, rules)
        return _common(discs[rows], lambda some: lots[rows[some]])

    return [
        ("measured", around_permit),
        ("inferred", near_building),
        ("assumed", near_building_plainly),
        ("assumed", by_size),
        ("assumed", lambda rows: less(lots[rows], obstacles_near(lots[rows], houses, 0.0))),
        ("assumed", lambda rows: lots[rows]),
    ]


def _common(frames: GeometryArray, ground: Callable[[Whole], GeometryArray]) -> GeometryArray:
    """Intersection of frames with ground, asked for only where there is a frame."""
    result = np.full(len(frames), shapely.Polygon(), dtype=object)
    some = np.flatnonzero(~shapely.is_empty(frames))
    result[some] = shapely.intersection(frames[some], ground(some))
    return result


def _reach(lots: GeometryArray, houses: GeometryArray, rules: Rules) -> GeometryArray:
    """Ground within reach of the main building of each lot; empty where there is none."""
    result = np.full(len(lots), shapely.Polygon(), dtype=object)
    main = main_buildings(lots, houses, rules.min_building_m2)
    result[main >= 0] = shapely.buffer(
        houses[main[main >= 0]], rules.building_reach_m, quad_segs=QUARTER_SEGMENTS
    )
    return result


def _permit_discs(
    parcel_ids: pd.Index,
    lots: GeometryArray,
    permit_points: gpd.GeoDataFrame | None,
    rules: Rules,
) -> GeometryArray:
    discs = np.full(len(lots), shapely.Polygon(), dtype=object)
    if permit_points is None or not len(permit_points):
        return discs
    row = parcel_ids.get_indexer(pd.Index(permit_points["parcel_id"]))
    points = permit_points.geometry.to_numpy()
    usable = (row >= 0) & ~shapely.is_missing(points)
    row, points = row[usable], points[usable]
    on_lot = shapely.intersects(lots[row], points)
    discs[row[on_lot]] = shapely.buffer(points[on_lot], rules.permit_radius_m)
    return discs


def _slivers(shapes: GeometryArray, lots: GeometryArray) -> GeometryArray:
    """Lots too small for any area: taken whole, or a square meter or so where they have none."""
    result = lots.copy()
    flat = (shapely.area(lots) <= 0) & ~shapely.is_empty(shapes)
    result[flat] = shapely.buffer(shapely.point_on_surface(shapes[flat]), 0.5)
    return result


def _table(
    parcels: gpd.GeoDataFrame, lots: GeometryArray, areas: GeometryArray, evidence: GeometryArray
) -> gpd.GeoDataFrame:
    points = middles(areas)
    known = evidence != "unknown"
    return gpd.GeoDataFrame(
        {
            "lot_m2": np.where(shapely.is_empty(lots), np.nan, shapely.area(lots)),
            "treatment_m2": np.where(known, shapely.area(areas), np.nan),
            "treatment_m2_evidence": evidence,
            "x_m": points[:, 0],
            "y_m": points[:, 1],
            "lot_line_m": line_distance_m(lots, points),
        },
        geometry=areas,
        index=parcels.index,
        crs=parcels.crs,
    )
