"""Whether the lot has room for another field, and where it would lie."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.kinds import KINDS, MOUND_SAND_M
from riskmap.contract.rules import Rules
from riskmap.contract.vocabulary import REPLACEMENTS
from riskmap.inventory.lots import inside_line, less, obstacles_near, sound_polygons
from riskmap.inventory.room_kernel import largest_squares
from riskmap.inventory.wells import drinking_wells
from riskmap.spatial.edges import GeometryArray
from riskmap.spatial.nearest import straight_pieces

LEAST_MOUND_SOIL_CM: Final = 30.0
"""Natural soil that a mound needs below its sand in any case (12 in, common practice, no
source)."""


def field_depth_cm(rules: Rules) -> float:
    """Depth to seasonal water or a restriction that a field in the ground needs, cm."""
    trench = KINDS["trench"].field
    return 100.0 * ((trench.depth_m if trench else 0.0) + rules.vertical_separation_m)


def mound_depth_cm(rules: Rules) -> float:
    """Depth to seasonal water or a restriction that a mound needs, cm: its sand counts.

    >>> mound_depth_cm(Rules(vertical_separation_m=1.2))
    60.0
    """
    return max(100.0 * (rules.vertical_separation_m - MOUND_SAND_M), LEAST_MOUND_SOIL_CM)


@dataclass(frozen=True)
class Obstacles:
    """Layers to stay clear of, over the lots and the setbacks around; None: no such layer.

    ``keep_clear`` is ground that cannot be used for any other reason (soils that take no field,
    easements, the field that has failed).
    """

    buildings: gpd.GeoDataFrame | None = None
    wells: gpd.GeoDataFrame | None = None
    waterbodies: gpd.GeoDataFrame | None = None
    streams: gpd.GeoDataFrame | None = None
    keep_clear: gpd.GeoDataFrame | None = None


@dataclass(frozen=True)
class Ground:
    """Slope and depths of each lot's ground; NaN where unknown.

    ``downslope_deg`` is the azimuth in which the ground falls, clockwise from north.
    """

    slope_pct: ArrayLike
    downslope_deg: ArrayLike
    wet_depth_cm: ArrayLike
    restriction_cm: ArrayLike


def describe_room(
    parcels: gpd.GeoDataFrame,
    obstacles: Obstacles,
    ground: Ground,
    *,
    field_m2: ArrayLike,
    mound_m2: ArrayLike,
    rules: Rules,
) -> gpd.GeoDataFrame:
    """Find the room for a replacement field on each lot, its best place, and what is left to do.

    Parameters
    ----------
    parcels
        Lots, index ``parcel_id``, region reference system (m).
    obstacles, ground
        Layers to stay clear of; slope and depths per lot.
    field_m2, mound_m2
        Area that a replacement in the ground, or a mound, needs (per lot or one for all).
    rules
        Setbacks, separation, slopes and proportions.

    Returns
    -------
    GeoDataFrame
        Index of `parcels`. ``room_m2``: area left. ``needed_m2``: area needed, of a mound where the
        soil is too shallow for a field in the ground. ``room_ratio``: the first over the second.
        ``place_m2``, ``place_length_m`` (along the contour), ``place_width_m`` and geometry: the
        largest rectangle of the field's proportions. ``replacement``: one of
        :data:`REPLACEMENTS`, with evidence: ``inferred``, or ``assumed`` where buildings, slope or
        depth are unknown and taken as no obstacle.
    """
    lots = sound_polygons(parcels.geometry)
    free = free_ground(lots, obstacles, rules)
    slope, azimuth, depth = _ground_arrays(ground, len(lots))
    places, width = best_places(
        free, lots, np.where(slope < rules.flat_slope_pct, np.nan, azimuth), rules
    )
    table = pd.DataFrame(index=parcels.index)
    table["room_m2"] = np.where(shapely.is_empty(lots), np.nan, shapely.area(free))
    table["place_width_m"] = width
    table["place_length_m"] = width * rules.length_to_width
    table["place_m2"] = width**2 * rules.length_to_width
    field, mound = (
        np.broadcast_to(np.asarray(m2, float), len(lots)) for m2 in (field_m2, mound_m2)
    )
    deep = ~(depth < field_depth_cm(rules)) & ~(slope > rules.max_slope_pct)
    raised = ~(depth < mound_depth_cm(rules)) & ~(slope > rules.max_mound_slope_pct)
    table["needed_m2"] = np.where(deep, field, mound)
    table["room_ratio"] = table["room_m2"] / table["needed_m2"]
    fits_field = deep & (table["place_m2"] >= field)
    fits_mound = raised & (table["place_m2"] >= mound)
    unknown = table["room_ratio"].isna()
    table["replacement"] = np.select(
        [unknown, fits_field, fits_mound], [REPLACEMENTS[3], *REPLACEMENTS[:2]], REPLACEMENTS[2]
    )
    sure = np.isfinite(slope) & np.isfinite(depth) & (obstacles.buildings is not None)
    table["replacement_evidence"] = np.select([unknown, sure], ["unknown", "inferred"], "assumed")
    return gpd.GeoDataFrame(table, geometry=places, crs=parcels.crs)


def free_ground(lots: GeometryArray, obstacles: Obstacles, rules: Rules) -> GeometryArray:
    """Each lot less its line strip and the ground around buildings, wells and water.

    Parameters
    ----------
    lots
        Polygons (n,), valid, in m.
    obstacles
        Layers to stay clear of.
    rules
        Setbacks, m; 0 or less from the lot line: none.

    Returns
    -------
    ndarray
        (n,) polygons; empty where nothing is left.
    """
    free = inside_line(lots, rules.line_setback_m)
    for shapes, setback_m in (
        (_polygons(obstacles.buildings), rules.building_setback_m),
        (_polygons(obstacles.waterbodies), rules.water_setback_m),
        (_polygons(obstacles.keep_clear), 0.0),
        (_around(obstacles.streams, rules.water_setback_m), 0.0),
        (_around_wells(obstacles.wells, rules.well_setback_m), 0.0),
    ):
        free = less(free, obstacles_near(lots, shapes, setback_m))
    return free


def best_places(
    free: GeometryArray, lots: GeometryArray, azimuth_deg: Floats, rules: Rules
) -> tuple[GeometryArray, Floats]:
    """Largest rectangle of the field's proportions on each lot's free ground.

    Parameters
    ----------
    free
        From :func:`free_ground` (n,).
    lots
        The whole lots (n,); the long side counts on level ground.
    azimuth_deg
        Azimuth in which the ground falls (n,), degrees clockwise from north. The rectangle's length
        runs along the contour. NaN (level ground): along or across the lot's long side, whichever
        gives the larger.
    rules
        Length over width of a field.

    Returns
    -------
    places, width_m
        Rectangles (empty polygons where there is none) and their widths. The width is within 0.5%
        or 4 cm of the largest possible, never above it.
    """
    level = np.isnan(azimuth_deg)
    first = np.where(level, 0.0, azimuth_deg)
    first[level] = _across_long_side_deg(lots[level])
    middle, half = _squares(free, first, rules.length_to_width)
    turned = np.where(level, first + 90.0, first)
    other_middle, other_half = middle.copy(), np.zeros(len(half))
    other_middle[level], other_half[level] = _squares(
        free[level], turned[level], rules.length_to_width
    )
    better = other_half > half
    middle[better], half = other_middle[better], np.maximum(half, other_half)
    chosen = np.where(better, turned, first)
    return _rectangles(middle, half, chosen, rules.length_to_width), 2 * half


def _directions(azimuth_deg: Floats) -> tuple[Floats, Floats]:
    """Turn azimuths into unit vectors along the contour and down the slope."""
    turn = np.radians(azimuth_deg)
    along = np.column_stack([np.cos(turn), -np.sin(turn)])
    return along, np.column_stack([np.sin(turn), np.cos(turn)])


def _squares(free: GeometryArray, azimuth_deg: Floats, proportion: float) -> tuple[Floats, Floats]:
    """Middle (easting, northing) and half-width of the best rectangle on each lot."""
    parts, lot = shapely.get_parts(free, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    owner: Whole = lot[part[ring]]
    bounds = np.nan_to_num(shapely.bounds(free)).reshape(-1, 4)
    origin = bounds[:, :2]
    along, down = _directions(azimuth_deg)
    local = points - origin[owner]
    u = (local * along[owner]).sum(axis=1) / proportion
    v = (local * down[owner]).sum(axis=1)
    joined = ring[1:] == ring[:-1]
    ends = np.column_stack([u[:-1], v[:-1], u[1:], v[1:]])[joined]
    start = np.searchsorted(owner[1:][joined], np.arange(len(free) + 1)).astype(np.int64)
    found = largest_squares(np.ascontiguousarray(ends), start)
    middle = origin + found[:, :1] * proportion * along + found[:, 1:2] * down
    return middle, found[:, 2]


def _rectangles(
    middle: Floats, half: Floats, azimuth_deg: Floats, proportion: float
) -> GeometryArray:
    along, down = _directions(azimuth_deg)
    length, width = along * (half * proportion)[:, None], down * half[:, None]
    corners = np.stack(
        [
            middle - length - width,
            middle + length - width,
            middle + length + width,
            middle - length + width,
        ],
        axis=1,
    )
    places = np.full(len(half), shapely.Polygon(), dtype=object)
    fits = half > 0
    places[fits] = shapely.polygons(corners[fits])
    return places


def _across_long_side_deg(lots: GeometryArray) -> Floats:
    """Azimuth across the long side of each lot's smallest enclosing rectangle; 0 if it has none."""
    result = np.zeros(len(lots))
    frames = shapely.oriented_envelope(lots)
    solid = shapely.area(frames) > 0
    rings = shapely.get_coordinates(shapely.get_exterior_ring(frames[solid])).reshape(-1, 5, 2)
    first, second = rings[:, 1] - rings[:, 0], rings[:, 2] - rings[:, 1]
    longer = (np.linalg.norm(first, axis=1) >= np.linalg.norm(second, axis=1))[:, None]
    side = np.where(longer, first, second)
    result[solid] = np.degrees(np.arctan2(side[:, 0], side[:, 1])) + 90.0
    return result


def _ground_arrays(ground: Ground, count: int) -> tuple[Floats, Floats, Floats]:
    """Slope, azimuth and the lesser of the two depths."""
    slope, azimuth, wet, restriction = (
        np.broadcast_to(np.asarray(values, dtype=float), count)
        for values in (
            ground.slope_pct,
            ground.downslope_deg,
            ground.wet_depth_cm,
            ground.restriction_cm,
        )
    )
    return slope, azimuth, np.fmin(wet, restriction)


def _polygons(layer: gpd.GeoDataFrame | None) -> GeometryArray:
    if layer is None:
        return np.empty(0, dtype=object)
    shapes = sound_polygons(layer.geometry)
    return shapes[~shapely.is_empty(shapes)]


def _around(layer: gpd.GeoDataFrame | None, distance_m: float) -> GeometryArray:
    """Ground within a distance of lines, piece by piece."""
    if layer is None or distance_m <= 0:
        return np.empty(0, dtype=object)
    return np.asarray(shapely.buffer(straight_pieces(layer.geometry.to_numpy()), distance_m))


def _around_wells(wells: gpd.GeoDataFrame | None, distance_m: float) -> GeometryArray:
    if wells is None or distance_m <= 0:
        return np.empty(0, dtype=object)
    points = drinking_wells(wells).geometry.to_numpy()
    return np.asarray(shapely.buffer(points, distance_m, quad_segs=16))
