"""Raster means over polygons with the exact share of every cell, in one pass over the edges.

In cell units the strip below an edge covers, of the cell the edge crosses, the part below it, and
of the cells underneath the whole of the edge's width. Adding both with the edge's sign, and summing
each column of cells from the top down, leaves in every cell the share that the polygon covers.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.compiled import compiled
from riskmap.contract.grid import Grid
from riskmap.spatial.edges import Edges


@compiled
def _add_piece(scratch: Floats, column: int, rows: int, v1: float, v2: float, width: float) -> None:
    """Add the strip below one piece of an edge within one column of cells.

    Heights `v1`, `v2` run downwards from the window's top in cells; `width` carries the sign.
    """
    if v1 > v2:
        v1, v2 = v2, v1
    if v1 < 0.0:  # above the window: the whole column below is covered
        above = width if v2 <= 0.0 else width * (-v1 / (v2 - v1))
        scratch[0, column] += above
        width -= above
        v1 = 0.0
        if v2 <= 0.0:
            return
    span = v2 - v1
    low, row = v1, int(v1)
    while row < rows:
        high = min(v2, row + 1.0)
        share = width * (high - low) / span if span > 0.0 else width
        deep = 0.5 * (low + high) - row
        scratch[row, column] += share * (1.0 - deep)
        scratch[row + 1, column] += share * deep
        if v2 <= row + 1.0:
            return
        low = high
        row += 1


@compiled
def _add_edge(
    scratch: Floats,
    shape: tuple[int, int],
    edge: tuple[float, float, float, float],
    sign: float,
) -> None:
    """Add the strip below one edge, given in window cells, column by column."""
    rows, columns = shape
    u1, v1, u2, v2 = edge
    slope = (v2 - v1) / (u2 - u1)
    left, right = max(u1, 0.0), min(u2, float(columns))
    column = int(left)
    while left < right and column < columns:
        stop = min(right, column + 1.0)
        if stop > left:
            top, bottom = v1 + slope * (left - u1), v1 + slope * (stop - u1)
            _add_piece(scratch, column, rows, top, bottom, sign * (stop - left))
        left = stop
        column += 1


@compiled
def _window_sums(
    scratch: Floats, values: NDArray[np.floating], window: tuple[int, int, int, int]
) -> tuple[float, float]:
    """Sum of value times share, and of share, over known cells; clears the scratch space."""
    row0, column0, rows, columns = window
    weighted, weight = 0.0, 0.0
    for row in range(rows):
        for column in range(columns):
            share = scratch[row, column]
            scratch[row, column] = 0.0
            scratch[row + 1, column] += share
            value = values[row0 + row, column0 + column]
            if value == value:  # not NaN
                weighted += value * share
                weight += share
    scratch[rows, :columns] = 0.0
    return weighted, weight


@compiled
def _coverage_means(
    edges: tuple[Floats, ...],
    start: Whole,
    bounds: Floats,
    values: NDArray[np.floating],
    grid: tuple[float, float, float, float],
) -> tuple[Floats, Floats]:
    x1s, y1s, x2s, y2s, signs = edges
    x_min, y_max, cell_x, cell_y = grid
    total_rows, total_columns = values.shape
    count = len(start) - 1
    mean, weight = np.full(count, np.nan), np.zeros(count)
    scratch = np.zeros((1, 1))
    for k in range(count):
        if not start[k + 1] > start[k]:
            continue
        column0 = int(max(0.0, np.floor((bounds[k, 0] - x_min) / cell_x)))
        row0 = int(max(0.0, np.floor((y_max - bounds[k, 3]) / cell_y)))
        columns = int(min(total_columns, np.ceil((bounds[k, 2] - x_min) / cell_x))) - column0
        rows = int(min(total_rows, np.ceil((y_max - bounds[k, 1]) / cell_y))) - row0
        if rows <= 0 or columns <= 0:
            continue
        if scratch.shape[0] <= rows or scratch.shape[1] < columns:
            scratch = np.zeros((max(rows + 1, scratch.shape[0]), max(columns, scratch.shape[1])))
        x0, y0 = x_min + column0 * cell_x, y_max - row0 * cell_y
        for e in range(start[k], start[k + 1]):
            edge = (
                (x1s[e] - x0) / cell_x,
                (y0 - y1s[e]) / cell_y,
                (x2s[e] - x0) / cell_x,
                (y0 - y2s[e]) / cell_y,
            )
            _add_edge(scratch, (rows, columns), edge, signs[e])
        weighted, weight[k] = _window_sums(scratch, values, (row0, column0, rows, columns))
        if weight[k] > 1e-9:
            mean[k] = weighted / weight[k]
    return mean, weight


def coverage_means(edges: Edges, raster: Grid) -> tuple[Floats, Floats]:
    """Mean of `raster` over each polygon, and the area with known cells in it.

    Returns
    -------
    mean
        (n) mean weighted by the exact share of each cell; NaN where no known cell is touched.
    known_m2
        (n) area of the polygon that lies on known cells.
    """
    mean, weight = _coverage_means(
        (edges.x1_m, edges.y1_m, edges.x2_m, edges.y2_m, edges.sign),
        edges.start,
        edges.bounds,
        raster.values,
        (
            float(raster.west_m),
            float(raster.north_m),
            float(raster.cell_x_m),
            float(raster.cell_y_m),
        ),
    )
    return mean, weight * raster.cell_x_m * raster.cell_y_m
