"""Capture zones of wells as rings of coordinates, bent along the curved flow path.

The uniform-flow zone of :mod:`riskmap.groundwater.capture` is laid along the path the water takes
to the well: its half-width is set off to both sides of the traced path. Where the water table has
no direction, the fixed-radius circle is used.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.grid import Grid
from riskmap.groundwater.capture import (
    bounding_curve,
    fixed_radius_m,
    stagnation_m,
    upgradient_length_m,
)
from riskmap.groundwater.gradient import MIN_GRADIENT, FlowField
from riskmap.groundwater.paths import Paths, trace_paths

_POLYGON = 3


@dataclass(frozen=True)
class Zones:
    """Rings of capture zones.

    ``rings[i]`` is a closed ring (m, 2) of easting, northing around well ``i`` (empty where the
    place or the draw is unknown); ``method`` per well: "uniform flow", "curved path",
    "fixed radius" or "unknown".
    """

    rings: list[Floats]
    method: NDArray[np.object_]


def _at(paths: Paths, distance: Floats) -> tuple[Floats, Floats]:
    """Place at distances (n, m) along each path; straight on before its start, held at its end."""
    total = paths.last(paths.distance_m)
    span = 2.0 * max(float(total.max(initial=1.0)), 1.0)
    key = paths.owner * span + paths.distance_m
    inside = np.clip(distance, 0.0, total[:, None])
    query = inside + (np.arange(len(paths)) * span)[:, None]
    return np.interp(query, key, paths.x_m), np.interp(query, key, paths.y_m)


def _rings_along(
    paths: Paths, along: Floats, half: Floats, first: tuple[Floats, Floats], step_m: float
) -> Floats:
    """Rings (n, 2 m + 1, 2): centers on the path, offset to both sides."""
    straight = np.minimum(along, 0.0)
    along = np.minimum(along, paths.last(paths.distance_m)[:, None])
    x, y = _at(paths, along)
    before, after = _at(paths, along - step_m), _at(paths, along + step_m)
    tangent_x, tangent_y = after[0] - before[0], after[1] - before[1]
    size = np.hypot(tangent_x, tangent_y)
    tangent_x = np.where(size > 0, tangent_x / np.where(size > 0, size, 1), first[0][:, None])
    tangent_y = np.where(size > 0, tangent_y / np.where(size > 0, size, 1), first[1][:, None])
    x, y = x + straight * first[0][:, None], y + straight * first[1][:, None]
    left = np.stack([x - half * tangent_y, y + half * tangent_x], axis=-1)
    right = np.stack([x + half * tangent_y, y - half * tangent_x], axis=-1)
    return np.concatenate([left, right[:, ::-1], left[:, :1]], axis=1)


def circle_rings(
    x_m: ArrayLike, y_m: ArrayLike, radius_m: ArrayLike, *, points: int = 48
) -> Floats:
    """Circles as closed rings (n, points + 1, 2).

    Parameters
    ----------
    x_m, y_m
        Centers (n,), projected m.
    radius_m
        One number or (n,), m.
    points
        Distinct points of each ring; the first is repeated at the end.
    """
    angle = np.linspace(0, 2 * np.pi, points + 1)
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    center = np.stack([np.asarray(x_m, float), np.asarray(y_m, float)], axis=-1)
    radius = np.broadcast_to(np.asarray(radius_m, float), center.shape[:1])
    return np.asarray(center[:, None, :] + radius[:, None, None] * circle[None], float)


def clean_rings(rings: Floats) -> list[Floats]:
    """Undo self-crossings (bends of wide zones): the outer ring of all that the ring sweeps.

    ``rings`` (n, 2 m + 1, 2) hold one side, the other side backwards, and the first point again. A
    crossed ring becomes the union of the convex cells between successive pairs of points.
    """
    shapes = np.atleast_1d(np.asarray(shapely.polygons(rings), object))
    bad = ~shapely.is_valid(shapes)
    if bad.any():
        side = (rings.shape[1] - 1) // 2
        left, right = rings[bad, :side], rings[bad, side : 2 * side][:, ::-1]
        corners = np.stack([left[:, :-1], left[:, 1:], right[:, 1:], right[:, :-1]], axis=2)
        cells = np.asarray(shapely.convex_hull(shapely.multipoints(corners)), object)
        cells[shapely.get_type_id(cells) != _POLYGON] = None
        shapes[bad] = shapely.union_all(cells, axis=1)
    cleaned: list[Floats] = []
    for shape in shapes:
        parts = shapely.get_parts(shape)
        largest = parts[int(np.argmax(shapely.area(parts)))] if len(parts) else shape
        cleaned.append(shapely.get_coordinates(shapely.get_exterior_ring(largest)))
    return cleaned


def _local_flow(field: FlowField, x: Floats, y: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Slope down-gradient (east, north), Darcy flux and porosity at the wells."""
    east = field.grid.with_values(field.east_frac).bilinear(x, y)
    north = field.grid.with_values(field.north_frac).bilinear(x, y)
    k = field.grid.with_values(field.conductivity_m_d).sample(x, y)
    porosity = field.grid.with_values(field.porosity_frac).sample(x, y)
    return east, north, k * np.hypot(east, north), porosity


def capture_zones(
    x_m: ArrayLike,
    y_m: ArrayLike,
    *,
    pumping_m3_d: ArrayLike,
    field: FlowField,
    thickness_m: float,
    time_d: float,
    curved: bool = True,
    widen_deg: float = 0.0,
    water_id: ArrayLike | None = None,
) -> Zones:
    """Zone from which each well draws its water within ``time_d``.

    Parameters
    ----------
    x_m, y_m, pumping_m3_d
        Wells (n,).
    field
        Flow of the water table.
    thickness_m
        Thickness drawn from, m.
    time_d
        Travel time that bounds the zone up-gradient, d.
    curved
        Bend the uniform-flow zone along the flow path; straight when False.
    widen_deg
        Doubt of the direction added to both sides, degrees.
    water_id
        Surface water on the field's grid; a curved zone ends there.

    Returns
    -------
    Zones
        Where the water table is unknown or too flat for a direction: a circle of the volumetric
        radius. "unknown" only for a well without a place or a draw.
    """
    x, y = np.asarray(x_m, float), np.asarray(y_m, float)
    pumped = np.array(np.broadcast_to(np.asarray(pumping_m3_d, float), x.shape))
    east, north, flux, porosity = _local_flow(field, x, y)
    slope = np.hypot(east, north)
    usual = np.nanmedian(field.porosity_frac) if np.isfinite(field.porosity_frac).any() else np.nan
    porosity = np.where(np.isfinite(porosity), porosity, usual)
    placed = np.isfinite(x + y + porosity + pumped) & (pumped > 0)
    flows = placed & np.isfinite(flux) & (slope > MIN_GRADIENT)
    rings: list[Floats] = [np.empty((0, 2))] * len(x)
    method = np.full(len(x), "unknown", object)
    chosen = np.flatnonzero(flows)
    if len(chosen):
        x0 = stagnation_m(pumped[chosen], flux_m_d=flux[chosen], thickness_m=thickness_m)
        length = upgradient_length_m(
            time_d, flux_m_d=flux[chosen], porosity_frac=porosity[chosen], stagnation=x0
        )
        upstream = (-(east / slope)[chosen], -(north / slope)[chosen])
        paths = _axis(x[chosen], y[chosen], upstream, length, field if curved else None, water_id)
        # A path that meets a divide or water ends the zone; widths are those of what is left.
        reach = np.minimum(length, _forward_m(paths, 4.0 * field.grid.cell_m))
        along, half = bounding_curve(reach, x0)
        half = half + np.maximum(along, 0.0) * np.tan(np.radians(widen_deg))
        made = _rings_along(paths, along, half, upstream, 0.25 * field.grid.cell_m)
        for well, ring in zip(chosen, clean_rings(made), strict=True):
            rings[well] = ring
        method[chosen] = "curved path" if curved else "uniform flow"
    still = np.flatnonzero(placed & ~flows)
    radius = fixed_radius_m(
        pumped[still], time_d=time_d, porosity_frac=porosity[still], thickness_m=thickness_m
    )
    for well, ring in zip(still, circle_rings(x[still], y[still], radius), strict=True):
        rings[well] = ring
    method[still] = "fixed radius"
    return Zones(rings, method)


def _axis(
    x: Floats, y: Floats, upstream: tuple[Floats, Floats], length: Floats,
    field: FlowField | None, water_id: ArrayLike | None,
) -> Paths:  # fmt: skip
    """Axis of each zone: the traced path, or a straight one of two points."""
    if field is not None:
        return trace_paths(
            field, x_m=x, y_m=y, max_distance_m=float(length.max()), upstream=True,
            water_id=_but_not_at(field.grid, water_id, x, y),
        )  # fmt: skip
    far_x, far_y = x + upstream[0] * length, y + upstream[1] * length
    both_x, both_y = np.stack([x, far_x], 1).ravel(), np.stack([y, far_y], 1).ravel()
    distance = np.stack([np.zeros_like(length), length], 1).ravel()
    nothing = np.zeros(len(both_x))
    start = np.arange(0, 2 * len(x) + 1, 2)
    end, water = np.zeros(len(x), np.int8), np.zeros(len(x), np.int64)
    return Paths(start, both_x, both_y, distance, nothing, nothing, end, water)


def _forward_m(paths: Paths, window_m: float) -> Floats:
    """Length of each path (n,) until it stops making headway.

    On a divide a traced path wanders back and forth; there it covers less than half of its own
    length over the window, and does not show where water comes from.
    """
    total = paths.last(paths.distance_m)
    count = int(np.ceil(float(total.max(initial=0.0)) / (0.5 * window_m))) + 1
    start = np.arange(count) * 0.5 * window_m + np.zeros((len(total), 1))
    stop = np.minimum(start + window_m, total[:, None])
    before, after = _at(paths, start), _at(paths, stop)
    covered = np.hypot(after[0] - before[0], after[1] - before[1])
    lost = (covered < 0.5 * (stop - start)) & (stop - start > 0.5 * window_m)
    first = np.where(lost.any(axis=1), start[np.arange(len(total)), lost.argmax(axis=1)], np.inf)
    return np.minimum(total, first)


def _but_not_at(
    grid: Grid, water_id: ArrayLike | None, x: Floats, y: Floats
) -> NDArray[np.int64] | None:
    """Surface water without the cells that hold a well."""
    if water_id is None:
        return None
    water = np.array(np.broadcast_to(water_id, grid.values.shape), np.int64)
    row, column = grid.cell_of(x, y)
    water[row, column] = 0
    return water


def systems_inside(zones: Zones, x_m: ArrayLike, y_m: ArrayLike) -> tuple[Whole, Whole]:
    """Systems inside the capture zone of each well.

    Parameters
    ----------
    zones
        From :func:`capture_zones`; a well with an empty ring has no pairs.
    x_m, y_m
        Systems (n,), projected m; a place that is NaN lies in no zone.

    Returns
    -------
    tuple
        Well and system of each pair, both (p,), sorted by well, then system.
    """
    usable = np.flatnonzero([len(ring) >= 4 for ring in zones.rings])
    x, y = np.asarray(x_m, float), np.asarray(y_m, float)
    placed = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if not len(usable) or not len(placed):
        return np.empty(0, np.int64), np.empty(0, np.int64)
    shapes = np.array([shapely.Polygon(zones.rings[i]) for i in usable])
    tree = shapely.STRtree(np.atleast_1d(np.asarray(shapely.points(x[placed], y[placed]), object)))
    zone, point = tree.query(shapes, predicate="intersects")
    wells, systems = usable[zone].astype(np.int64), placed[point].astype(np.int64)
    order = np.lexsort((systems, wells))
    return wells[order], systems[order]
