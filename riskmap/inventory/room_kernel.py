"""The largest rectangle of given direction and proportions inside each of many shapes.

Turned so that the contour runs along u, and squeezed along u by the field's proportion, the
rectangle becomes a square, and half its side the Chebyshev distance (the larger of the two
coordinate differences) from its middle to the nearest edge. The largest square is found by
best-first search over a tree of cells: no square with its middle in a cell of half-side h can
exceed the cell's own by more than h, so cells that cannot beat the best are dropped, and what is
left bounds the error.
"""

from __future__ import annotations

from heapq import heapify, heappop, heappush

import numpy as np

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.compiled import compiled

RELATIVE_ERROR = 0.005
ABSOLUTE_ERROR_M = 0.02
"""The half-width found falls short of the largest by at most the greater of these."""

MOST_CELLS = 40_000


@compiled
def _clearance(u: float, v: float, ends: Floats, first: int, last: int) -> float:
    """Chebyshev distance to the nearest edge, negative outside (even-odd rule)."""
    inside = False
    nearest = np.inf
    for e in range(first, last):
        u1, v1, u2, v2 = ends[e, 0] - u, ends[e, 1] - v, ends[e, 2] - u, ends[e, 3] - v
        if (v1 > 0.0) != (v2 > 0.0) and u1 - v1 * (u2 - u1) / (v2 - v1) > 0.0:
            inside = not inside
        if min(u1, u2) >= nearest or max(u1, u2) <= -nearest:
            continue
        if min(v1, v2) >= nearest or max(v1, v2) <= -nearest:
            continue
        nearest = min(nearest, max(abs(u1), abs(v1)), max(abs(u2), abs(v2)))
        across = (u2 - u1) - (v2 - v1)
        if across != 0.0:
            t = (v1 - u1) / across
            if 0.0 < t < 1.0:
                nearest = min(nearest, abs(u1 + t * (u2 - u1)))
        along = (u2 - u1) + (v2 - v1)
        if along != 0.0:
            t = -(u1 + v1) / along
            if 0.0 < t < 1.0:
                nearest = min(nearest, abs(u1 + t * (u2 - u1)))
    return nearest if inside else -nearest


@compiled
def _largest_square(ends: Floats, first: int, last: int) -> tuple[float, float, float]:
    """Middle and half-side of the largest square; half-side 0 where there is none."""
    u_low = min(ends[first:last, 0].min(), ends[first:last, 2].min())
    v_low = min(ends[first:last, 1].min(), ends[first:last, 3].min())
    u_high = max(ends[first:last, 0].max(), ends[first:last, 2].max())
    v_high = max(ends[first:last, 1].max(), ends[first:last, 3].max())
    half = 0.5 * min(u_high - u_low, v_high - v_low)
    best, best_u, best_v = 0.0, u_low, v_low
    if half <= ABSOLUTE_ERROR_M:
        return best_u, best_v, best
    across, up = (
        int(np.ceil((u_high - u_low) / (2 * half))),
        int(np.ceil((v_high - v_low) / (2 * half))),
    )
    heap = [(0.0, 0.0, 0.0, 0.0)]
    for m in range(across):
        for n in range(up):
            u, v = u_low + (2 * m + 1) * half, v_low + (2 * n + 1) * half
            own = _clearance(u, v, ends, first, last)
            heap.append((-own - half, u, v, half))
            if own > best:
                best, best_u, best_v = own, u, v
    heapify(heap)
    seen = 0
    while len(heap) > 1 and seen < MOST_CELLS:
        bound, u, v, half = heappop(heap)
        if -bound <= best + max(RELATIVE_ERROR * best, ABSOLUTE_ERROR_M):
            break
        quarter = 0.5 * half
        for corner in range(4):
            cu = u + quarter * (1.0 if corner & 1 else -1.0)
            cv = v + quarter * (1.0 if corner & 2 else -1.0)
            own = _clearance(cu, cv, ends, first, last)
            seen += 1
            if own > best:
                best, best_u, best_v = own, cu, cv
            if own + quarter > best + ABSOLUTE_ERROR_M:
                heappush(heap, (-own - quarter, cu, cv, quarter))
    return best_u, best_v, best


@compiled
def largest_squares(ends: Floats, start: Whole) -> Floats:
    """Largest axis-parallel square inside each of n shapes.

    Parameters
    ----------
    ends
        (edges, 4) both ends of every edge of every ring: u1, v1, u2, v2.
    start
        (n + 1) first edge of each shape.

    Returns
    -------
    (n, 3) u and v of the middle, and half the side; half 0 where nothing fits.
    """
    result = np.zeros((len(start) - 1, 3))
    for k in range(len(start) - 1):
        if start[k + 1] > start[k]:
            u, v, half = _largest_square(ends, start[k], start[k + 1])
            result[k, 0], result[k, 1], result[k, 2] = u, v, half
    return result
