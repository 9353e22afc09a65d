"""Feature values in the words and units that people read."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.units import (
    ACRE_M2,
    FOOT_M,
    GALLON_L,
    INCH_CM,
    POUND_KG,
    SQUARE_MILE_KM2,
    UM_S_M_D,
)

Text = Callable[[float], str]

KIND_WORDS: Final = {
    "trench": "trench field",
    "bed": "bed",
    "mound": "mound",
    "seepage_pit": "seepage pit",
    "drip": "drip field",
    "aerobic_unit": "aerobic unit",
    "holding_tank": "holding tank",
    "cesspool": "cesspool",
    "hundred_year": "hundred-year",
    "five_hundred_year": "five-hundred-year",
}


def _plural(word: str, many: str | None = None) -> Text:
    def text(value: float) -> str:
        number = f"{value:,.0f}"
        return f"{number} {word if number == '1' else many or word + 's'}"

    return text


def _number(form: str, unit: str, factor: float = 1.0) -> Text:
    return lambda value: f"{value * factor:{form}}{unit}"


def _feet(value: float) -> str:
    feet = value / FOOT_M
    return f"{feet:,.0f} ft" if feet < 2640 else f"{feet / 5280:.1f} miles"


def _meters(value: float) -> str:
    return f"{value:,.0f} m" if value < 1000 else f"{value / 1000:.1f} km"


def _acres(value: float) -> str:
    acres = value / ACRE_M2
    return f"{acres:.2f} acre" + ("" if acres <= 1 else "s")


PLAIN: Final[dict[str, Text]] = {
    "age_yr": _plural("year"),
    "years_since_pumped_yr": _plural("year"),
    "slope_pct": _number(".0f", " %"),
    "complaints": _plural("complaint"),
    "repairs": _plural("repair"),
    "wells_within_150_m": _plural("drinking-water well"),
    "occupants": _plural("person", "persons"),
    "reserve_frac": _number(".0f", " %", 100),
    "chance_failing_frac": _number(".0f", " %", 100),
    "vulnerability": _number(".0f", " %", 100),
    "reaching": _number(".2f", ""),
    "load_ratio": _number(".1f", " times"),
    "room_ratio": _number(".1f", " times"),
    "pump_overdue_yr": _plural("year"),
    "wells_soon": _plural("drinking-water well lies", "drinking-water wells lie"),
    "wells_reached": _plural("drinking-water well"),
    "travel_time_yr": _number(".1f", " years"),
    "years_to_failed_yr": _plural("year"),
}
"""Features worded alike in both unit systems."""

SMALL_LENGTHS: Final = ("ponding_m",)
"""Lengths in meters that people read in inches or centimeters."""

BY_UNIT: Final[dict[str, dict[str, Text]]] = {
    "us": {
        "m": _feet,
        "cm": _number(",.0f", " in", 1 / INCH_CM),
        "m2": _acres,
        "um/s": _number(".2g", " in/h", 0.1417),
        "1/km2": _number(",.0f", " homes per square mile", SQUARE_MILE_KM2),
        "kg/yr": _number(",.0f", " lb a year", 1 / POUND_KG),
        "mg/L as N": _number(".1f", " mg/L"),
        "L": _number(",.0f", " gal", 1 / GALLON_L),
        "L/day": _number(",.0f", " gal/day", 1 / GALLON_L),
    },
    "si": {
        "m": _meters,
        "cm": _number(",.0f", " cm"),
        "m2": _number(",.0f", " m2"),
        "um/s": _number(".2g", " m/day", UM_S_M_D),
        "1/km2": _number(",.0f", " homes per square kilometer"),
        "kg/yr": _number(",.1f", " kg a year"),
        "mg/L as N": _number(".1f", " mg/L"),
        "L": _number(",.0f", " L"),
        "L/day": _number(",.0f", " L/day"),
    },
}
"""Wording by the unit of the feature."""


def worded(values: pd.Series, *, feature: str, unit: str, units: str) -> pd.Series:
    """Feature values as text.

    Parameters
    ----------
    values
        (n,) values; unknown ones give an empty text.
    feature, unit
        The inventory column and its SI unit.
    units
        ``us`` or ``si``.

    >>> worded(pd.Series([30.48]), feature="well_distance_m", unit="m", units="us").tolist()
    ['100 ft']
    """
    if not pd.api.types.is_numeric_dtype(values.dtype):
        words = values.astype("string").fillna("")
        return words.map(lambda word: KIND_WORDS.get(word, word)).astype("string")
    numbers = values.astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    if feature in SMALL_LENGTHS:
        numbers, unit = numbers * 100, "cm"
    text = PLAIN.get(feature) or BY_UNIT[units].get(unit) or _number(".2g", "")
    unique, places = np.unique(numbers, return_inverse=True)
    texts = np.array(["" if np.isnan(value) else text(float(value)) for value in unique])
    return pd.Series(texts[places], index=values.index, dtype="string")
