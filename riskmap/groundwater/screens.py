"""What a well draws on: the depth of its screen below the water table and its width of draw."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from riskmap.contract.arrays import Floats
from riskmap.groundwater.gradient import FlowField
from riskmap.groundwater.settings import WellSettings


def column(frame: pd.DataFrame, name: str, default: float = np.nan) -> Floats:
    """Read a column as floats, NaN where missing; ``default`` throughout if it is not there.

    Parameters
    ----------
    frame
        Table of n rows.
    name
        Column of numbers.
    default
        Value of all rows where the table has no such column.
    """
    if name not in frame:
        return np.full(len(frame), default)
    return frame[name].to_numpy(float, na_value=np.nan)


def screen_windows(
    wells: pd.DataFrame, *, unknown_screen_m: float
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Depth window below the water table from which each well draws, and whether it is known.

    From its screen (``screen_top_m``, ``screen_bottom_m``) or else from the casing's end to the
    well's (``casing_m``, ``depth_m``), all below ground, less ``static_level_m``; an unknown level
    counts as 0 (the window is then too deep by that much, and marked not known).

    Parameters
    ----------
    wells
        The columns named, (n,); NaN or left out where unknown.
    unknown_screen_m
        Depth below the water table that a well draws on where neither is known.

    Returns
    -------
    top, bottom (m below the water table) and whether the window is known, each (n,).
    """
    level = column(wells, "static_level_m")
    top, bottom = (
        np.where(np.isfinite(screen), screen, built)
        for screen, built in (
            (column(wells, "screen_top_m"), column(wells, "casing_m")),
            (column(wells, "screen_bottom_m"), column(wells, "depth_m")),
        )
    )
    top, bottom = top - np.nan_to_num(level), bottom - np.nan_to_num(level)
    known = np.isfinite(top + bottom) & (bottom > np.maximum(top, 0.0))
    return (
        np.where(known, np.maximum(top, 0.0), 0.0),
        np.where(known, bottom, unknown_screen_m),
        known & np.isfinite(level),
    )


def draw_l_d(wells: pd.DataFrame, settings: WellSettings) -> tuple[Floats, NDArray[np.object_]]:
    """Draw of each well, L/day (n,), and its evidence: measured or assumed.

    Its metered ``flow_l_d``; else a public well's tested ``yield_l_d``, which it never exceeds;
    else the settings' draw of a public well or of a home's.
    """
    metered, tested = column(wells, "flow_l_d"), column(wells, "yield_l_d")
    public = is_public(wells)
    known = np.where(np.isfinite(metered), metered, np.where(public, tested, np.nan))
    assumed = np.where(public, settings.public_l_d, settings.home_l_d)
    given = np.isfinite(known)
    return np.where(given, known, assumed), np.where(given, "measured", "assumed").astype(object)


def is_public(wells: pd.DataFrame) -> NDArray[np.bool_]:
    """Wells of public supplies; none where the county does not record it."""
    if "use" not in wells:
        return np.zeros(len(wells), bool)
    return (wells["use"] == "public").fillna(False).to_numpy(bool)


def draw_width_m(
    pumped_l_d: Floats,
    wells: pd.DataFrame,
    flow: FlowField,
    top_m: Floats,
    bottom_m: Floats,
    *,
    thickness_m: float,
) -> Floats:
    """Width across the flow from which each well draws: pumping / (flux x screen length), m.

    Where the flux is unknown or nearly still, the field's usual flux (median, a twentieth of it at
    least) is used, so that no well draws on a whole county.

    Parameters
    ----------
    pumped_l_d
        Draw of each well (n,), L/day.
    wells
        ``x_m``, ``y_m``.
    flow
        Flux of the ground water.
    top_m, bottom_m
        From :func:`screen_windows`.
    thickness_m
        Of the aquifer; no screen is longer.
    """
    flux = flow.grid.with_values(flow.flux_m_d).sample(column(wells, "x_m"), column(wells, "y_m"))
    usual = float(np.nanmedian(flow.flux_m_d)) if np.isfinite(flow.flux_m_d).any() else np.nan
    flux = np.maximum(np.where(np.isfinite(flux), flux, usual), 0.05 * usual)
    length = np.clip(bottom_m - top_m, 1.0, thickness_m)
    return np.nan_to_num(pumped_l_d / 1000.0 / np.where(flux > 0, flux * length, np.inf))
