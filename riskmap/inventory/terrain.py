"""Slope and wetness of the ground, from an elevation grid."""

from __future__ import annotations

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyflwdir
from numpy.typing import NDArray

from riskmap.contract.compiled import compiled
from riskmap.contract.errors import CrsError
from riskmap.contract.evidence import marked
from riskmap.contract.grid import Grid
from riskmap.contract.rules import Rules
from riskmap.spatial.zonal import raster_means

MIN_TAN_SLOPE = 0.001
"""Least tan(slope) in the wetness index: flat cells have no logarithm. 0.1% is the usual error of
an elevation model over a cell; common practice, no source."""

COARSEST_M = 100.0
"""Cells wider than this tell neither the slope of a lot nor where water gathers: a hillside lies
inside one cell (own choice)."""

NODATA = -9999.0

TO_EAST = np.array([1, 1, 0, -1, -1, -1, 0, 1])
TO_SOUTH = np.array([0, 1, 1, 1, 0, -1, -1, -1])
CODES = np.array([1, 2, 4, 8, 16, 32, 64, 128], dtype=np.uint8)
"""The eight ways out of a cell, from east clockwise, and their codes in flow-direction grids."""


@dataclass(frozen=True)
class Terrain:
    """Elevation and what follows from it, all on one grid.

    ``rise_east`` and ``rise_north`` are the gradient (rise per run). ``slope_pct`` and ``wetness``
    are None where the cells are too coarse, ``wetness`` also where it was not asked for.
    """

    elevation_m: Grid
    slope_pct: Grid | None
    rise_east: Grid
    rise_north: Grid
    wetness: Grid | None


@compiled
def _horn(
    z: NDArray[np.floating], cell_x: float, cell_y: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    rows, columns = z.shape
    east = np.full((rows, columns), np.nan, dtype=np.float32)
    north = np.full((rows, columns), np.nan, dtype=np.float32)
    window = np.empty((3, 3))
    for row in range(rows):
        for column in range(columns):
            _window(z, row, column, window)
            if np.isnan(window.sum()):
                continue
            a, b, c = window[0]
            d, f = window[1, 0], window[1, 2]
            g, h, i = window[2]
            east[row, column] = ((c + 2 * f + i) - (a + 2 * d + g)) / (8 * cell_x)
            north[row, column] = ((a + 2 * b + c) - (g + 2 * h + i)) / (8 * cell_y)
    return east, north


@compiled
def _window(z: NDArray[np.floating], row: int, column: int, window: NDArray[np.float64]) -> None:
    """Nine cells around one; beyond the grid's edge the surface goes on as a plane."""
    rows, columns = z.shape
    for m in range(3):
        for n in range(3):
            r, c = row + m - 1, column + n - 1
            inner_r, inner_c = min(max(r, 0), rows - 1), min(max(c, 0), columns - 1)
            value = float(z[inner_r, inner_c])
            if inner_r != r or inner_c != c:
                back_r = min(max(2 * inner_r - r, 0), rows - 1)
                back_c = min(max(2 * inner_c - c, 0), columns - 1)
                value = 2.0 * value - float(z[back_r, back_c])
            window[m, n] = value


def horn_gradient(elevation: Grid) -> tuple[Grid, Grid]:
    """Rise per run toward east and toward north, by the third-order finite difference of Horn.

    A cell with an unknown neighbor is unknown. Cells on the grid's edge see the surface beyond it
    continued as a plane.

    Source: Horn, B. K. P. (1981), Hill shading and the reflectance map, Proc. IEEE 69(1), 14-47.

    Raises
    ------
    CrsError
        If the grid is in degrees: a slope needs the same unit in all directions.
    """
    if elevation.crs is not None and elevation.crs.is_geographic:
        raise CrsError(
            "elevation",
            "the grid is in degrees, so slopes cannot be computed.",
            "Project it to the region's reference system first.",
        )
    east, north = _horn(elevation.values, float(elevation.cell_x_m), float(elevation.cell_y_m))
    return replace(elevation, values=east), replace(elevation, values=north)


def wetness_index(
    elevation: Grid, slope: NDArray[np.floating], *, min_tan_slope: float = MIN_TAN_SLOPE
) -> Grid:
    """Topographic wetness index ln(a / tan b) of every cell.

    a (m) is the upslope area per unit contour length: the area that drains through the cell by the
    steepest of eight directions, its own included, after depressions are filled, over the cell's
    width. Ground drains out of the grid only where no neighbor is lower.

    Source: Beven, K. J. and Kirkby, M. J. (1979), A physically based, variable contributing area
    model of basin hydrology, Hydrological Sciences Bulletin 24(1), 43-69.

    Parameters
    ----------
    elevation
        Projected, m; NaN gives NaN.
    slope
        tan b of the cells, in the grid's shape.
    min_tan_slope
        Least tan b that is used, so that level ground has a finite index.
    """
    unknown = np.isnan(elevation.values)
    ground = np.where(unknown, NODATA, elevation.values).astype(np.float32)
    filled, spill = pyflwdir.dem.fill_depressions(ground, nodata=NODATA)
    direction = _steepest(filled, spill, float(elevation.cell_x_m), float(elevation.cell_y_m))
    affine = (elevation.cell_x_m, 0.0, elevation.west_m, 0.0, -elevation.cell_y_m)
    flow = pyflwdir.from_array(
        direction, ftype="d8", transform=(*affine, elevation.north_m), latlon=False
    )
    cells = np.asarray(flow.upstream_area(unit="cell"), dtype=np.float64)
    cell_m2 = elevation.cell_x_m * elevation.cell_y_m
    with np.errstate(invalid="ignore", divide="ignore"):
        specific = np.where(unknown, np.nan, cells * cell_m2 / np.sqrt(cell_m2))
        index = np.log(specific / np.maximum(slope, min_tan_slope))
    return replace(elevation, values=index.astype(np.float32))


@compiled
def _steepest(
    z: NDArray[np.float32], spill: NDArray[np.uint8], cell_x: float, cell_y: float
) -> NDArray[np.uint8]:
    """Direction code of the steepest way down from each cell; on flats the way to the spill.

    No cell has a way back to itself: steep ways fall, and ways over flats follow the one flood.
    """
    rows, columns = z.shape
    direction = spill.copy()
    diagonal = np.hypot(cell_x, cell_y)
    for row in range(rows):
        for column in range(columns):
            if z[row, column] == NODATA:
                continue
            steepest = 0.0
            for n in range(8):
                r, c = row + TO_SOUTH[n], column + TO_EAST[n]
                if r < 0 or c < 0 or r >= rows or c >= columns or z[r, c] == NODATA:
                    continue
                run = cell_y if TO_EAST[n] == 0 else (cell_x if TO_SOUTH[n] == 0 else diagonal)
                fall = (z[row, column] - z[r, c]) / run
                if fall > steepest:
                    steepest = fall
                    direction[row, column] = CODES[n]
    return direction


def too_coarse(elevation: Grid) -> bool:
    """Whether the cells are wider than :data:`COARSEST_M`."""
    return max(elevation.cell_x_m, elevation.cell_y_m) > COARSEST_M


def derive_terrain(elevation: Grid, *, wetness: bool = True) -> Terrain:
    """Slope, gradient and wetness of a whole county's elevation grid; done once, for all chunks."""
    east, north = horn_gradient(elevation)
    fine = not too_coarse(elevation)
    tan_slope = np.hypot(east.values, north.values)
    return Terrain(
        elevation_m=elevation,
        slope_pct=replace(elevation, values=tan_slope * np.float32(100)) if fine else None,
        rise_east=east,
        rise_north=north,
        wetness=wetness_index(elevation, tan_slope) if fine and wetness else None,
    )


def describe_terrain(
    areas: gpd.GeoDataFrame,
    terrain: Terrain | None,
    *,
    min_covered_frac: float = Rules.min_covered_frac,
) -> pd.DataFrame:
    """Mean elevation, slope and wetness of each treatment area, by exact cell shares.

    Parameters
    ----------
    areas
        Treatment areas in the grid's reference system, index ``parcel_id``.
    terrain
        The county's terrain, or None.
    min_covered_frac
        Below this share of known cells the value is unknown.

    Returns
    -------
    DataFrame
        ``elevation_m``, ``slope_pct``, ``wetness`` with evidence, and ``downslope_deg`` (azimuth in
        which the ground falls, clockwise from north; NaN on level ground).
    """
    if terrain is None:
        nothing = dict.fromkeys(("elevation_m", "slope_pct", "wetness"), np.nan)
        return marked(nothing, "unknown", areas.index).assign(downslope_deg=np.nan)

    def mean(raster: Grid | None) -> pd.Series:
        if raster is None:
            return pd.Series(np.nan, index=areas.index)
        means = raster_means(areas.geometry, raster)
        return means["mean"].where(means["covered_frac"] >= min_covered_frac)

    rasters = {
        "elevation_m": terrain.elevation_m,
        "slope_pct": terrain.slope_pct,
        "wetness": terrain.wetness,
    }
    table = marked({name: mean(raster) for name, raster in rasters.items()}, "mapped", areas.index)
    table["downslope_deg"] = _azimuth_deg(-mean(terrain.rise_east), -mean(terrain.rise_north))
    return table


def _azimuth_deg(east: pd.Series, north: pd.Series) -> pd.Series:
    azimuth = pd.Series(np.degrees(np.arctan2(east, north)) % 360.0, index=east.index)
    return azimuth.where((east != 0) | (north != 0))
