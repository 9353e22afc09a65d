"""Sums over neighbors within a radius, at a cost that grows with the pairs in reach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.compiled import compiled


def bins_of_points(
    x_m: Floats, y_m: Floats, bin_m: float
) -> tuple[Whole, Whole, float, float, int, int]:
    """Sort points into square bins.

    Parameters
    ----------
    x_m, y_m
        Points (n,), m, at least one, no NaN.
    bin_m
        Side of a bin, m, from :func:`bin_width_m`.

    Returns
    -------
    tuple
        ``order`` (points sorted by bin), ``start`` (first place of each bin in ``order``, one
        longer than the number of bins), west and south edge, bins per row, number of rows.
    """
    west, south = float(x_m.min()), float(y_m.min())
    columns = int((x_m.max() - west) // bin_m) + 1
    rows = int((y_m.max() - south) // bin_m) + 1
    index = ((y_m - south) // bin_m).astype(np.int64) * columns
    index += ((x_m - west) // bin_m).astype(np.int64)
    order = np.argsort(index, kind="stable")
    start = np.searchsorted(index[order], np.arange(columns * rows + 1)).astype(np.int64)
    return order, start, west, south, columns, rows


def bin_width_m(x_m: Floats, y_m: Floats, usual_m: float) -> float:
    """Side of the bins to sort points into, m: `usual_m`, or wider.

    Parameters
    ----------
    x_m, y_m
        Points (n,), m, at least one, no NaN.
    usual_m
        Side to use unless it makes more than 4 n + 1024 bins, m.
    """
    area = max(float(np.ptp(x_m)) * float(np.ptp(y_m)), usual_m**2)
    return float(max(usual_m, np.sqrt(area / (4.0 * len(x_m) + 1024.0))))


@compiled
def _bins(at: float, radius: float, edge: float, width: float, count: int) -> tuple[int, int]:
    """First and last of `count` bins along one direction that a radius around a place touches."""
    low = max(int(np.floor((at - radius - edge) / width)), 0)
    return low, min(int(np.floor((at + radius - edge) / width)), count - 1)


@compiled
def _sum_kernel(
    x: Floats,
    y: Floats,
    weights: Floats,
    target_x: Floats,
    target_y: Floats,
    radius: float,
    order: Whole,
    start: Whole,
    west: float,
    south: float,
    columns: int,
    rows: int,
    width: float,
) -> Floats:
    total = np.zeros((len(target_x), weights.shape[1]))
    for target in range(len(target_x)):
        low_column, high_column = _bins(target_x[target], radius, west, width, columns)
        low_row, high_row = _bins(target_y[target], radius, south, width, rows)
        for row in range(low_row, high_row + 1):
            if high_column < low_column:
                continue
            first = start[row * columns + low_column]
            for place in range(first, start[row * columns + high_column + 1]):
                point = order[place]
                east = x[point] - target_x[target]
                north = y[point] - target_y[target]
                if east * east + north * north <= radius * radius:
                    for k in range(weights.shape[1]):
                        total[target, k] += weights[point, k]
    return total


def sum_within(
    x_m: ArrayLike,
    y_m: ArrayLike,
    weights: ArrayLike,
    *,
    target_x_m: ArrayLike,
    target_y_m: ArrayLike,
    radius_m: float,
) -> Floats:
    """Sum one or more weights of the points within ``radius_m`` of each target.

    Parameters
    ----------
    x_m, y_m
        Points (n,), m. Points whose place is NaN are left out.
    weights
        (n,) or (n, k). NaN counts as 0; give a column of ones to see how many counted.
    target_x_m, target_y_m
        Targets (t,), m; NaN gives NaN.
    radius_m
        Reach, m; the edge counts as inside.

    Returns
    -------
    ndarray
        (t,) or (t, k), of the weights' kind.
    """
    x, y = np.asarray(x_m, float), np.asarray(y_m, float)
    given = np.asarray(weights, float)
    table = np.nan_to_num(given.reshape(len(x), given.shape[1] if given.ndim > 1 else 1))
    tx, ty = np.asarray(target_x_m, float), np.asarray(target_y_m, float)
    sums = np.full((len(tx), table.shape[1]), np.nan)
    known, placed = np.isfinite(x) & np.isfinite(y), np.isfinite(tx) & np.isfinite(ty)
    sums[placed] = 0.0
    if known.any() and placed.any():
        x, y, table = x[known], y[known], np.ascontiguousarray(table[known])
        width = bin_width_m(x, y, radius_m)
        binned = bins_of_points(x, y, width)
        sums[placed] = _sum_kernel(
            x, y, table, tx[placed], ty[placed], float(radius_m), *binned, width
        )
    return sums[:, 0] if given.ndim == 1 else sums


@dataclass(frozen=True)
class NeighborList:
    """Neighbors within a radius: those of target ``i`` are ``other[start[i]:start[i + 1]]``.

    ``placed``: targets whose place is known; the others have no neighbors.
    """

    start: Whole
    other: NDArray[np.int32]
    placed: NDArray[np.bool_]

    def sums(self, weights: ArrayLike) -> Floats:
        """Sum a weight (n,) over the neighbors of each target; as :func:`sum_within`."""
        given = np.nan_to_num(np.asarray(weights, float))
        return np.where(self.placed, _list_sums(self.start, self.other, given), np.nan)


@compiled
def _list_sums(start: Whole, other: NDArray[np.int32], weights: Floats) -> Floats:
    total = np.zeros(len(start) - 1)
    for target in range(len(total)):
        held = 0.0
        for place in range(start[target], start[target + 1]):
            held += weights[other[place]]
        total[target] = held
    return total


@compiled
def _list_kernel(
    x: Floats, y: Floats, radius: float, order: Whole, start: Whole, west: float, south: float,
    columns: int, rows: int, width: float, first: Whole, other: NDArray[np.int32],
) -> None:  # fmt: skip
    """Count the neighbors into ``first`` if ``other`` is empty, else write them down."""
    for target in range(len(x)):
        at, count = first[target], 0
        low_column, high_column = _bins(x[target], radius, west, width, columns)
        low_row, high_row = _bins(y[target], radius, south, width, rows)
        for row in range(low_row, high_row + 1):
            begin = start[row * columns + low_column]
            for place in range(begin, start[row * columns + high_column + 1]):
                point = order[place]
                east, north = x[point] - x[target], y[point] - y[target]
                if east * east + north * north <= radius * radius:
                    if len(other) > 0:
                        other[at + count] = point
                    count += 1
        if len(other) == 0:
            first[target + 1] = count


def neighbor_list(x_m: ArrayLike, y_m: ArrayLike, *, radius_m: float) -> NeighborList:
    """List the points within a radius of each point, itself among them.

    Saves time where many weights are summed over the same points; takes 4 bytes a pair.

    Parameters
    ----------
    x_m, y_m
        Points (n,), m; one whose place is NaN has no neighbors and is no neighbor.
    radius_m
        Radius, m; the edge counts as inside.
    """
    x, y = np.asarray(x_m, float), np.asarray(y_m, float)
    placed = np.isfinite(x) & np.isfinite(y)
    known = np.flatnonzero(placed)
    counts, others = np.zeros(len(x) + 1, np.int64), np.empty(0, np.int32)
    if len(known):
        px, py = np.ascontiguousarray(x[known]), np.ascontiguousarray(y[known])
        width = bin_width_m(px, py, radius_m)
        binned = (*bins_of_points(px, py, width), width)
        first = np.zeros(len(known) + 1, np.int64)
        _list_kernel(px, py, float(radius_m), *binned, first, others)
        counts[known + 1] = first[1:]
        first = np.cumsum(first)
        near = np.empty(first[-1], np.int32)
        _list_kernel(px, py, float(radius_m), *binned, first, near)
        others = known.astype(np.int32)[near]
    return NeighborList(np.cumsum(counts), others, placed)
