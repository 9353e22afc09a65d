"""The surface of the ground water: how deep it lies, and where water moves along it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import ndimage

from sample_region.plan import Floats
from sample_region.terrain import COARSE_M, Terrain

SMOOTHED_M: Final = 60.0
"""Ground water evens its surface out over such a distance (standard deviation)."""


def water_depth_m(terrain: Terrain, x: Floats, y: Floats) -> Floats:
    """Depth to ground water in an ordinary year: a subdued copy of the land above its streams.

    Parameters
    ----------
    terrain
        Height above the stream, and how sandy the ground is.
    x, y
        Points, local m.
    """
    height = terrain.sample(terrain.above_stream_m, x, y).astype(float)
    coarse = terrain.sample(terrain.sandy, x, y)
    share = np.clip(0.5 + 0.08 * coarse, 0.3, 0.8)
    return np.asarray(0.5 + share * height**0.85, dtype=np.float64)


@dataclass(frozen=True)
class WaterTable:
    """Height of the water table and its rise to the east and north, on the coarse grid."""

    terrain: Terrain
    height_m: Floats
    rise_x: Floats
    rise_y: Floats

    def gradient(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Rise to the east and to the north at points (m/m), between cells by straight lines."""
        return self._between(self.rise_x, x, y), self._between(self.rise_y, x, y)

    def height(self, x: Floats, y: Floats) -> Floats:
        """Height of the water table at points (m)."""
        return self._between(self.height_m, x, y)

    def _between(self, grid: Floats, x: Floats, y: Floats) -> Floats:
        row = (self.terrain.y_max_m - y) / COARSE_M - 0.5
        column = (x - self.terrain.x_min_m) / COARSE_M - 0.5
        return np.asarray(
            ndimage.map_coordinates(grid, [row, column], order=1, mode="nearest"), dtype=np.float64
        )


def make_water_table(terrain: Terrain) -> WaterTable:
    """Lay the water table under the land."""
    shape = terrain.elevation_m.shape
    x = terrain.x_min_m + terrain.cell_m * (np.arange(shape[1]) + 0.5)
    y = terrain.y_max_m - terrain.cell_m * (np.arange(shape[0]) + 0.5)
    fine = terrain.elevation_m - water_depth_m(terrain, *np.meshgrid(x, y))
    by = round(COARSE_M / terrain.cell_m)
    rough = fine.reshape(shape[0] // by, by, shape[1] // by, by).mean(axis=(1, 3))
    height = ndimage.gaussian_filter(rough, SMOOTHED_M / COARSE_M)
    south, east = np.gradient(height, COARSE_M)
    return WaterTable(terrain, height, east, -south)
