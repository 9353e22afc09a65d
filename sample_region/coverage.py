"""From a grid of classes to polygons with curved edges that still meet without gap or overlap.

Edges between classes are traced as arcs, each arc is smoothed once and then shared by the polygons
on both its sides.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from sample_region.plan import Ints, Shapes

ROUNDS = 6


def class_polygons(
    classes: NDArray[Any], *, x_min_m: float, y_max_m: float, cell_m: float, simplify_m: float
) -> tuple[Shapes, Ints]:
    """Polygons that tile a grid of classes.

    Parameters
    ----------
    classes
        Whole numbers (rows, columns), the northernmost row first.
    x_min_m, y_max_m
        Upper left corner of the grid, m.
    cell_m
        Side of a cell, m.
    simplify_m
        Tolerance of the simplified edges, m.

    Returns
    -------
    tuple
        Polygons without gap or overlap, and the class of each.

    Examples
    --------
    >>> grid = np.zeros((20, 20), dtype=int)
    >>> grid[5:12, 6:14] = 1
    >>> shapes, kinds = class_polygons(grid, x_min_m=0, y_max_m=200, cell_m=10, simplify_m=1)
    >>> sorted(kinds.tolist()), round(float(shapely.area(shapes).sum()))
    ([0, 1], 40000)
    """
    arcs = _smoothed(_arcs(classes), classes.shape, simplify_m / cell_m)
    noded = shapely.union_all(arcs)
    shapes = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    inside = shapely.point_on_surface(shapes)
    kinds = classes[
        np.clip(shapely.get_y(inside).astype(int), 0, classes.shape[0] - 1),
        np.clip(shapely.get_x(inside).astype(int), 0, classes.shape[1] - 1),
    ]
    ground = shapely.transform(
        shapes,
        lambda xy: np.column_stack([x_min_m + cell_m * xy[:, 0], y_max_m - cell_m * xy[:, 1]]),
    )
    return np.asarray(ground), kinds.astype(np.int64)


def _arcs(classes: NDArray[Any]) -> Shapes:
    """Grid edges between unlike cells and around the grid, merged up to the next junction."""
    framed = np.pad(classes.astype(np.int64), 1, constant_values=-1)
    row, column = np.nonzero(framed[1:-1, :-1] != framed[1:-1, 1:])
    upright = np.stack([column, row, column, row + 1], axis=1)
    row, column = np.nonzero(framed[:-1, 1:-1] != framed[1:, 1:-1])
    level = np.stack([column, row, column + 1, row], axis=1)
    edges = np.concatenate([upright, level]).astype(float).reshape(-1, 2, 2)
    pieces = np.asarray(shapely.linestrings(edges))
    merged = shapely.line_merge(shapely.multilinestrings(pieces))
    return np.asarray(shapely.get_parts(merged))


def _smoothed(arcs: Shapes, shape: tuple[int, ...], simplify: float) -> Shapes:
    """Average each inner point with its neighbors; ends and the map's edge stay."""
    xy, owner = shapely.get_coordinates(arcs, return_index=True)
    inner = np.zeros(len(xy), dtype=bool)
    inner[1:-1] = (owner[1:-1] == owner[:-2]) & (owner[1:-1] == owner[2:])
    edge = (xy[:, 0] == 0) | (xy[:, 1] == 0) | (xy[:, 0] == shape[1]) | (xy[:, 1] == shape[0])
    inner &= ~edge
    inner = np.flatnonzero(inner)
    for _ in range(ROUNDS):
        xy[inner] = (xy[inner - 1] + 2 * xy[inner] + xy[inner + 1]) / 4
    return np.asarray(shapely.simplify(shapely.linestrings(xy, indices=owner), simplify))
