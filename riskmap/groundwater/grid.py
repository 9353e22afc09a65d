"""A regular north-up grid in projected meters, and values read from it between its centers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.arrays import Floats


@dataclass(frozen=True)
class Grid:
    """A raster held in memory: values and the affine that places them.

    Parameters
    ----------
    values
        Array (rows, columns); NaN where unknown. The first row is the northernmost.
    transform
        ``(a, b, c, d, e, f)`` as raster libraries order it: easting = a*column + b*row + c,
        northing = d*column + e*row + f, of the upper left corner of a cell. The cells must be
        square and north-up (b = d = 0, a = -e > 0), in meters.

    Raises
    ------
    ValueError
        If the array is not two-dimensional, or the cells are not square, north-up.
    """

    values: Floats
    transform: tuple[float, float, float, float, float, float]

    def __post_init__(self) -> None:
        a, b, _, d, e, _ = self.transform
        if self.values.ndim != 2:
            raise ValueError("a grid needs a two-dimensional array")
        if b != 0 or d != 0 or a <= 0 or not np.isclose(a, -e, rtol=1e-9):
            raise ValueError("a grid needs square, north-up cells in meters; resample it first")

    @property
    def cell_m(self) -> float:
        """Side of a cell, m."""
        return self.transform[0]

    @property
    def west_m(self) -> float:
        """Easting of the grid's left edge, m."""
        return self.transform[2]

    @property
    def north_m(self) -> float:
        """Northing of the grid's upper edge, m."""
        return self.transform[5]

    def with_values(self, values: ArrayLike) -> Grid:
        """Return a grid of the same place with other values of the same shape."""
        array = np.array(np.broadcast_to(np.asarray(values, dtype=float), self.values.shape))
        return Grid(array, self.transform)

    def centers(self) -> tuple[Floats, Floats]:
        """Easting and northing of every cell center, each (rows, columns), m."""
        rows, columns = self.values.shape
        x_m = self.west_m + (np.arange(columns) + 0.5) * self.cell_m
        y_m = self.north_m - (np.arange(rows) + 0.5) * self.cell_m
        grid_x, grid_y = np.meshgrid(x_m, y_m)
        return grid_x, grid_y

    def cell_of(self, x_m: ArrayLike, y_m: ArrayLike) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Row and column of the cell that holds each point; -1, -1 outside the grid."""
        column = np.floor((np.asarray(x_m, float) - self.west_m) / self.cell_m)
        row = np.floor((self.north_m - np.asarray(y_m, float)) / self.cell_m)
        rows, columns = self.values.shape
        inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
        return (
            np.where(inside, row, -1).astype(np.intp),
            np.where(inside, column, -1).astype(np.intp),
        )

    def nearest(self, x_m: ArrayLike, y_m: ArrayLike) -> Floats:
        """Value of the cell that holds each point; NaN outside."""
        row, column = self.cell_of(x_m, y_m)
        return np.where(row >= 0, self.values[row, column], np.nan)

    def bilinear(self, x_m: ArrayLike, y_m: ArrayLike) -> Floats:
        """Value between the four nearest centers; NaN outside or where one of the four is NaN.

        Within half a cell of the edge the edge value is carried outward.
        """
        rows, columns = self.values.shape
        column = (np.asarray(x_m, float) - self.west_m) / self.cell_m - 0.5
        row = (self.north_m - np.asarray(y_m, float)) / self.cell_m - 0.5
        inside = (column >= -0.5) & (column <= columns - 0.5) & (row >= -0.5) & (row <= rows - 0.5)
        column = np.where(inside, np.clip(column, 0, columns - 1), 0.0)
        row = np.where(inside, np.clip(row, 0, rows - 1), 0.0)
        left = np.minimum(column.astype(np.intp), max(columns - 2, 0))
        top = np.minimum(row.astype(np.intp), max(rows - 2, 0))
        right, below = np.minimum(left + 1, columns - 1), np.minimum(top + 1, rows - 1)
        u, v = column - left, row - top
        upper = self.values[top, left] * (1 - u) + self.values[top, right] * u
        lower = self.values[below, left] * (1 - u) + self.values[below, right] * u
        return np.where(inside, upper * (1 - v) + lower * v, np.nan)


def grid_from_bounds(*, west_m: float, north_m: float, cell_m: float, values: ArrayLike) -> Grid:
    """Build a grid from its upper left corner, m, and its cell side, m."""
    array = np.asarray(values, dtype=float)
    return Grid(array, (cell_m, 0.0, west_m, 0.0, -cell_m, north_m))
