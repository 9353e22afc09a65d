"""Area common to pairs of polygons, exactly, without building the clipped polygon.

With both polygons as signed strips above a base line (see :mod:`riskmap.spatial.edges`) the
common area is a double sum over the edges of both: for edges e and f that overlap in easting over
[l, r], the strips below both have the area of the integral of min(y_e, y_f) over [l, r], which is
one or two trapezia. No polygon is assembled, so nothing can fail on a touching vertex.
"""

from __future__ import annotations

import numpy as np

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.compiled import compiled
from riskmap.spatial.edges import BLOCK, Edges, block_bounds


@compiled
def _below_both(p1: float, p2: float, q1: float, q2: float, width: float) -> float:
    """Area below two straight lines over `width`, given their heights at both ends."""
    d1, d2 = p1 - q1, p2 - q2
    if d1 <= 0.0 and d2 <= 0.0:
        return 0.5 * (p1 + p2) * width
    if d1 >= 0.0 and d2 >= 0.0:
        return 0.5 * (q1 + q2) * width
    t = d1 / (d1 - d2)
    crossing = p1 + t * (p2 - p1)
    left, right = t * width, (1.0 - t) * width
    if d1 < 0.0:
        return 0.5 * ((p1 + crossing) * left + (crossing + q2) * right)
    return 0.5 * ((q1 + crossing) * left + (crossing + p2) * right)


@compiled
def _edge_against_polygon(
    edges: tuple[Floats, ...],
    first: int,
    last: int,
    x0: float,
    y0: float,
    strip: tuple[float, float, float, float],
) -> float:
    """Area below one edge (``strip``: west, east, height there and there) inside a polygon."""
    x1s, y1s, x2s, y2s, signs = edges
    west, east, low, high = strip
    rise = (high - low) / (east - west)
    total = 0.0
    for e in range(first, last):
        e1, e2 = x1s[e] - x0, x2s[e] - x0
        left, right = max(e1, west), min(e2, east)
        if right <= left:
            continue
        p, slope = y1s[e] - y0, (y2s[e] - y1s[e]) / (e2 - e1)
        total += signs[e] * _below_both(
            p + slope * (left - e1),
            p + slope * (right - e1),
            low + rise * (left - west),
            low + rise * (right - west),
            right - left,
        )
    return total


@compiled
def _above_base(
    x1: float, y1: float, x2: float, y2: float, width: float
) -> tuple[float, float, float, float]:
    """Part of an edge within [0, width] and above 0; west equals east where there is none."""
    rise = (y2 - y1) / (x2 - x1)
    west, east = max(x1, 0.0), min(x2, width)
    low, high = y1 + rise * (west - x1), y1 + rise * (east - x1)
    if low <= 0.0 and high <= 0.0:
        return 0.0, 0.0, 0.0, 0.0
    if low < 0.0:
        west += (east - west) * low / (low - high)
        low = 0.0
    elif high < 0.0:
        east -= (east - west) * high / (high - low)
        high = 0.0
    return west, east, low, high


@compiled
def _pair_areas(
    i: Whole,
    j: Whole,
    a_edges: tuple[Floats, ...],
    a_start: Whole,
    a_bounds: Floats,
    b_edges: tuple[Floats, ...],
    b_start: Whole,
    b_blocks: Whole,
    b_boxes: Floats,
) -> Floats:
    x1s, y1s, x2s, y2s, signs = b_edges
    result = np.zeros(len(i))
    for pair in range(len(i)):
        a, b = i[pair], j[pair]
        x0, y0, xe = a_bounds[a, 0], a_bounds[a, 1], a_bounds[a, 2]
        for block in range(b_blocks[b], b_blocks[b + 1]):
            if b_boxes[block, 0] >= xe or b_boxes[block, 1] <= x0 or b_boxes[block, 2] <= y0:
                continue
            first = b_start[b] + (block - b_blocks[b]) * BLOCK
            for f in range(first, min(first + BLOCK, b_start[b + 1])):
                if x1s[f] >= xe or x2s[f] <= x0 or (y1s[f] <= y0 and y2s[f] <= y0):
                    continue
                strip = _above_base(x1s[f] - x0, y1s[f] - y0, x2s[f] - x0, y2s[f] - y0, xe - x0)
                if strip[1] > strip[0]:
                    result[pair] += signs[f] * _edge_against_polygon(
                        a_edges, a_start[a], a_start[a + 1], x0, y0, strip
                    )
    return result


def pair_areas(i: Whole, j: Whole, a: Edges, b: Edges) -> Floats:
    """Area common to polygon ``i[k]`` of `a` and polygon ``j[k]`` of `b`, for every k.

    Error: rounding only, some 1e-15 of the area of polygon i's bounding box per edge of j near it.

    Parameters
    ----------
    i, j
        Positions of the polygons of each pair, both (k,).
    a, b
        Edges of the two sets of polygons.

    Returns
    -------
    ndarray
        (k,), m2.
    """
    blocks, boxes = block_bounds(b)
    return _pair_areas(
        np.ascontiguousarray(i, dtype=np.int64),
        np.ascontiguousarray(j, dtype=np.int64),
        (a.x1_m, a.y1_m, a.x2_m, a.y2_m, a.sign),
        a.start,
        a.bounds,
        (b.x1_m, b.y1_m, b.x2_m, b.y2_m, b.sign),
        b.start,
        blocks,
        boxes,
    )
