"""Which receptors lie within reach of which path: a sparse list of pairs.

Receptors are sorted into bins once; each path then looks only into the bins its own reach covers,
so that the cost grows with the pairs in reach, not with the product of paths and receptors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.compiled import compiled
from riskmap.groundwater.paths import Paths
from riskmap.spatial.neighbors import bin_width_m, bins_of_points


@dataclass(frozen=True)
class PathPairs:
    """Pairs of a path and a receptor near it, each (p,), sorted by path, then receptor.

    ``point`` is the path's point before the receptor's foot on the path and ``share`` the part of
    the way to the next point; ``offset_m`` the distance from the path, positive to its left.
    """

    path: Whole
    receptor: Whole
    point: Whole
    share: Floats
    offset_m: Floats

    def along(self, values: Floats) -> Floats:
        """Value of a per-point array at the receptor's foot."""
        return values[self.point] * (1 - self.share) + values[self.point + 1] * self.share


@compiled
def _bins_over(
    ends: tuple[float, float, float, float], radius: float,
    place: tuple[float, float, float], shape: tuple[int, int],
) -> tuple[int, int, int, int]:  # fmt: skip
    """Lowest and highest row, lowest and highest column of the bins a segment's reach covers."""
    ax, ay, bx, by = ends
    west, south, width = place
    return (
        max(int(np.floor((min(ay, by) - radius - south) / width)), 0),
        min(int(np.floor((max(ay, by) + radius - south) / width)), shape[0] - 1),
        max(int(np.floor((min(ax, bx) - radius - west) / width)), 0),
        min(int(np.floor((max(ax, bx) + radius - west) / width)), shape[1] - 1),
    )


@compiled
def _share(ends: tuple[float, float, float, float], x: float, y: float) -> float:
    """Place of a point's foot on a segment's line: 0 at its start, 1 at its end."""
    along_x, along_y = ends[2] - ends[0], ends[3] - ends[1]
    length2 = along_x**2 + along_y**2
    if length2 == 0:
        return np.nan
    return ((x - ends[0]) * along_x + (y - ends[1]) * along_y) / length2


@compiled
def _foot(
    before: tuple[float, float, float, float], ends: tuple[float, float, float, float],
    x: float, y: float,
) -> tuple[float, float]:  # fmt: skip
    """Part of the way to the foot on a segment, and the signed offset; NaN if there is none.

    At a bend the joint is the foot of what lies beyond the segment before and behind this one. The
    first segment has itself before it, so that what lies behind the start has no foot.
    """
    share = _share(ends, x, y)
    if np.isnan(share) or share > 1 or (share <= 0 and not _share(before, x, y) >= 1):
        return np.nan, np.nan
    share = max(share, 0.0)
    along_x, along_y = ends[2] - ends[0], ends[3] - ends[1]
    east, north = x - ends[0], y - ends[1]
    gap = np.hypot(east - share * along_x, north - share * along_y)
    return share, gap if along_x * north - along_y * east >= 0 else -gap


@compiled
def _search_segment(
    point: int, before: tuple[float, float, float, float],
    ends: tuple[float, float, float, float], radius: float,
    well_x: Floats, well_y: Floats, order: Whole, first: Whole,
    place: tuple[float, float, float], shape: tuple[int, int],
    found: Floats, touched: Whole, seen: int,
) -> int:  # fmt: skip
    """Update the nearest foot of the receptors near one segment; give how many were ever near."""
    low_row, high_row, low_column, high_column = _bins_over(ends, radius, place, shape)
    if high_column < low_column:
        return seen
    for row in range(low_row, high_row + 1):
        begin = first[row * shape[1] + low_column]
        for position in range(begin, first[row * shape[1] + high_column + 1]):
            well = order[position]
            share, offset = _foot(before, ends, well_x[well], well_y[well])
            if np.isnan(share) or abs(offset) > radius or abs(offset) >= abs(found[well, 2]):
                continue
            if found[well, 2] == np.inf:
                touched[seen] = well
                seen += 1
            found[well] = (float(point), share, offset)
    return seen


@compiled
def _find(
    start: Whole, x: Floats, y: Floats, reach: Floats, well_x: Floats, well_y: Floats,
    order: Whole, first: Whole, place: tuple[float, float, float], shape: tuple[int, int],
) -> Floats:  # fmt: skip
    found = np.full((len(well_x), 3), np.inf)
    touched = np.empty(len(well_x), np.int64)
    pairs = np.empty((1024, 5))
    used = 0
    for path in range(len(start) - 1):
        seen = 0
        before = (0.0, 0.0, 0.0, 0.0)
        for point in range(start[path], start[path + 1] - 1):
            radius = max(reach[point], reach[point + 1])
            ends = (x[point], y[point], x[point + 1], y[point + 1])
            if point == start[path]:
                before = ends
            if radius > 0:
                seen = _search_segment(
                    point, before, ends, radius,
                    well_x, well_y, order, first, place, shape, found, touched, seen,
                )  # fmt: skip
            before = ends
        if used + seen > len(pairs):
            larger = np.empty((2 * (used + seen), 5))
            larger[:used] = pairs[:used]
            pairs = larger
        for well in np.sort(touched[:seen]):
            pairs[used, 0] = path
            pairs[used, 1] = well
            pairs[used, 2:] = found[well]
            used += 1
            found[well] = np.inf
    return pairs[:used].copy()


def pairs_in_reach(
    paths: Paths, reach_m: ArrayLike, *, x_m: ArrayLike, y_m: ArrayLike
) -> PathPairs:
    """Find the receptors on both sides of each path, not behind its start or beyond its end.

    Parameters
    ----------
    paths
        From :func:`riskmap.groundwater.paths.trace_paths`.
    reach_m
        How far to look to both sides at each point of the paths (points,), m; NaN or 0: nowhere.
    x_m, y_m
        Receptors (w,), m; those whose place is NaN are never found.
    """
    x, y = np.asarray(x_m, float), np.asarray(y_m, float)
    known = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    reach = np.nan_to_num(np.asarray(reach_m, float))
    table = np.empty((0, 5))
    if len(known) and len(paths) and reach.max(initial=0.0) > 0:
        px, py = np.ascontiguousarray(x[known]), np.ascontiguousarray(y[known])
        width = bin_width_m(px, py, max(float(np.median(reach[reach > 0])), 1.0))
        order, first, west, south, columns, rows = bins_of_points(px, py, width)
        table = _find(
            paths.start, paths.x_m, paths.y_m, reach, px, py,
            order, first, (west, south, width), (rows, columns),
        )  # fmt: skip
    path, well, point = table[:, :3].T.astype(np.int64)
    return PathPairs(path, known[well], point, table[:, 3], table[:, 4])


def search_margin_m(width_m: ArrayLike) -> tuple[Whole, Floats]:
    """Class of each receptor by its width of draw, and how much further it is looked for, m.

    A class spans a factor of 8; its margin is half the greatest width in it.
    """
    width = np.asarray(width_m, float)
    classes = np.floor(np.log(np.maximum(width, 1.0)) / np.log(8.0)).astype(np.int64)
    greatest = np.zeros(int(classes.max(initial=0)) + 1)
    np.maximum.at(greatest, classes, width)
    return classes, np.asarray(0.5 * greatest[classes], float)


def pairs_by_width(
    paths: Paths, reach_m: Floats, *, x_m: Floats, y_m: Floats, width_m: Floats
) -> list[PathPairs]:
    """Pairs in reach; receptors that draw widely are searched separately, to keep the rest fast.

    Parameters
    ----------
    paths, reach_m, x_m, y_m
        See :func:`pairs_in_reach`.
    width_m
        Width across the flow from which each receptor draws (w,), m.
    """
    classes, margin = search_margin_m(width_m)
    found = []
    for name in np.unique(classes):
        chosen = np.flatnonzero(classes == name)
        pairs = pairs_in_reach(paths, reach_m + margin[chosen[0]], x_m=x_m[chosen], y_m=y_m[chosen])
        found.append(
            PathPairs(
                pairs.path, chosen[pairs.receptor].astype(np.int64), pairs.point, pairs.share,
                pairs.offset_m,
            )
        )  # fmt: skip
    return found
