"""Lots and the obstacles on them, in bulk: sound polygons, what lies near each, subtraction."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from riskmap.contract.arrays import Floats, Whole
from riskmap.spatial.edges import GeometryArray
from riskmap.spatial.overlaps import area_fractions

QUARTER_SEGMENTS = 4
"""Straight pieces per quarter circle of a setback: at most 2% of the setback inside the circle."""

MANY_VERTICES = 64
EMPTY: Any = shapely.Polygon()


def sound_polygons(geometries: gpd.GeoSeries | GeometryArray) -> GeometryArray:
    """Polygons only: invalid ones repaired, missing ones empty, lines and points dropped.

    >>> bow_tie = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    >>> shapely.area(sound_polygons(np.array([bow_tie, None]))).tolist()
    [2.0, 0.0]
    """
    shapes = np.array(geometries, dtype=object)
    shapes[shapely.is_missing(shapes)] = EMPTY
    broken = ~shapely.is_valid(shapes)
    shapes[broken] = shapely.make_valid(shapes[broken])
    other = ~np.isin(shapely.get_type_id(shapes), (3, 6))
    shapes[other] = polygons_of(shapes[other])
    return shapes


def polygons_of(shapes: GeometryArray) -> GeometryArray:
    """Polygonal part of each shape, as a multipolygon; empty where there is none."""
    parts, owner = shapely.get_parts(shapes, return_index=True)
    nested = shapely.get_type_id(parts) >= 4
    if nested.any():
        inner, inner_owner = shapely.get_parts(parts[nested], return_index=True)
        owner = np.concatenate([owner[~nested], owner[nested][inner_owner]])
        parts = np.concatenate([parts[~nested], inner])
        order = np.argsort(owner, kind="stable")
        parts, owner = parts[order], owner[order]
    solid = (shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)
    return _collect(parts[solid], owner[solid], len(shapes))


def _collect(parts: GeometryArray, owner: Whole, count: int) -> GeometryArray:
    collected = np.full(count, EMPTY, dtype=object)
    if len(parts):
        shapely.multipolygons(parts, indices=owner, out=collected)
    return collected


def obstacles_near(lots: GeometryArray, shapes: GeometryArray, distance_m: float) -> GeometryArray:
    """Ground within `distance_m` of any of `shapes`, near each lot; empty where there is none.

    Parameters
    ----------
    lots
        (n) polygons.
    shapes
        Polygons to stay clear of (buildings, water), over the lots and `distance_m` around.
    distance_m
        Setback, 0 or more.
    """
    empty = np.full(len(lots), EMPTY, dtype=object)
    if not len(shapes) or not len(lots):
        return empty
    margin = distance_m + 1.0
    bounds = shapely.bounds(lots)
    frames = shapely.box(*(bounds + np.array([-margin, -margin, margin, margin])).T)
    pairs = area_fractions(gpd.GeoSeries(frames), gpd.GeoSeries(shapes))
    i, j = pairs["i"].to_numpy(), pairs["j"].to_numpy()
    pieces = shapes[j]
    large = shapely.get_num_coordinates(pieces) > MANY_VERTICES
    pieces[large] = shapely.intersection(pieces[large], frames[i[large]])
    parts, piece = shapely.get_parts(pieces, return_index=True)
    solid = (shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)
    collected = _collect(parts[solid], i[piece[solid]], len(lots))
    touched = ~shapely.is_empty(collected)
    empty[touched] = shapely.buffer(collected[touched], distance_m, quad_segs=QUARTER_SEGMENTS)
    return empty


def main_buildings(lots: GeometryArray, houses: GeometryArray, min_m2: float) -> Whole:
    """Position of the footprint with most of its area on each lot.

    Parameters
    ----------
    lots
        Polygons (n,).
    houses
        Footprints (h,); of equal ones the first counts.
    min_m2
        Least area on the lot that counts, m2.

    Returns
    -------
    ndarray
        (n,), positions in `houses`; -1 where none has `min_m2` on the lot.
    """
    pairs = area_fractions(gpd.GeoSeries(lots), gpd.GeoSeries(houses))
    pairs = pairs[pairs["area_m2"] >= min_m2]
    pairs = pairs.sort_values(["i", "area_m2"], kind="stable", ascending=[True, False])
    main = pairs.drop_duplicates("i")
    result = np.full(len(lots), -1, dtype=np.int64)
    result[main["i"]] = main["j"]
    return result


def less(lots: GeometryArray, taken: GeometryArray) -> GeometryArray:
    """Each lot less the ground taken; untouched lots are passed on as they are."""
    result = lots.copy()
    rows = ~shapely.is_empty(taken) & ~shapely.is_empty(lots)
    rows[rows] = shapely.intersects(lots[rows], taken[rows])
    result[rows] = shapely.difference(lots[rows], taken[rows])
    return result


def inside_line(lots: GeometryArray, setback_m: float) -> GeometryArray:
    """Each lot less a strip of `setback_m` along its line."""
    if setback_m <= 0:
        return lots
    return np.asarray(shapely.buffer(lots, -setback_m, quad_segs=QUARTER_SEGMENTS))


def middles(areas: GeometryArray) -> Floats:
    """(n, 2) easting and northing of a point on each area: its centroid where that is inside.

    NaN for empty areas.
    """
    points = shapely.centroid(areas)
    outside = ~shapely.intersects(areas, points) & ~shapely.is_empty(areas)
    points[outside] = shapely.point_on_surface(areas[outside])
    result = np.full((len(areas), 2), np.nan)
    known = ~shapely.is_empty(points) & ~shapely.is_missing(points)
    result[known] = shapely.get_coordinates(points[known])
    return result


def line_distance_m(lots: GeometryArray, points_m: Floats) -> NDArray[np.float64]:
    """Distance from a point of each lot to the lot line; NaN where either is missing."""
    points = np.full(len(lots), None, dtype=object)
    known = np.isfinite(points_m).all(axis=1) & ~shapely.is_empty(lots)
    points[known] = shapely.points(points_m[known])
    return np.asarray(shapely.distance(points, shapely.boundary(lots)), dtype=np.float64)
