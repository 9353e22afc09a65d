"""Cross-checks of wells: feet sold as meters, depths that contradict each other, mixed datums.

Nothing is changed here: what is suspicious is reported for the county to correct.
"""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from data_pipelines import flags
from data_pipelines.defect_log import DefectLog
from riskmap.contract.grid import Grid
from riskmap.contract.layers import WELLS
from riskmap.contract.units import FOOT_M

FEWEST_WELLS: Final = 3
CLOSER: Final = 4.0
"""The other unit must fit this many times better before the unit is doubted."""

FAR_FROM_TERRAIN_M: Final = 30.0
_KEPT: Final = "kept: check the unit and correct it in the region file"


def check_elevation_unit(wells: gpd.GeoDataFrame, terrain: Grid) -> pd.DataFrame:
    """Hold recorded ground elevations against the terrain raster.

    Three readings are compared by their median distance from the terrain: as recorded; recorded
    elevations are feet; the terrain is in feet. If one of the latter fits four times better, all
    rows are reported under ``feet_sold_as_meters`` or ``terrain_in_feet``. Otherwise single rows
    that fit only as feet, or not at all (over 30 m away), are reported.

    Parameters
    ----------
    wells
        Canonical wells in the reference system of `terrain`.

    Returns
    -------
    DataFrame
        Defects; nothing in `wells` is changed.
    """
    log = DefectLog(WELLS.name)
    elevation = wells["ground_elevation_m"].to_numpy(dtype="float64")
    ground = terrain.sample(wells.geometry.x.to_numpy(), wells.geometry.y.to_numpy())
    known = np.isfinite(elevation) & np.isfinite(ground)
    if known.sum() < FEWEST_WELLS:
        return log.table()
    wells, elevation, ground = wells[known], elevation[known], ground[known]
    recorded = wells["ground_elevation_m"]
    check = _fault_of_all(elevation, ground)
    if check is not None:
        log.add("ground_elevation_m", check, recorded, _KEPT)
        return log.table()
    off = np.abs(elevation - ground)
    as_feet = np.abs(elevation * FOOT_M - ground)
    far = off > FAR_FROM_TERRAIN_M
    feet = far & (as_feet * CLOSER < off)
    log.add("ground_elevation_m", "elevation_perhaps_feet", recorded[feet], _KEPT)
    log.add("ground_elevation_m", "elevation_far_from_terrain", recorded[far & ~feet], "kept")
    return log.table()


def _fault_of_all(elevation: NDArray[np.float64], ground: NDArray[np.float64]) -> str | None:
    misfit = {
        "as_recorded": float(np.median(np.abs(elevation - ground))),
        "feet_sold_as_meters": float(np.median(np.abs(elevation * FOOT_M - ground))),
        "terrain_in_feet": float(np.median(np.abs(elevation - ground * FOOT_M))),
    }
    best = min(misfit, key=lambda name: misfit[name])
    doubtful = misfit["as_recorded"] > FAR_FROM_TERRAIN_M
    if best == "as_recorded" or not doubtful or misfit[best] * CLOSER > misfit["as_recorded"]:
        return None
    return best


def check_in_water(wells: gpd.GeoDataFrame, waterbodies: gpd.GeoDataFrame) -> pd.DataFrame:
    """Report wells whose point lies in a lake or river (same reference system)."""
    log = DefectLog(WELLS.name)
    wet = flags.well_in_waterbody(wells.geometry, waterbodies.geometry)
    log.add("geometry", "well_in_waterbody", wells.loc[wet, "well_id"], "kept: check its place")
    return log.table()


def check_depths(wells: pd.DataFrame) -> pd.DataFrame:
    """Report implausible and contradictory depths, flowing wells and a mixture of datums."""
    log = DefectLog(WELLS.name)
    depth = wells["depth_m"]
    for column, check, flagged in (
        ("depth_m", "depth_over_200_m", flags.depth_over_200_m(depth)),
        ("casing_m", "casing_below_bottom", flags.casing_below_bottom(wells["casing_m"], depth)),
        (
            "screen_bottom_m",
            "screen_below_bottom",
            flags.screen_below_bottom(wells["screen_bottom_m"], depth),
        ),
        (
            "static_level_m",
            "level_below_bottom",
            flags.level_below_bottom(wells["static_level_m"], depth),
        ),
    ):
        log.add(column, check, wells.loc[flagged, column], "kept: perhaps feet, or a typing error")
    flows = flags.flowing(wells["static_level_m"])
    log.add("static_level_m", "flowing", wells.loc[flows, "static_level_m"], "kept: it flows")
    report_datums(wells["vertical_datum"], log)
    return log.table()


def report_datums(datum: pd.Series, log: DefectLog) -> None:
    """Report rows on another vertical datum than most; they differ by up to about 1.5 m."""
    other = flags.datum_differs(datum)
    log.add("vertical_datum", "mixed_vertical_datum", datum[other], "kept unshifted")
