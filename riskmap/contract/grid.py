"""A raster held in memory: values, where they lie, and what is unknown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS


@dataclass(frozen=True)
class Raster:
    """A north-up grid.

    Parameters
    ----------
    values
        (rows, columns) float array; unknown cells are NaN. Row 0 is the northernmost.
    x_min_m, y_max_m
        Outer corner of the north-west cell, in the units of `crs` (meters).
    cell_x_m, cell_y_m
        Cell width and height, both positive.
    crs
        Projected coordinate reference system.
    """

    values: NDArray[np.floating]
    x_min_m: float
    y_max_m: float
    cell_x_m: float
    cell_y_m: float
    crs: CRS

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north edges."""
        rows, columns = self.values.shape
        return (
            self.x_min_m,
            self.y_max_m - rows * self.cell_y_m,
            self.x_min_m + columns * self.cell_x_m,
            self.y_max_m,
        )

    def sample(self, x_m: NDArray[np.floating], y_m: NDArray[np.floating]) -> NDArray[np.float64]:
        """Values of the cells that points fall in; NaN outside.

        >>> grid = Raster(np.array([[1.0, 2.0]]), 0, 10, 10, 10, CRS.from_epsg(32616))
        >>> grid.sample(np.array([5.0, 15.0, 25.0]), np.array([5.0, 5.0, 5.0])).tolist()
        [1.0, 2.0, nan]
        """
        column = np.floor((np.asarray(x_m) - self.x_min_m) / self.cell_x_m)
        row = np.floor((self.y_max_m - np.asarray(y_m)) / self.cell_y_m)
        rows, columns = self.values.shape
        inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
        result = np.full(column.shape, np.nan)
        result[inside] = self.values[row[inside].astype(int), column[inside].astype(int)]
        return result
