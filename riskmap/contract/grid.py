"""A raster held in memory: values on a north-up grid, where they lie, and what is unknown."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS

from riskmap.contract.arrays import Floats


@dataclass(frozen=True)
class Grid:
    """Values on a north-up grid in projected meters.

    Parameters
    ----------
    values
        Array (rows, columns); unknown cells are NaN. Row 0 is the northernmost.
    west_m, north_m
        Outer corner of the north-west cell.
    cell_x_m, cell_y_m
        Width and height of a cell, both positive.
    crs
        Projected coordinate reference system, where it matters.

    Raises
    ------
    ValueError
        If the array is not two-dimensional or a cell has no size.
    """

    values: NDArray[Any]
    west_m: float
    north_m: float
    cell_x_m: float
    cell_y_m: float
    crs: CRS | None = None

    def __post_init__(self) -> None:
        if self.values.ndim != 2:
            raise ValueError("a grid needs a two-dimensional array")
        if not (self.cell_x_m > 0 and self.cell_y_m > 0):
            raise ValueError("the cells of a grid need a positive width and height")

    @property
    def cell_m(self) -> float:
        """Side of a cell, m.

        Raises
        ------
        ValueError
            If the cells are not square.
        """
        if not np.isclose(self.cell_x_m, self.cell_y_m, rtol=1e-9):
            raise ValueError("square cells are needed here; resample the grid first")
        return self.cell_x_m

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north edges."""
        rows, columns = self.values.shape
        return (
            self.west_m,
            self.north_m - rows * self.cell_y_m,
            self.west_m + columns * self.cell_x_m,
            self.north_m,
        )

    @property
    def transform(self) -> tuple[float, float, float, float, float, float]:
        """Affine ``(a, b, c, d, e, f)`` as raster libraries order it.

        Easting = a*column + b*row + c, northing = d*column + e*row + f, of the upper left corner of
        a cell.
        """
        return (self.cell_x_m, 0.0, self.west_m, 0.0, -self.cell_y_m, self.north_m)

    def part(self, rows: slice, columns: slice) -> Grid:
        """Return some of the cells, by plain slices.

        >>> grid = Grid(np.zeros((4, 4)), 0.0, 40.0, 10.0, 10.0)
        >>> grid.part(slice(1, 3), slice(2, 4)).bounds
        (20.0, 10.0, 40.0, 30.0)
        """
        return replace(
            self,
            values=self.values[rows, columns],
            west_m=self.west_m + (columns.start or 0) * self.cell_x_m,
            north_m=self.north_m - (rows.start or 0) * self.cell_y_m,
        )

    def with_values(self, values: ArrayLike) -> Grid:
        """Return a grid of the same place with other values of the same shape."""
        array = np.array(np.broadcast_to(np.asarray(values, dtype=float), self.values.shape))
        return replace(self, values=array)

    def centers(self) -> tuple[Floats, Floats]:
        """Easting and northing of every cell center, each (rows, columns), m."""
        rows, columns = self.values.shape
        x_m = self.west_m + (np.arange(columns) + 0.5) * self.cell_x_m
        y_m = self.north_m - (np.arange(rows) + 0.5) * self.cell_y_m
        grid_x, grid_y = np.meshgrid(x_m, y_m)
        return grid_x, grid_y

    def cell_of(self, x_m: ArrayLike, y_m: ArrayLike) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Row and column of the cell that holds each point; -1, -1 outside the grid."""
        column = np.floor((np.asarray(x_m, float) - self.west_m) / self.cell_x_m)
        row = np.floor((self.north_m - np.asarray(y_m, float)) / self.cell_y_m)
        rows, columns = self.values.shape
        inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
        return (
            np.where(inside, row, -1).astype(np.intp),
            np.where(inside, column, -1).astype(np.intp),
        )

    def sample(self, x_m: ArrayLike, y_m: ArrayLike) -> Floats:
        """Value of the cell that holds each point; NaN outside.

        >>> grid = Grid(np.array([[1.0, 2.0]]), 0, 10, 10, 10)
        >>> grid.sample([5.0, 15.0, 25.0], [5.0, 5.0, 5.0]).tolist()
        [1.0, 2.0, nan]
        """
        row, column = self.cell_of(x_m, y_m)
        return np.where(row >= 0, self.values[row, column].astype(float), np.nan)

    def bilinear(self, x_m: ArrayLike, y_m: ArrayLike) -> Floats:
        """Value between the four nearest centers; NaN outside or where one of the four is NaN.

        Within half a cell of the edge the edge value is carried outward.
        """
        rows, columns = self.values.shape
        column = (np.asarray(x_m, float) - self.west_m) / self.cell_x_m - 0.5
        row = (self.north_m - np.asarray(y_m, float)) / self.cell_y_m - 0.5
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
    """Build a grid of square cells.

    Parameters
    ----------
    west_m, north_m
        Upper left corner, projected m.
    cell_m
        Side of a cell, m.
    values
        (rows, columns), the northernmost row first; NaN where unknown.
    """
    return Grid(np.asarray(values, dtype=float), west_m, north_m, cell_m, cell_m)
