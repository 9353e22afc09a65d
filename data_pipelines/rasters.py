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

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import rasterio.windows
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.warp import transform_bounds

from data_pipelines.defect_log import DefectLog
from data_pipelines.grids import Tile, assemble, at, shifted
from data_pipelines.raster_files import (
    Band,
    check_degrees,
    open_raster,
    raster_library,
    read_band,
)
from data_pipelines.shapes import source_crs
from data_pipelines.tables import demand_files
from data_pipelines.unit_words import unit_of
from data_pipelines.vector import Bounds
from riskmap.contract.errors import LayerError
from riskmap.contract.grid import Grid
from riskmap.contract.layers import ELEVATION, WATER_TABLE
from riskmap.contract.sources import Source
from riskmap.contract.units import LENGTH_M

EARTH_M: Final = (-500.0, 9000.0)
WATER_DEPTH_M: Final = (-100.0, 1500.0)
HUGE: Final = 1e30
USUAL_NODATA: Final = (-9999.0, -99999.0, -32768.0, -32767.0)
PADDING_CELLS: Final = 3
LEAST_COVER: Final = 0.01
"""Share of the county that known cells must cover, in area and in parcels."""


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
        raise LayerError(
            log.layer,
            "no file covers the county.",
            "Name the tiles that cover it, and check their reference system.",
            faults=log.table(),
        )
    with raster_library("all tiles together", log.layer):
        raster = assemble(tiles, crs, log, bounds=bounds)
    if not np.isfinite(raster.values).any():
        raise LayerError(log.layer, "every cell is without data.", "Check the file.")
    if bounds is not None:
        _check_box(raster, bounds, log)
    return RasterReading(raster, log.table())


def _check_box(raster: Grid, bounds: Bounds, log: DefectLog) -> None:
    """Refuse a raster whose known cells cover next to nothing of the box that was asked for."""
    west, south, east, north = bounds
    rows, columns = raster.values.shape
    x = raster.bounds[0] + (np.arange(columns) + 0.5) * raster.cell_x_m
    y = raster.bounds[3] - (np.arange(rows) + 0.5) * raster.cell_y_m
    inside = raster.values[np.ix_((y > south) & (y < north), (x > west) & (x < east))]
    area = np.isfinite(inside).sum() * raster.cell_x_m * raster.cell_y_m
    share = min(area / ((east - west) * (north - south)), 1.0)
    if share < LEAST_COVER:
        raise LayerError(
            log.layer,
            f"cells with data cover only {100 * share:.2g}% of the box around the county.",
            "Name the tiles that cover the county, and check their reference system.",
            faults=log.table(),
        )


def check_cover(raster: Grid, parcels: gpd.GeoDataFrame, layer: str) -> pd.DataFrame:
    """Report the share of parcels on whose middle a raster says nothing.

    Parameters
    ----------
    raster, parcels
        In the same reference system.
    layer
        Name of the raster layer.

    Returns
    -------
    DataFrame
        Defects: one row ``partly_covered`` if any parcel is not covered.

    Raises
    ------
    LayerError
        If less than :data:`LEAST_COVER` of the parcels are covered.
    """
    log = DefectLog(layer)
    middle = shapely.get_coordinates(shapely.centroid(parcels.geometry.to_numpy()))
    known = np.isfinite(raster.sample(middle[:, 0], middle[:, 1]))
    told = f"{100 * known.mean():.3g}% of {len(known)} parcels covered"
    if known.mean() < LEAST_COVER:
        raise LayerError(
            layer, f"{told}.", "Name the tiles that cover the county, and check their system."
        )
    if not known.all():
        log.note("", "partly_covered", told, "unknown for the others")
    return log.table()


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
    with open_raster(path, log.layer) as file:
        own = file.crs.to_wkt() if file.crs else None
        system = source_crs(source.crs, own, name=path.name, log=log)
        corners = [at(file.transform, x, y) for x in (0, file.width) for y in (0, file.height)]
        if system.is_geographic:
            check_degrees(corners, path.name, log.layer)
        window = _window(file, system, crs, bounds)
        if window is None:
            place = " ".join(f"{value:.9g}" for value in np.min(corners, axis=0))
            log.note("", "beside_the_county", f"at {place}", "not read", row=path.name)
            return None
        band = read_band(file, window, path.name, log)
        transform = shifted(file.transform, window.col_off, window.row_off)
    values = _without_nodata(band, path.name, log)
    with np.errstate(all="ignore"):
        if (band.scale, band.offset) != (1.0, 0.0):
            values = (values * band.scale + band.offset).astype("float32")
        factor = _factor(source.unit, band.unit, system, path.name, log)
        values = (values * np.float32(factor)).astype("float32")
    return Tile(_possible_only(values, possible, path.name, log), transform, system, path.name)


def _window(
    file: rasterio.DatasetReader, system: CRS, crs: CRS, bounds: Bounds | None
) -> rasterio.windows.Window | None:
    whole = rasterio.windows.Window(0, 0, file.width, file.height)
    if bounds is None:
        return whole
    box = transform_bounds(crs.to_wkt(), system.to_wkt(), *bounds, densify_pts=21)
    if not np.isfinite(box).all() or box[0] > box[2]:  # across the 180th meridian
        return whole
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


def _without_nodata(band: Band, name: str, log: DefectLog) -> NDArray[np.float32]:
    """NaN for all kinds of "no data"; more than one kind in a file is reported."""
    values, declared = band.values, band.nodata
    bad = np.isnan(values)
    counts: dict[str, int] = {"NaN": int(bad.sum())}
    huge = np.abs(values) > HUGE
    counts["largest float"] = int(huge.sum())
    bad |= huge
    if band.masked is not None:
        counts["mask"] = int((band.masked & ~bad).sum())
        bad |= band.masked
    kinds = dict.fromkeys([*([] if declared is None else [float(declared)]), *USUAL_NODATA])
    for kind in kinds:
        if np.isfinite(kind) and abs(kind) < HUGE:
            cells = (values == np.float32(kind)) & ~bad
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
    own = unit_of(band, "m") if band else None
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
