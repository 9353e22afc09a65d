"""Lot sizes on record against the lots as drawn: what shows a wrong system or unit."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np

from riskmap.contract.units import ACRE_M2, FOOT_M, SQUARE_FOOT_M2

LEAST_LOTS: Final = 20
AGREES: Final = 1.25
LIKELY: Final = {
    1 / SQUARE_FOOT_M2: "the lots are in feet and said to be in meters",
    SQUARE_FOOT_M2: "the lots are in meters and said to be in feet",
    1 / ACRE_M2: "the record is in square meters and said to be in acres",
    ACRE_M2: "the record is in acres and said to be in square meters",
    SQUARE_FOOT_M2 / ACRE_M2: "the record is in square feet and said to be in acres",
    ACRE_M2 / SQUARE_FOOT_M2: "the record is in acres and said to be in square feet",
    1 / FOOT_M: "one side is in feet",
}
"""Drawn size through recorded size -> what it looks like."""


def lot_size_trouble(parcels: gpd.GeoDataFrame) -> str:
    """Say what is wrong where half of the lots differ by more than a quarter; empty if they agree.

    Parameters
    ----------
    parcels
        Shapes in meters and ``recorded_area_m2``.
    """
    recorded = parcels["recorded_area_m2"].to_numpy(float)
    drawn = parcels.geometry.area.to_numpy(float)
    both = np.isfinite(recorded) & (recorded > 0) & (drawn > 0)
    if both.sum() < LEAST_LOTS:
        return ""
    ratio = float(np.median(drawn[both] / recorded[both]))
    if 1 / AGREES <= ratio <= AGREES:
        return ""
    near = min(LIKELY, key=lambda factor: abs(np.log(ratio / factor)))
    close = abs(np.log(ratio / near)) < np.log(AGREES)
    guess = f": perhaps {LIKELY[near]}" if close else ""
    return f"half of the lots are drawn over {ratio:.3g} times as large as on record{guess}"
