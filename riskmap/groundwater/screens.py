"""What a well draws on: the depth of its screen below the water table and its width of draw."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from riskmap.contract.arrays import Floats
from riskmap.groundwater.gradient import FlowField


def column(frame: pd.DataFrame, name: str, default: float = np.nan) -> Floats:
    """Read a column as floats, NaN where missing; ``default`` throughout if it is not there."""
    if name not in frame:
        return np.full(len(frame), default)
    return frame[name].to_numpy(float, na_value=np.nan)


def screen_windows(
    wells: pd.DataFrame, *, unknown_screen_m: float
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Depth window below the water table from which each well draws, and whether it is known.

    From ``casing_m`` and ``depth_m`` below ground less ``static_level_m``; an unknown level counts
    as 0 (the window is then too deep by that much, and marked not known).
    """
    level = column(wells, "static_level_m")
    top = column(wells, "casing_m") - np.nan_to_num(level)
    bottom = column(wells, "depth_m") - np.nan_to_num(level)
    known = np.isfinite(top + bottom) & (bottom > np.maximum(top, 0.0))
    return (
        np.where(known, np.maximum(top, 0.0), 0.0),
        np.where(known, bottom, unknown_screen_m),
        known & np.isfinite(level),
    )


def draw_width_m(
    wells: pd.DataFrame,
    flow: FlowField,
    top_m: Floats,
    bottom_m: Floats,
    *,
    default_flow_l_d: float,
    thickness_m: float,
) -> Floats:
    """Width across the flow from which each well draws: pumping / (flux x screen length), m.

    Where the flux is unknown or nearly still, the field's usual flux (median, a twentieth of it at
    least) stands in, so that no well draws on a whole county.
    """
    flux = flow.grid.with_values(flow.flux_m_d).sample(column(wells, "x_m"), column(wells, "y_m"))
    usual = float(np.nanmedian(flow.flux_m_d)) if np.isfinite(flow.flux_m_d).any() else np.nan
    flux = np.maximum(np.where(np.isfinite(flux), flux, usual), 0.05 * usual)
    pumped = column(wells, "flow_l_d")
    pumped = np.where(np.isfinite(pumped), pumped, default_flow_l_d) / 1000.0
    length = np.clip(bottom_m - top_m, 1.0, thickness_m)
    return np.nan_to_num(pumped / np.where(flux > 0, flux * length, np.inf))
