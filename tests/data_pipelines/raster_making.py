"""Makes small raster files for tests, and reads them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rasterio
from pyproj import CRS
from rasterio.transform import Affine

from data_pipelines.grids import old_affine_calls
from data_pipelines.rasters import RasterReading, read_elevation
from riskmap.contract.sources import Source

UTM = CRS("EPSG:26915")
WEST, NORTH = 500_000.0, 5_000_000.0


def save(
    tmp_path: Path,
    values: object,
    *,
    name: str = "dem.tif",
    transform: Affine | None = None,
    crs: str | None = "EPSG:26915",
    nodata: float | None = None,
    unit: str | None = None,
    dtype: str = "float32",
) -> Path:
    grid = np.asarray(values, dtype=dtype)
    path = tmp_path / name
    with (
        old_affine_calls(),
        rasterio.open(
            path,
            "w",
            driver="GTiff",
            height=grid.shape[0],
            width=grid.shape[1],
            count=1,
            dtype=dtype,
            crs=crs,
            transform=transform or Affine(10, 0, WEST, 0, -10, NORTH),
            nodata=nodata,
        ) as file,
    ):
        file.write(grid, 1)
        if unit:
            file.units = (unit,)
    return path


def read(*paths: Path, crs: CRS = UTM, bounds=None, said=None, **more: str) -> RasterReading:
    return read_elevation(Source("elevation", paths, crs=said, **more), crs, bounds=bounds)
