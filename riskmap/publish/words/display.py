"""From SI columns to what people read: label, unit, rounding, by the region's `units` setting.

>>> reading = readable("well_distance_m", units="us")
>>> reading.label, reading.unit, round(reading.factor, 4)
('Distance to the nearest drinking-water well', 'ft', 3.2808)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from riskmap.contract.features import FEATURES, Feature
from riskmap.contract.units import (
    ACRE_M2,
    FOOT_M,
    GALLON_L,
    INCH_CM,
    INCH_PER_HOUR_UM_S,
    SQUARE_FOOT_M2,
    SQUARE_MILE_KM2,
)

Units = Literal["us", "si"]

_US: Final = {
    "m": ("ft", 1 / FOOT_M, 0),
    "cm": ("in", 1 / INCH_CM, 0),
    "m2": ("acres", 1 / ACRE_M2, 2),
    "L": ("gal", 1 / GALLON_L, 0),
    "L/day": ("gal/day", 1 / GALLON_L, 0),
    "um/s": ("in/hr", 1 / INCH_PER_HOUR_UM_S, 2),
    "1/km2": ("per square mile", SQUARE_MILE_KM2, 0),
}
_SI: Final = {
    "m": ("m", 1.0, 0),
    "cm": ("cm", 1.0, 0),
    "m2": ("m²", 1.0, 0),
    "L": ("L", 1.0, 0),
    "L/day": ("L/day", 1.0, 0),
    "um/s": ("µm/s", 1.0, 1),
    "1/km2": ("per km²", 1.0, 0),
}
_SAME: Final = {
    "yr": ("years", 1.0, 0),
    "%": ("%", 1.0, 0),
    "0-1": ("%", 100.0, 0),
    "mg/L as N": ("mg/L as N", 1.0, 1),
    "kg/yr": ("kg/yr", 1.0, 1),
}
_SUFFIXES: Final = {
    "_m": "m",
    "_cm": "cm",
    "_m2": "m2",
    "_l": "L",
    "_l_d": "L/day",
    "_um_s": "um/s",
    "_yr": "yr",
    "_pct": "%",
    "_frac": "0-1",
    "_chance": "0-1",
}
_SQUARE_FEET: Final = frozenset({"field_area_m2", "treatment_m2"})
_ONE_DECIMAL: Final = frozenset(
    {"water_table_m", "wetness", "slope_pct", "load_ratio", "room_ratio", "travel_time_yr"}
)


@dataclass(frozen=True)
class Reading:
    """How a column is shown: its SI value times `factor`, to `decimals`, in `unit`."""

    label: str
    unit: str
    factor: float
    decimals: int


def readable(column: str, *, units: Units) -> Reading:
    """Label, unit and rounding of a column; works for columns that are declared nowhere."""
    feature = FEATURES.get(column, Feature(column, column.replace("_", " ").capitalize()))
    si_unit = feature.unit or _unit_of_name(column)
    if column in _SQUARE_FEET and units == "us":
        return Reading(feature.meaning, "sq ft", 1 / SQUARE_FOOT_M2, 0)
    table = _US if units == "us" else _SI
    unit, factor, decimals = table.get(si_unit) or _SAME.get(si_unit) or ("", 1.0, 0)
    if column in _ONE_DECIMAL:
        decimals = 1
    return Reading(feature.meaning, unit, factor, decimals)


def shown(values: pd.Series, reading: Reading) -> NDArray[np.float64]:
    """Values as shown: converted, to three significant digits and at most `decimals`."""
    number = pd.to_numeric(values, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    number = np.where(np.isfinite(number), number, np.nan) * reading.factor
    rounded = np.round(number, reading.decimals)
    if not reading.unit or reading.unit in {"years", "%"}:
        return rounded
    with np.errstate(divide="ignore", invalid="ignore"):
        digits = np.floor(np.log10(np.abs(rounded))) - 2
    step = 10.0 ** np.where(np.isfinite(digits) & (digits > 0), digits, 0)
    return np.where(step > 1, np.round(rounded / step) * step, rounded)


def _unit_of_name(column: str) -> str:
    for suffix in sorted(_SUFFIXES, key=len, reverse=True):
        if column.endswith(suffix):
            return _SUFFIXES[suffix]
    return ""
