"""Cleaned raster tiles to one north-up grid in the region's system."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.transform import Affine, array_bounds
from rasterio.warp import Resampling, calculate_default_transform, reproject

from data_pipelines.defect_log import DefectLog
from data_pipelines.raster_files import check_cells
from data_pipelines.vector import Bounds
from riskmap.contract.grid import Grid

ALIGNED: Final = 1e-3
"""Grids count as aligned if their corners agree within this share of a cell."""

TILES_AGREE_M: Final = 1.0


@contextmanager
def old_affine_calls() -> Iterator[None]:
    """Silence the affine package about how rasterio itself still multiplies transforms."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", PendingDeprecationWarning)
        yield


def at(transform: Affine, column: float, row: float) -> tuple[float, float]:
    """Place of a grid position by an affine transform (of a cell position by its inverse)."""
    t = transform
    return t.a * column + t.b * row + t.c, t.d * column + t.e * row + t.f


def shifted(transform: Affine, column: float, row: float) -> Affine:
    """Transform of the part of a grid that starts at `column`, `row`."""
    x, y = at(transform, column, row)
    return Affine(transform.a, transform.b, x, transform.d, transform.e, y)


@dataclass(frozen=True)
class Tile:
    """Values of one file: float32, NaN unknown, with its affine transform and system."""

    values: NDArray[np.float32]
    transform: Affine
    crs: CRS
    name: str

    @property
    def north_up(self) -> bool:
        """Whether rows run west-east and the first row is the northernmost."""
        t = self.transform
        return bool(t.b == 0 and t.d == 0 and t.a > 0 and t.e < 0)


def assemble(
    tiles: Sequence[Tile], crs: CRS, log: DefectLog, *, bounds: Bounds | None = None
) -> Grid:
    """Join tiles and bring them to `crs`; where tiles overlap the first known value wins.

    Cells already in `crs` on a north-up grid are passed on untouched. Otherwise values are
    resampled bilinearly to square cells of about the source's size.
    """
    joined = join_aligned(tiles, log)
    if len(joined) == 1 and joined[0].north_up and joined[0].crs.equals(crs):
        tile = joined[0]
        return _raster(tile.values, tile.transform, crs)
    transform, shape = _common_grid(joined, crs, bounds)
    check_cells(*shape, "all tiles together", log.layer)
    values = np.full(shape, np.nan, dtype="float32")
    for tile in joined:
        moved = _warp(tile, crs, transform, shape)
        values = np.where(np.isnan(values), moved, values)
    return _raster(values, transform, crs)


def join_aligned(tiles: Sequence[Tile], log: DefectLog) -> list[Tile]:
    """One tile if all lie on the same grid, else the tiles as they are."""
    first = tiles[0]
    if len(tiles) == 1 or not all(_aligned(first, tile) for tile in tiles):
        return list(tiles)
    places = [_offset(first, tile) for tile in tiles]
    top = min(row for row, _ in places)
    left = min(column for _, column in places)
    rows = max(row + tile.values.shape[0] for (row, _), tile in zip(places, tiles, strict=True))
    width = max(col + tile.values.shape[1] for (_, col), tile in zip(places, tiles, strict=True))
    check_cells(width - left, rows - top, "all tiles together", log.layer)
    values = np.full((rows - top, width - left), np.nan, dtype="float32")
    for (row, column), tile in zip(places, tiles, strict=True):
        height, breadth = tile.values.shape
        part = values[row - top : row - top + height, column - left : column - left + breadth]
        _report_overlap(part, tile, log)
        part[:] = np.where(np.isnan(part), tile.values, part)
    transform = shifted(first.transform, left, top)
    return [Tile(values, transform, first.crs, "all tiles")]


def _aligned(first: Tile, other: Tile) -> bool:
    a, b = first.transform, other.transform
    same = np.allclose([a.a, a.b, a.d, a.e], [b.a, b.b, b.d, b.e], rtol=1e-9, atol=0)
    if not same or not first.crs.equals(other.crs) or not first.north_up:
        return False
    column, row = (b.c - a.c) / a.a, (b.f - a.f) / a.e
    return bool(abs(column - round(column)) < ALIGNED and abs(row - round(row)) < ALIGNED)


def _offset(first: Tile, other: Tile) -> tuple[int, int]:
    a, b = first.transform, other.transform
    return round((b.f - a.f) / a.e), round((b.c - a.c) / a.a)


def _report_overlap(part: NDArray[np.float32], tile: Tile, log: DefectLog) -> None:
    both = np.isfinite(part) & np.isfinite(tile.values)
    if not both.any():
        return
    worst = float(np.abs(part[both] - tile.values[both]).max())
    if worst > TILES_AGREE_M:
        log.note("", "tiles_disagree", f"by up to {worst:.1f} m", "first tile used", row=tile.name)


def _common_grid(
    tiles: Sequence[Tile], crs: CRS, bounds: Bounds | None
) -> tuple[Affine, tuple[int, int]]:
    """North-up grid of square cells, snapped to whole cells, that covers all tiles."""
    boxes, cells = [], []
    for tile in tiles:
        rows, columns = tile.values.shape
        with old_affine_calls():
            west, south, east, north = array_bounds(rows, columns, tile.transform)
            transform, width, height = calculate_default_transform(
                tile.crs.to_wkt(), crs.to_wkt(), columns, rows, west, south, east, north
            )
            boxes.append(array_bounds(height, width, transform))
        cells.append(transform.a)
    cell = min(cells)
    lows, highs = np.min(boxes, axis=0), np.max(boxes, axis=0)
    west, south, east, north = lows[0], lows[1], highs[2], highs[3]
    if bounds is not None:
        west, south = max(west, bounds[0] - cell), max(south, bounds[1] - cell)
        east, north = min(east, bounds[2] + cell), min(north, bounds[3] + cell)
    west, north = np.floor(west / cell) * cell, np.ceil(north / cell) * cell
    columns = max(1, int(np.ceil((east - west) / cell)))
    rows = max(1, int(np.ceil((north - south) / cell)))
    return Affine(cell, 0, west, 0, -cell, north), (rows, columns)


def _warp(tile: Tile, crs: CRS, transform: Affine, shape: tuple[int, int]) -> NDArray[np.float32]:
    result = np.full(shape, np.nan, dtype="float32")
    with old_affine_calls():
        reproject(
            tile.values,
            result,
            src_transform=tile.transform,
            src_crs=tile.crs.to_wkt(),
            src_nodata=np.nan,
            dst_transform=transform,
            dst_crs=crs.to_wkt(),
            dst_nodata=np.nan,
            resampling=Resampling.bilinear,
        )
    return result


def _raster(values: NDArray[np.float32], transform: Affine, crs: CRS) -> Grid:
    return Grid(
        values=values,
        west_m=float(transform.c),
        north_m=float(transform.f),
        cell_x_m=float(transform.a),
        cell_y_m=float(-transform.e),
        crs=crs,
    )
