"""Reads elevation and water-table rasters: any GDAL raster, one file or tiles.

Cells are cleaned of every kind of "no data" (declared value, NaN, the largest negative float,
-9999, impossible values), brought to meters once, and, where the reference system or the grid
differs, resampled bilinearly (both layers are continuous) to square cells in the region's system.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
import rasterio
import rasterio.errors
import rasterio.windows
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.warp import transform_bounds

from data_pipelines.defect_log import DefectLog
from data_pipelines.grids import Tile, assemble, at, shifted
from data_pipelines.shapes import source_crs
from data_pipelines.tables import demand_file, demand_files
from data_pipelines.vector import Bounds
from riskmap.contract.errors import LayerError, SourceFormatError
from riskmap.contract.grid import Grid
from riskmap.contract.layers import ELEVATION, WATER_TABLE
from riskmap.contract.sources import Source
from riskmap.contract.units import LENGTH_M

EARTH_M: Final = (-500.0, 9000.0)
WATER_DEPTH_M: Final = (-100.0, 1500.0)
HUGE: Final = 1e30
USUAL_NODATA: Final = (-9999.0, -99999.0, -32768.0, -32767.0)
PADDING_CELLS: Final = 3

BAND_UNITS: Final = {
    "m": "m",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "ft": "ft",
    "foot": "ft",
    "feet": "ft",
    "us survey foot": "us_survey_ft",
    "us-ft": "us_survey_ft",
    "cm": "cm",
    "centimeter": "cm",
}


@dataclass(frozen=True)
class RasterReading:
    """A raster layer as read, and every defect met on the way."""

    raster: Grid
    defects: pd.DataFrame


def read_elevation(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> RasterReading:
    """Read land-surface elevation, m."""
    return _read(source, crs, ELEVATION.name, EARTH_M, bounds)


def read_water_table(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> RasterReading:
    """Read depth to the water table, m below ground."""
    return _read(source, crs, WATER_TABLE.name, WATER_DEPTH_M, bounds)


def _read(
    source: Source, crs: CRS, layer: str, possible: tuple[float, float], bounds: Bounds | None
) -> RasterReading:
    log = DefectLog(layer)
    tiles = [
        tile
        for path in demand_files(source)
        for tile in [parse_raster(path, source, crs, log, possible=possible, bounds=bounds)]
        if tile is not None
    ]
    return canonical_raster(tiles, crs, log, bounds=bounds)


def canonical_raster(
    tiles: Sequence[Tile], crs: CRS, log: DefectLog, *, bounds: Bounds | None = None
) -> RasterReading:
    """One north-up raster in the region's system of all tiles."""
    if not tiles:
        raise LayerError(log.layer, "no file covers the county.", "Name the tiles that cover it.")
    raster = assemble(tiles, crs, log, bounds=bounds)
    if not np.isfinite(raster.values).any():
        raise LayerError(log.layer, "every cell is without data.", "Check the file.")
    return RasterReading(raster, log.table())


def parse_raster(
    path: Path,
    source: Source,
    crs: CRS,
    log: DefectLog,
    *,
    possible: tuple[float, float],
    bounds: Bounds | None = None,
) -> Tile | None:
    """Read one file (or the part of it that meets `bounds`) as float32 meters with NaN.

    None if the file does not meet `bounds`.
    """
    demand_file(path, log.layer)
    try:
        with rasterio.open(path) as file:
            own = file.crs.to_wkt() if file.crs else None
            system = source_crs(source.crs, own, name=path.name, log=log)
            window = _window(file, system, crs, bounds)
            if window is None:
                return None
            values = file.read(1, window=window).astype("float32")
            transform = shifted(file.transform, window.col_off, window.row_off)
            nodata, band_unit = file.nodata, file.units[0]
            scale, offset = file.scales[0], file.offsets[0]
    except rasterio.errors.RasterioIOError as error:
        raise SourceFormatError(
            log.layer, f"{path.name} cannot be read: {error}", "Fetch it again."
        ) from error
    values = _without_nodata(values, nodata, path.name, log)
    if (scale, offset) != (1.0, 0.0):
        values = (values * scale + offset).astype("float32")
    factor = _factor(source.unit, band_unit, system, path.name, log)
    values = (values * np.float32(factor)).astype("float32")
    return Tile(_possible_only(values, possible, path.name, log), transform, system, path.name)


def _window(
    file: rasterio.DatasetReader, system: CRS, crs: CRS, bounds: Bounds | None
) -> rasterio.windows.Window | None:
    whole = rasterio.windows.Window(0, 0, file.width, file.height)
    if bounds is None:
        return whole
    box = transform_bounds(crs.to_wkt(), system.to_wkt(), *bounds, densify_pts=21)
    inverse = ~file.transform
    corners = [at(inverse, x, y) for x in (box[0], box[2]) for y in (box[1], box[3])]
    columns, rows = zip(*corners, strict=True)
    left, right = (
        max(min(columns) - PADDING_CELLS, 0),
        min(max(columns) + PADDING_CELLS, file.width),
    )
    top, bottom = max(min(rows) - PADDING_CELLS, 0), min(max(rows) + PADDING_CELLS, file.height)
    if left >= right or top >= bottom:
        return None
    left, top = int(np.floor(left)), int(np.floor(top))
    return rasterio.windows.Window(
        left, top, int(np.ceil(right)) - left, int(np.ceil(bottom)) - top
    )


def _without_nodata(
    values: NDArray[np.float32], declared: float | None, name: str, log: DefectLog
) -> NDArray[np.float32]:
    """NaN for all kinds of "no data"; more than one kind in a file is reported."""
    counts: dict[str, int] = {"NaN": int(np.isnan(values).sum())}
    bad = np.isnan(values)
    huge = np.abs(values) > HUGE
    counts["largest float"] = int(huge.sum())
    bad |= huge
    kinds = dict.fromkeys([*([] if declared is None else [float(declared)]), *USUAL_NODATA])
    for kind in kinds:
        if np.isfinite(kind) and abs(kind) < HUGE:
            cells = values == np.float32(kind)
            counts[f"{kind:g}"] = int(cells.sum())
            bad |= cells
    met = {kind: count for kind, count in counts.items() if count}
    if len(met) > 1:
        told = ", ".join(f"{kind}: {count}" for kind, count in met.items())
        log.note("", "mixed_nodata", told, "all set to missing", row=name)
    return np.where(bad, np.float32(np.nan), values)


def _factor(
    declared: str | None, band: str | None, system: CRS, name: str, log: DefectLog
) -> float:
    """Factor to meters: what the region file says, else the band, else meters with a report."""
    own = BAND_UNITS.get(band.strip().lower()) if band else None
    if declared is not None:
        if declared not in LENGTH_M:
            raise LayerError(
                log.layer, f"unit {declared!r} is not known.", f"Use {', '.join(LENGTH_M)}."
            )
        if own is not None and own != declared:
            log.note("", "unit_conflict", str(band), f"read as {declared}", row=name)
        return LENGTH_M[declared]
    if own is not None:
        return LENGTH_M[own]
    if any("foot" in axis.unit_name for axis in system.axis_info):
        log.note("", "perhaps_feet", "system in feet, unit not stated", "read as m", row=name)
    else:
        log.note("", "unit_not_stated", "", "read as m", row=name)
    return 1.0


def _possible_only(
    values: NDArray[np.float32], possible: tuple[float, float], name: str, log: DefectLog
) -> NDArray[np.float32]:
    low, high = possible
    with np.errstate(invalid="ignore"):
        bad = (values < low) | (values > high)
    if bad.any():
        log.note("", "out_of_range", f"{int(bad.sum())} cells", "set to missing", row=name)
    return np.where(bad, np.float32(np.nan), values)
