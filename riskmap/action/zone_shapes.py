"""From cells with reasons to shapes a plan can print: whole, apart from each other, not thin.

The land is cut into cells, each belonging to one kind or none; shapes are traced along the cells'
common sides and smoothed together, so that neighbors keep one common border and cannot overlap.
Smoothing: Visvalingam and Whyatt (1993, Cartogr. J. 30:46-51) on the whole coverage, by GEOS.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from riskmap.contract.arrays import Flags, Floats, Whole
from riskmap.contract.grid import Grid

Shapes = NDArray[np.object_]


@dataclass(frozen=True)
class Pieces:
    """Connected pieces of one kind each.

    ``cells``: number of the piece per cell, 0 outside. ``kind``: kind of piece ``i + 1``, as a
    position in the order of priority. ``left_out``: cells of pieces too small for a zone of their
    own.
    """

    cells: Whole
    kind: Whole
    left_out: int


def close_gaps(cells: Flags, *, reach_cells: float) -> Flags:
    """Fill gaps up to twice the reach (in cells) between cells and within them.

    No cell is lost: every cell that was in stays in.
    """
    if not cells.any() or reach_cells <= 0:
        return cells.copy()
    pad = int(np.ceil(reach_cells)) + 1
    wide = np.pad(cells, pad)
    grown = ndimage.distance_transform_edt(~wide) <= reach_cells
    shrunk = ndimage.distance_transform_edt(grown) > reach_cells
    inner = shrunk[pad:-pad, pad:-pad]
    return np.asarray(inner | cells, bool)


def settle(reasons: Mapping[str, Flags]) -> Whole:
    """Give each cell to the first kind that claims it: 1, 2, ... in the mapping's order, 0 none."""
    flags = np.stack(list(reasons.values()))
    first = flags.argmax(axis=0) + 1
    return np.where(flags.any(axis=0), first, 0).astype(np.int64)


def _connected(labels: Whole) -> tuple[Whole, Whole]:
    pieces, kinds, count = np.zeros(labels.shape, np.int64), [np.empty(0, np.int64)], 0
    for kind in range(1, int(labels.max(initial=0)) + 1):
        own, found = ndimage.label(labels == kind)
        pieces = np.where(own > 0, own + count, pieces)
        kinds.append(np.full(found, kind, np.int64))
        count += found
    return pieces, np.concatenate(kinds)


def _sides(pieces: Whole) -> tuple[Whole, Whole]:
    """Pairs of pieces on both sides of each cell side, the edge of the grid counting as 0."""
    wide = np.pad(pieces, 1)
    first = np.concatenate([wide[:, :-1].ravel(), wide[:-1].ravel()])
    second = np.concatenate([wide[:, 1:].ravel(), wide[1:].ravel()])
    border = first != second
    return first[border], second[border]


def _measure(pieces: Whole, count: int, cell_m: float) -> tuple[Floats, Floats]:
    """Area (m2) and mean width 2 A / P (m) of pieces 1..count."""
    first, second = _sides(pieces)
    around = np.bincount(first, minlength=count + 1) + np.bincount(second, minlength=count + 1)
    cells = np.bincount(pieces.ravel(), minlength=count + 1)[1:]
    area = np.asarray(cells * cell_m**2, float)
    return area, np.asarray(2 * area / np.maximum(around[1:] * cell_m, 1e-9), float)


def _longest_neighbor(pieces: Whole, count: int) -> Whole:
    """Piece with which each piece shares most sides (ties: the lower number); 0 without one."""
    first, second = _sides(pieces)
    both = np.concatenate([first, second]), np.concatenate([second, first])
    keep = (both[0] > 0) & (both[1] > 0)
    pairs, sides = np.unique(both[0][keep] * (count + 1) + both[1][keep], return_counts=True)
    own, other = pairs // (count + 1), pairs % (count + 1)
    order = np.lexsort((-other, sides, own))
    best = np.zeros(count + 1, np.int64)
    best[own[order]] = other[order]
    return best[1:]


def pieces_of(
    labels: Whole,
    *,
    cell_m: float,
    least_area_m2: float,
    least_width_m: float,
    weight: ArrayLike = 1.0,
    least_weight: float = 0.0,
) -> Pieces:
    """Find connected pieces; small, thin and light ones join the neighbor they touch most.

    Parameters
    ----------
    labels
        Kind of each cell, 0 for none.
    cell_m, least_area_m2, least_width_m
        Side of a cell; the least area and mean width (:func:`mean_width_m`) of a piece.
    weight, least_weight
        Something counted per cell, such as systems, and the least sum a piece must hold.

    Returns
    -------
    Pieces
        A poor piece without a neighbor is left out and counted.
    """
    held = np.broadcast_to(np.asarray(weight, float), labels.shape).ravel()
    labels, left_out = labels.copy(), 0
    while True:  # every round leaves fewer pieces
        pieces, kind = _connected(labels)
        area, width = _measure(pieces, len(kind), cell_m)
        sums = np.bincount(pieces.ravel(), held, minlength=len(kind) + 1)[1:]
        poor = (area < least_area_m2) | (width < least_width_m) | (sums < least_weight)
        if not poor.any():
            break
        target = _longest_neighbor(pieces, len(kind))
        # Of two poor pieces that touch, only the smaller moves, so that no two change places.
        rank = np.argsort(np.lexsort((np.arange(len(kind)), area)))
        yields = poor & ((target == 0) | (rank < rank[target - 1]) | ~poor[target - 1])
        new_kind = np.where(yields, np.where(target > 0, kind[target - 1], 0), kind)
        left_out += int((area[yields & (target == 0)] / cell_m**2).sum())
        labels = np.concatenate([[0], new_kind])[pieces]
    return Pieces(pieces, kind, left_out)


def _runs(edges: Flags, breaks: Flags) -> tuple[Whole, Whole, Whole]:
    """Straight runs of unit edges along rows: row, first node, last node.

    ``edges[i, j]`` joins node j to j + 1 of row i; a run is cut at nodes where ``breaks``.
    """
    before = np.pad(edges, ((0, 0), (1, 0)))[:, :-1] & ~breaks[:, :-1]
    after = np.pad(edges, ((0, 0), (0, 1)))[:, 1:] & ~breaks[:, 1:]
    row, start = np.nonzero(edges & ~before)
    _, last = np.nonzero(edges & ~after)
    return row, start, last + 1


def _border_lines(pieces: Whole) -> Shapes:
    """Every border between pieces once, in cell units (column, row), cut where borders meet."""
    wide = np.pad(pieces, 1)
    level = (wide[:-1] != wide[1:])[:, 1:-1]
    upright = (wide[:, :-1] != wide[:, 1:])[1:-1]
    meets_upright = np.pad(upright, ((1, 0), (0, 0))) | np.pad(upright, ((0, 1), (0, 0)))
    meets_level = np.pad(level, ((0, 0), (1, 0))) | np.pad(level, ((0, 0), (0, 1)))
    row, start, end = _runs(level, meets_upright)
    column, top, bottom = _runs(upright.T, meets_level.T)
    ends = np.concatenate(
        [
            np.stack([np.stack([start, row], -1), np.stack([end, row], -1)], 1),
            np.stack([np.stack([column, top], -1), np.stack([column, bottom], -1)], 1),
        ]
    )
    return np.asarray(shapely.linestrings(ends.astype(float)), object)


def trace(pieces: Pieces, grid: Grid) -> Shapes:
    """Polygons (one per piece, in order) along the sides of the cells: a valid coverage."""
    count = len(pieces.kind)
    shapes = np.full(count, None, object)
    if not count:
        return shapes
    faces = shapely.get_parts(shapely.polygonize(_border_lines(pieces.cells)))
    inside = shapely.get_coordinates(shapely.point_on_surface(faces))
    owner = pieces.cells[np.floor(inside[:, 1]).astype(int), np.floor(inside[:, 0]).astype(int)]
    size = np.array([grid.cell_m, -grid.cell_m])
    corner = np.array([grid.west_m, grid.north_m])
    placed = shapely.transform(faces, lambda xy: xy * size + corner)
    shapes[owner[owner > 0] - 1] = placed[owner > 0]
    return shapes


def smooth(shapes: Shapes, *, tolerance_m: float) -> Shapes:
    """Smooth the steps of the cells' edges in all shapes together; common borders stay common.

    Corners go whose triangle with their neighbors is smaller than the tolerance squared.
    """
    if not len(shapes):
        return shapes
    smoothed = shapely.coverage_simplify(shapes, tolerance_m, simplify_boundary=True)
    return np.asarray(shapely.normalize(smoothed), object)


def mean_width_m(shapes: ArrayLike) -> Floats:
    """Thinness of shapes: 2 x area / perimeter, m.

    Half the side of a square, the radius of a circle; for a long strip its own width.
    """
    array = np.asarray(shapes, object)
    around = shapely.length(array)
    return np.asarray(2 * shapely.area(array) / np.where(around > 0, around, np.nan), float)


def holders(shapes: Shapes, x_m: ArrayLike, y_m: ArrayLike) -> Whole:
    """Shape that holds each place.

    Parameters
    ----------
    shapes
        Polygons (s,).
    x_m, y_m
        Places (n,), projected m.

    Returns
    -------
    ndarray
        (n,), positions in `shapes`, the first on a common border; -1 where none holds the place or
        the place is NaN.
    """
    x, y = np.asarray(x_m, float), np.asarray(y_m, float)
    found = np.full(len(x), -1, np.int64)
    placed = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if not len(shapes) or not len(placed):
        return found
    points = np.atleast_1d(np.asarray(shapely.points(x[placed], y[placed]), object))
    shape, point = shapely.STRtree(points).query(shapes, predicate="intersects")
    order = np.lexsort((-shape, point))
    found[placed[point[order]]] = shape[order]
    return found
