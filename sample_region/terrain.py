"""Terrain: hills of filtered noise, valleys carved by their own drainage, lakes, streams."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyflwdir
from affine import Affine
from numpy.typing import NDArray
from scipy import ndimage

from sample_region.dice import dice
from sample_region.noise import fractal_field, smooth_step
from sample_region.plan import MARGIN_M, Flags, Floats, Lake, Plan

COARSE_M = 40.0
STREAM_KM2 = 0.7
RIVER_KM2 = 4.0
NODATA = -9999.0
SHORE_M = 130.0
"""A stream that runs along a lake within this distance is taken as part of the lake."""


@dataclass(frozen=True)
class Terrain:
    """Grids over the county and a margin; row 0 is the northernmost."""

    x_min_m: float
    y_max_m: float
    cell_m: float
    elevation_m: NDArray[np.float32]
    above_stream_m: NDArray[np.float32]
    upstream_km2: NDArray[np.float32]
    slope_pct: NDArray[np.float32]
    lake: Flags
    lake_levels_m: tuple[float, ...]
    sandy: Floats
    rocky: Floats
    streams: tuple[Floats, ...]

    def sample(self, grid: NDArray[Any], x: Floats, y: Floats) -> NDArray[Any]:
        """Values of the cells under points; `grid` may be coarser than the terrain.

        Parameters
        ----------
        grid
            Values over the terrain's area (rows, columns).
        x, y
            Points, local m; one outside takes the nearest cell.
        """
        cell = self.cell_m * self.elevation_m.shape[0] / grid.shape[0]
        row = np.clip(((self.y_max_m - y) / cell).astype(int), 0, grid.shape[0] - 1)
        column = np.clip(((x - self.x_min_m) / cell).astype(int), 0, grid.shape[1] - 1)
        return np.asarray(grid[row, column])


def make_terrain(plan: Plan) -> Terrain:
    """Raise the hills, carve the valleys, fill the lakes and find the streams."""
    shape, x, y = _coarse_grid(plan)
    sandy = fractal_field(
        shape, cell_m=COARSE_M, longest_m=6000, slope=3.6, rng=dice(plan.seed, "sandy")
    )
    rocky = fractal_field(
        shape, cell_m=COARSE_M, longest_m=5000, slope=3.4, rng=dice(plan.seed, "rocky")
    )
    rough, levels = _carved(_hills(plan, shape, rocky, x, y), plan)
    fine = _refined(rough, plan)
    lake = _lake_cells(plan, fine.shape)
    for one, level in zip(plan.lakes, levels, strict=True):
        _flatten(fine, one, level, plan)
    flow = _routing(fine, plan.cell_m)
    upstream = flow.upstream_area("km2").astype(np.float32)
    channel = (upstream > STREAM_KM2) & ~lake
    height = _height_above(channel | lake, fine, flow)
    return Terrain(
        x_min_m=-MARGIN_M,
        y_max_m=plan.height_m + MARGIN_M,
        cell_m=plan.cell_m,
        elevation_m=fine.astype(np.float32),
        above_stream_m=height.astype(np.float32),
        upstream_km2=upstream,
        slope_pct=_slope_pct(fine, plan.cell_m),
        lake=lake,
        lake_levels_m=tuple(levels),
        sandy=sandy,
        rocky=rocky,
        streams=_stream_lines(flow, channel, upstream, lake, plan),
    )


def _coarse_grid(plan: Plan) -> tuple[tuple[int, int], Floats, Floats]:
    columns = round((plan.width_m + 2 * MARGIN_M) / COARSE_M)
    rows = round((plan.height_m + 2 * MARGIN_M) / COARSE_M)
    x = -MARGIN_M + COARSE_M * (np.arange(columns) + 0.5)
    y = plan.height_m + MARGIN_M - COARSE_M * (np.arange(rows) + 0.5)
    return (
        (rows, columns),
        np.broadcast_to(x, (rows, columns)),
        np.broadcast_to(y[:, None], (rows, columns)),
    )


def _hills(plan: Plan, shape: tuple[int, int], rocky: Floats, x: Floats, y: Floats) -> Floats:
    rng = dice(plan.seed, "hills")
    noise = fractal_field(shape, cell_m=COARSE_M, longest_m=3200, slope=3.5, rng=rng)
    ridges = 34.0 * smooth_step(rocky, 0.5, 1.9)
    return np.asarray(236.0 + 13.0 * noise + ridges + 0.0012 * x - 0.0009 * y, dtype=np.float64)


def _routing(elevation: Floats, cell_m: float) -> Any:
    return pyflwdir.from_dem(
        data=elevation.astype(np.float32),
        nodata=NODATA,
        latlon=False,
        transform=Affine(cell_m, 0, 0, 0, -cell_m, 0),
        outlets="edge",
    )


def _carved(z: Floats, plan: Plan) -> tuple[Floats, list[float]]:
    """Fill, drain and carve in rounds with lake basins dug in between."""
    rng = dice(plan.seed, "flats")
    for _ in range(3):
        z = _carve_valleys(_fill_hollows(z, rng))
    levels = []
    for lake in plan.lakes:
        levels.append(_dig_basin(z, lake, plan))
    z = _carve_valleys(_fill_hollows(z, rng))
    for lake, level in zip(plan.lakes, levels, strict=True):
        _keep_shore(z, lake, level, plan)
    return _open_outlets(z, plan, levels), levels


def _fill_hollows(z: Floats, rng: np.random.Generator) -> Floats:
    """Fill closed hollows; uneven fill lets streams wander over it."""
    filled, _ = pyflwdir.dem.fill_depressions(z.astype(np.float32), nodata=NODATA, outlets="edge")
    bumps = fractal_field(z.shape, cell_m=COARSE_M, longest_m=500, slope=3.0, rng=rng)
    return np.where(filled > z + 0.01, filled + 0.7 * bumps, z)


def _carve_valleys(z: Floats) -> Floats:
    upstream = _routing(z, COARSE_M).upstream_area("km2")
    depth = 0.9 * np.log2(1 + upstream / 0.2)
    wide = ndimage.gaussian_filter(depth, 3.0) + 0.5 * ndimage.gaussian_filter(depth, 1.2)
    return np.asarray(ndimage.gaussian_filter(z, 1.0) - wide, dtype=np.float64)


def _dig_basin(z: Floats, lake: Lake, plan: Plan) -> float:
    """Lower the land around a lake in place; return the lake's level."""
    window, beyond = _beyond(lake, plan, z.shape, COARSE_M, 950.0)
    part = z[window]
    level = float(np.quantile(part[beyond < 500], 0.2))
    share = smooth_step(beyond, -50.0, 900.0)
    z[window] = np.where(beyond < 900, level + (part - level) * (0.12 + 0.88 * share), part)
    return level


def _keep_shore(z: Floats, lake: Lake, level: float, plan: Plan) -> None:
    """Keep the land around a lake above it, and the lake's bed below, in place."""
    window, beyond = _beyond(lake, plan, z.shape, COARSE_M, 650.0)
    part = z[window]
    shore = level + 0.6 + 0.018 * np.clip(beyond, 0, 400)
    share = smooth_step(beyond, 250.0, 600.0)
    land = np.maximum(part, shore) * (1 - share) + part * share
    z[window] = np.where(beyond < 0, level - 2.0, np.where(beyond < 600, land, part))


def _open_outlets(z: Floats, plan: Plan, levels: list[float]) -> Floats:
    """Cut a channel from each lake along the lowest way out."""
    downstream = _routing(z, COARSE_M).idxs_ds
    flat = z.ravel().copy()
    for lake, level in zip(plan.lakes, levels, strict=True):
        row = int((plan.height_m + MARGIN_M - lake.y_m) / COARSE_M)
        column = int((lake.x_m + MARGIN_M) / COARSE_M)
        here, bed = row * z.shape[1] + column, level - 2.0
        while downstream[here] != here and flat[here] >= bed - 0.5:
            flat[here] = min(flat[here], bed)
            here, bed = int(downstream[here]), max(bed - 0.05, level - 6.0)
    cut = flat.reshape(z.shape)
    return np.minimum(z, ndimage.gaussian_filter(cut, 0.7))


def _refined(rough: Floats, plan: Plan) -> Floats:
    factor = COARSE_M / plan.cell_m
    shape = tuple(round(n * factor) for n in rough.shape)
    row = (np.arange(shape[0]) + 0.5) / factor - 0.5
    column = (np.arange(shape[1]) + 0.5) / factor - 0.5
    grid = np.meshgrid(row, column, indexing="ij")
    fine = ndimage.map_coordinates(rough, np.array(grid), order=3, mode="nearest")
    rng = dice(plan.seed, "micro")
    micro = ndimage.gaussian_filter(rng.standard_normal(shape), 3.0)
    return np.asarray(fine + 0.18 * micro / micro.std(), dtype=np.float64)


def _beyond(
    lake: Lake, plan: Plan, shape: tuple[int, ...], cell_m: float, reach_m: float
) -> tuple[tuple[slice, slice], Floats]:
    """Distance beyond a lake's shore in the window of the grid that reaches so far around it."""
    reach = lake.radius_m * 1.6 + reach_m
    north = plan.height_m + MARGIN_M
    top = max(int((north - lake.y_m - reach) / cell_m), 0)
    left = max(int((lake.x_m - reach + MARGIN_M) / cell_m), 0)
    span = int(2 * reach / cell_m) + 2
    rows = np.arange(top, min(top + span, shape[0]))
    columns = np.arange(left, min(left + span, shape[1]))
    x = cell_m * (columns + 0.5) - MARGIN_M
    y = north - cell_m * (rows + 0.5)
    window = slice(top, top + len(rows)), slice(left, left + len(columns))
    return window, lake.beyond_shore_m(x[None, :], y[:, None])


def _lake_cells(plan: Plan, shape: tuple[int, ...]) -> Flags:
    cells = np.zeros(shape, dtype=bool)
    for lake in plan.lakes:
        window, beyond = _beyond(lake, plan, shape, plan.cell_m, 60.0)
        cells[window] |= beyond < 0
    return cells


def _flatten(fine: Floats, lake: Lake, level: float, plan: Plan) -> None:
    window, beyond = _beyond(lake, plan, fine.shape, plan.cell_m, 60.0)
    fine[window] = np.where(beyond < 0, level, fine[window])


def _height_above(target: Flags, elevation: Floats, flow: Any) -> Floats:
    """Height of each cell above the first target cell down its flow path (or the path's end)."""
    place = np.arange(elevation.size, dtype=np.int32)
    down = np.where(target.ravel(), place, np.asarray(flow.idxs_ds).astype(np.int32))
    while True:
        further = down[down]
        if np.array_equal(further, down):
            break
        down = further
    bottom = elevation.ravel()[down].reshape(elevation.shape)
    return np.asarray(np.maximum(elevation - bottom, 0.0), dtype=np.float64)


def _slope_pct(z: Floats, cell_m: float) -> NDArray[np.float32]:
    dy, dx = np.gradient(ndimage.gaussian_filter(z, 1.0), cell_m)
    return np.asarray(100 * np.hypot(dx, dy), dtype=np.float32)


def _stream_lines(
    flow: Any, channel: Flags, upstream: Any, lake: Flags, plan: Plan
) -> tuple[Floats, ...]:
    lines = []
    corner = np.array([-MARGIN_M, plan.height_m + MARGIN_M])
    shore = ndimage.binary_dilation(lake, iterations=round(SHORE_M / plan.cell_m))
    with warnings.catch_warnings():  # affine 3 tells its callers to use another operator
        warnings.simplefilter("ignore", PendingDeprecationWarning)
        features = flow.streams(mask=channel, uparea=upstream)
    for feature in features:
        points = np.array(feature["geometry"]["coordinates"], dtype=float)
        row = np.clip((-points[:, 1] / plan.cell_m).astype(int), 0, channel.shape[0] - 1)
        column = np.clip((points[:, 0] / plan.cell_m).astype(int), 0, channel.shape[1] - 1)
        wet = lake[row, column]
        along_shore = shore[row, column] & ~wet
        if along_shore.sum() * plan.cell_m > 1.3 * SHORE_M:
            wet |= along_shore
        breaks = np.flatnonzero(np.diff(wet)) + 1
        for part, drowned in zip(np.split(points, breaks), np.split(wet, breaks), strict=True):
            if len(part) >= 4 and not drowned[0]:
                lines.append(_smoothed(part) + corner)
    return tuple(lines)


def _smoothed(points: Floats) -> Floats:
    """Round off the stair steps of a path of cells; the ends stay."""
    smooth = points.copy()
    for _ in range(10):
        smooth[1:-1] = (smooth[:-2] + 2 * smooth[1:-1] + smooth[2:]) / 4
    return smooth
