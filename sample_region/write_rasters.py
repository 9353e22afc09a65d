"""Writes the terrain and the mapped depth to water as GeoTIFF."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import NDArray
from scipy import ndimage

from sample_region.dice import dice
from sample_region.plan import CRS, Plan
from sample_region.terrain import NODATA, Terrain
from sample_region.water_table import water_depth_m

WATER_CELL_M: Final = 40.0


def write_elevation(path: Path, plan: Plan, terrain: Terrain) -> None:
    """Write elevation in meters, to the centimeter.

    Parameters
    ----------
    path
        File to write.
    plan
        Place of the local corner.
    terrain
        Elevation.
    """
    _write(path, plan, terrain, np.round(terrain.elevation_m.astype(float), 2), terrain.cell_m)


def write_water_table(path: Path, plan: Plan, terrain: Terrain) -> None:
    """Write the mapped depth to water: smoother than the truth, and off here and there.

    Parameters
    ----------
    path, plan, terrain
        As in :func:`write_elevation`; the plan gives the seed too.
    """
    rows = int(terrain.elevation_m.shape[0] * terrain.cell_m / WATER_CELL_M)
    columns = int(terrain.elevation_m.shape[1] * terrain.cell_m / WATER_CELL_M)
    x = terrain.x_min_m + WATER_CELL_M * (np.arange(columns) + 0.5)
    y = terrain.y_max_m - WATER_CELL_M * (np.arange(rows) + 0.5)
    grid_x, grid_y = np.meshgrid(x, y)
    depth = water_depth_m(terrain, grid_x, grid_y)
    error = ndimage.gaussian_filter(dice(plan.seed, "mapped water").normal(size=depth.shape), 8.0)
    mapped = ndimage.gaussian_filter(depth, 1.5) + 0.7 * error / error.std()
    mapped = np.maximum(np.round(mapped, 2), 0.0)
    mapped[terrain.sample(terrain.lake, grid_x, grid_y)] = NODATA
    _write(path, plan, terrain, mapped, WATER_CELL_M)


def _write(
    path: Path, plan: Plan, terrain: Terrain, values: NDArray[np.float64], cell_m: float
) -> None:
    west, north = plan.east_m + terrain.x_min_m, plan.north_m + terrain.y_max_m
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=values.shape[0],
        width=values.shape[1],
        count=1,
        dtype="float32",
        crs=CRS,
        transform=Affine(cell_m, 0, west, 0, -cell_m, north),
        nodata=NODATA,
        compress="deflate",
        predictor=3,
        tiled=True,
    ) as file:
        file.write(values.astype(np.float32), 1)
