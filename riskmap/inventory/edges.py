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

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
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

    x1_m: FloatArray
    y1_m: FloatArray
    x2_m: FloatArray
    y2_m: FloatArray
    sign: FloatArray
    start: IntArray
    bounds: FloatArray
    area_m2: FloatArray


def polygon_edges(geometries: GeometryArray) -> Edges:
    """Flatten polygons and multipolygons; other shapes, empty ones and None have no edges.

    >>> edges = polygon_edges(np.array([shapely.box(0, 0, 2, 1)]))
    >>> edges.sign.tolist(), edges.y1_m.tolist(), edges.area_m2.tolist()
    ([1.0, -1.0], [1.0, 0.0], [2.0])
    """
    geometries = np.asarray(geometries, dtype=object)
    rings, outer, owner = _rings(geometries)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    joined = ring[1:] == ring[:-1]
    first, last, ring = points[:-1][joined], points[1:][joined], ring[1:][joined]
    sign = _ring_signs(first, last, ring, outer)[ring] * np.sign(first[:, 0] - last[:, 0])
    keep = sign != 0
    first, last, sign, owner = first[keep], last[keep], sign[keep], owner[ring[keep]]
    eastward = (first[:, 0] < last[:, 0])[:, None]
    west, east = np.where(eastward, first, last), np.where(eastward, last, first)
    return Edges(
        x1_m=np.ascontiguousarray(west[:, 0]),
        y1_m=np.ascontiguousarray(west[:, 1]),
        x2_m=np.ascontiguousarray(east[:, 0]),
        y2_m=np.ascontiguousarray(east[:, 1]),
        sign=sign,
        start=np.searchsorted(owner, np.arange(len(geometries) + 1)).astype(np.int64),
        bounds=shapely.bounds(geometries).reshape(-1, 4),
        area_m2=np.nan_to_num(shapely.area(geometries)),
    )


def _rings(geometries: GeometryArray) -> tuple[GeometryArray, NDArray[np.bool_], IntArray]:
    """All rings, whether each is an outer one, and which geometry it belongs to."""
    parts, part_owner = shapely.get_parts(geometries, return_index=True)
    is_polygon = (shapely.get_type_id(parts) == POLYGON) & ~shapely.is_empty(parts)
    parts, part_owner = parts[is_polygon], part_owner[is_polygon]
    rings, part = shapely.get_rings(parts, return_index=True)
    outer = np.ones(len(rings), dtype=bool)
    outer[1:] = part[1:] != part[:-1]
    return rings, outer, part_owner[part].astype(np.int64)


def _ring_signs(
    first: FloatArray, last: FloatArray, ring: IntArray, outer: NDArray[np.bool_]
) -> FloatArray:
    """+1 for rings that run as they should (outer counter-clockwise), -1 for the others."""
    count = len(outer)
    origin = np.zeros((count, 2))
    origin[ring[::-1]] = first[::-1]
    a, b = first - origin[ring], last - origin[ring]
    doubled = np.bincount(ring, a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], minlength=count)
    return np.sign(doubled) * np.where(outer, 1.0, -1.0)


def block_bounds(edges: Edges) -> tuple[IntArray, FloatArray]:
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
