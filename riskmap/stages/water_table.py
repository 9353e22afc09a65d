"""The water table of a county: its surface, and the depth to it below each parcel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.contract.errors import NotEnoughDataError
from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.groundwater.levels import DATUM_NEW, water_levels
from riskmap.groundwater.water_table import (
    WaterTable,
    WaterTableModel,
    fit_water_table,
    subdued_surface,
    surface_from_levels,
    surface_from_raster,
)
from riskmap.stages.county import County

CELL_M: Final = 40.0
"""Side of the cells on which groundwater is followed, at least; finer terrain is averaged."""
FEWEST_LEVELS: Final = 30
MOST_SD_M: Final = 3.0
"""Standard error of the surface beyond which a depth to water is unknown (own choice: what lies
between the two shallowest classes of depth, 1.5 and 4.6 m)."""


@dataclass(frozen=True)
class WaterSurface:
    """A county's water table on the cells of its ``land``.

    ``model`` is the fit to measured levels, if it was one; ``notes`` say how it was found.
    """

    land: Grid
    table: WaterTable
    model: WaterTableModel | None
    notes: tuple[str, ...]


def find_water_table(county: County) -> WaterSurface | None:
    """Take the water table from a raster, else from levels, else assume it from the land.

    None without an elevation raster.
    """
    elevation = county.rasters.get("elevation")
    if elevation is None:
        return None
    land = land_grid(elevation)
    return WaterSurface(land, *_surface(county, land))


def depth_by_levels(places: pd.DataFrame, water: WaterSurface | None) -> pd.DataFrame:
    """Depth to water below places by the surface fitted to a county's levels.

    Parameters
    ----------
    places
        ``x_m``, ``y_m``; any index.
    water
        The surface; one that was not fitted to levels gives nothing.

    Returns
    -------
    DataFrame
        ``water_table_m``, 0 where the surface would be above the land, and its standard error
        ``water_table_sd_m``; both NaN where that is above :data:`MOST_SD_M`.
    """
    found = pd.DataFrame(np.nan, places.index, ["water_table_m", "water_table_sd_m"])
    if water is None or water.model is None:
        return found
    land_m = water.land.bilinear(places["x_m"], places["y_m"])
    known = np.isfinite(land_m)
    x_m, y_m = (places[name].to_numpy(float)[known] for name in ("x_m", "y_m"))
    head = water.model.surface(x_m, y_m, land_m=land_m[known])
    sure = np.flatnonzero(known)[head.sd <= MOST_SD_M]
    depth = np.maximum(land_m[known] - head.estimate, 0.0)
    found.iloc[sure, 0] = depth[head.sd <= MOST_SD_M]
    found.iloc[sure, 1] = head.sd[head.sd <= MOST_SD_M]
    return found


def land_grid(elevation: Grid) -> Grid:
    """Average the terrain to cells of about :data:`CELL_M`; square cells, north-up."""
    times = max(1, round(CELL_M / elevation.cell_x_m))
    rows, columns = (size // times for size in elevation.values.shape)
    blocks = elevation.values[: rows * times, : columns * times].reshape(
        rows, times, columns, times
    )
    there = np.isfinite(blocks)
    count = there.sum(axis=(1, 3))
    total = np.sum(blocks, axis=(1, 3), where=there, dtype=float)
    values = np.divide(total, count, out=np.full((rows, columns), np.nan), where=count > 0)
    return grid_from_bounds(
        west_m=elevation.west_m,
        north_m=elevation.north_m,
        cell_m=elevation.cell_x_m * times,
        values=values,
    )


def _surface(
    county: County, land: Grid
) -> tuple[WaterTable, WaterTableModel | None, tuple[str, ...]]:
    """Take the water table from a raster, else from levels, else assume it from the land."""
    raster = county.rasters.get("water_table")
    if raster is not None:
        x_m, y_m = land.centers()
        depth = raster.sample(x_m.ravel(), y_m.ravel()).reshape(x_m.shape)
        surface = surface_from_raster(land.with_values(depth), land=land)
        return surface, None, ("The water table is the county's own raster of depths.",)
    try:
        model = _fitted(county, land)
    except NotEnoughDataError as error:
        note = f"{error} The water table is assumed: a subdued copy of the land."
        return subdued_surface(land), None, (note,)
    figures = model.summary()
    note = (
        f"The water table is kriged from {figures['places']:.0f} measured places; leaving each "
        f"out, its level is missed by {figures['rmse_m']:.1f} m (root mean square)."
    )
    return surface_from_levels(model, land), model, (note,)


def _fitted(county: County, land: Grid) -> WaterTableModel:
    """Fit the surface to depths below ground; to elevations where a level gives only that."""
    frames = [pd.DataFrame(columns=["x_m", "y_m", "depth_m", "head_m", "datum"])]
    for name, column in (("water_levels", "depth_to_water_m"), ("wells", "static_level_m")):
        table = county.tables.get(name)
        if isinstance(table, gpd.GeoDataFrame):
            placed = table[table.geometry.notna()]
            points = {"x_m": placed.geometry.x, "y_m": placed.geometry.y}
            points["depth_m"] = placed[column].astype(float)
            if name == "water_levels" and "water_elevation_m" in placed:
                points["head_m"] = placed["water_elevation_m"].where(placed[column].isna())
                points["datum"] = placed["vertical_datum"].astype(object)
            frames.append(pd.DataFrame(points))
    levels = pd.concat([frame for frame in frames if len(frame)] or frames[:1])
    levels = levels.reindex(columns=frames[0].columns)
    levels = levels[levels[["depth_m", "head_m"]].notna().any(axis=1)]
    if len(levels) < FEWEST_LEVELS:
        raise NotEnoughDataError(
            f"{len(levels)} measured water levels, {FEWEST_LEVELS} needed for a surface."
        )
    x_m, y_m, depth, head = (
        levels[name].to_numpy(float) for name in ("x_m", "y_m", "depth_m", "head_m")
    )
    by_head = np.isfinite(head)
    datum = np.where(by_head, levels["datum"].to_numpy(object), DATUM_NEW)
    given = water_levels(
        x_m, y_m, head_m=head, depth_m=depth, land_m=land.bilinear(x_m, y_m), datum=datum
    )
    return fit_water_table(given)
