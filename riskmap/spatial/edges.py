"""Polygons as flat arrays of signed edges: what the compiled kernels work on.

A polygon's indicator is a signed sum over its edges: an edge on the upper side adds the strip
between itself and a base line, an edge on the lower side takes it away. So any polygon, convex or
not, with holes or in several parts, becomes a list of edges with a sign, and area integrals over it
become sums over edges. Vertical edges bound no strip and are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.compiled import compiled

GeometryArray = NDArray[Any]

BLOCK = 32
"""Edges per bounding box: a kernel skips a block of edges that lies elsewhere."""

POLYGON = 3


@dataclass(frozen=True)
class Edges:
    """Edges of n polygons, from west to east.

    ``start`` (n + 1) delimits the edges of each polygon; ``sign`` is +1 on the upper side of the
    polygon, -1 on the lower side; ``bounds`` (n, 4) and ``area_m2`` (n) describe the polygons.
    """

    x1_m: Floats
    y1_m: Floats
    x2_m: Floats
    y2_m: Floats
    sign: Floats
    start: Whole
    bounds: Floats
    area_m2: Floats


def polygon_edges(geometries: GeometryArray) -> Edges:
    """Flatten polygons and multipolygons; other shapes, empty ones and None have no edges.

    >>> edges = polygon_edges(np.array([shapely.box(0, 0, 2, 1)]))
    >>> edges.sign.tolist(), edges.y1_m.tolist(), edges.area_m2.tolist()
    ([1.0, -1.0], [1.0, 0.0], [2.0])
    """
    geometries = np.asarray(geometries, dtype=object)
    rings, outer, owner = _rings(geometries)
    corners = np.concatenate([[0], np.cumsum(shapely.get_num_coordinates(rings))])
    points = shapely.get_coordinates(rings)
    columns, edges_of_ring = _ring_edges(points, corners.astype(np.int64), outer)
    totals = np.bincount(owner, edges_of_ring, minlength=len(geometries))
    return Edges(
        *columns,
        start=np.concatenate([[0], np.cumsum(totals)]).astype(np.int64),
        bounds=shapely.bounds(geometries).reshape(-1, 4),
        area_m2=np.nan_to_num(shapely.area(geometries)),
    )


def _rings(geometries: GeometryArray) -> tuple[GeometryArray, NDArray[np.bool_], Whole]:
    """All rings, whether each is an outer one, and which geometry it belongs to."""
    kinds = shapely.get_type_id(geometries)
    parts, part_owner = geometries, np.arange(len(geometries))
    if (kinds != POLYGON).any():
        parts, part_owner = shapely.get_parts(geometries, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    filled = ~shapely.is_empty(rings)
    rings, part = rings[filled], part[filled]
    outer = np.ones(len(rings), dtype=bool)
    outer[1:] = part[1:] != part[:-1]
    return rings, outer, part_owner[part].astype(np.int64)


@compiled
def _ring_edges(
    points: Floats, start: Whole, outer: NDArray[np.bool_]
) -> tuple[tuple[Floats, Floats, Floats, Floats, Floats], Whole]:
    """Edges of rings from west to east with their sign, whichever way the rings run."""
    x1, y1 = np.empty(len(points)), np.empty(len(points))
    x2, y2 = np.empty(len(points)), np.empty(len(points))
    sign = np.empty(len(points))
    count = np.zeros(len(outer), dtype=np.int64)
    place = 0
    for ring in range(len(outer)):
        first, last = start[ring], start[ring + 1]
        upper = -1.0 if (_doubled_area(points, first, last) < 0) == outer[ring] else 1.0
        for k in range(first, last - 1):
            west, east = (k, k + 1) if points[k, 0] < points[k + 1, 0] else (k + 1, k)
            if points[west, 0] == points[east, 0]:
                continue
            x1[place], y1[place] = points[west, 0], points[west, 1]
            x2[place], y2[place] = points[east, 0], points[east, 1]
            sign[place] = upper if west > east else -upper
            place += 1
            count[ring] += 1
    return (x1[:place], y1[:place], x2[:place], y2[:place], sign[:place]), count


@compiled
def _doubled_area(points: Floats, first: int, last: int) -> float:
    """Twice the area of a ring, negative if it runs clockwise."""
    x0, y0 = points[first, 0], points[first, 1]
    total = 0.0
    for k in range(first, last - 1):
        total += (points[k, 0] - x0) * (points[k + 1, 1] - y0)
        total -= (points[k + 1, 0] - x0) * (points[k, 1] - y0)
    return total


def block_bounds(edges: Edges) -> tuple[Whole, Floats]:
    """Bounding boxes of runs of :data:`BLOCK` edges of each polygon.

    Returns
    -------
    start
        (n + 1) first block of each polygon.
    boxes
        (blocks, 3) west end, east end and upper end of each block.
    """
    counts = -(-np.diff(edges.start) // BLOCK)
    start = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    owner = np.repeat(np.arange(len(counts)), counts)
    first = edges.start[owner] + (np.arange(start[-1]) - start[owner]) * BLOCK
    if not len(first):
        return start, np.empty((0, 3))
    upper = np.maximum(edges.y1_m, edges.y2_m)
    boxes = np.column_stack(
        [
            np.minimum.reduceat(edges.x1_m, first),
            np.maximum.reduceat(edges.x2_m, first),
            np.maximum.reduceat(upper, first),
        ]
    )
    return start, boxes
