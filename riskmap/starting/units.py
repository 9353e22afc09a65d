"""The unit that a column's numbers are in: by its name, else by what is usual, else asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from data_pipelines.values import as_text, plain_number
from riskmap.contract.columns import Column
from riskmap.contract.units import FACTORS
from riskmap.starting.names import words_of

UNIT_OF_WORD: Final[Mapping[str, Mapping[str, str]]] = {
    "m": {"feet": "ft", "meters": "m", "inches": "in", "centimeters": "cm"},
    "cm": {"feet": "ft", "meters": "m", "inches": "in", "centimeters": "cm"},
    "L": {"gallons": "gal", "liters": "l"},
    "L/day": {"gpd": "gpd", "gallons": "gpd", "gpm": "gpm", "liters": "l_d"},
    "m2": {"acres": "acre", "squarefeet": "ft2", "feet": "ft2", "meters": "m2", "hectares": "ha"},
    "min/cm": {"inches": "min_in", "centimeters": "min_cm"},
    "mg/L as N": {"mg": "mg_l", "ppm": "mg_l"},
}
"""SI unit of a column -> plain word in a name -> unit word of the region file."""

USUAL: Final[Mapping[str, tuple[float, float]]] = {
    "depth_m": (10, 150), "casing_m": (5, 100), "screen_top_m": (5, 140),
    "screen_bottom_m": (8, 150), "static_level_m": (2, 60), "ground_elevation_m": (0, 3000),
    "depth_to_water_m": (1, 60), "water_elevation_m": (0, 3000), "ponding_cm": (2, 60),
    "tank_volume_l": (2500, 8000), "design_flow_l_d": (700, 4000), "field_area_m2": (25, 250),
    "living_area_m2": (70, 350), "recorded_area_m2": (500, 200_000), "yield_l_d": (5e3, 5e5),
    "metered_flow_l_d": (200, 2500), "percolation_min_cm": (2, 40), "nitrate_mg_l": (0.05, 20),
}  # fmt: skip
"""Where the median of a county's records mostly lies, in the SI unit (common practice, no
source)."""

US_UNIT: Final = {
    "m": "ft", "cm": "in", "L": "gal", "L/day": "gpd", "m2": "ft2", "min/cm": "min_in",
    "mg/L as N": "mg_l",
}  # fmt: skip
_OF_COLUMN: Final = {"yield_l_d": "gpm", "recorded_area_m2": "acre"}


@dataclass(frozen=True)
class Unit:
    """A unit word of the region file, whether it is sure, and why."""

    word: str
    sure: bool
    evidence: str


def look_at_unit(
    name: str, raw: pd.Series, column: Column, *, lot_m2: float | None = None
) -> Unit | None:
    """Tell the unit of a column's numbers; None for a column without units.

    Parameters
    ----------
    name, raw
        The source column.
    column
        The canonical column it feeds.
    lot_m2
        Median size of the lots as drawn: what a lot size on record is held against.
    """
    factors = FACTORS.get(column.unit)
    if factors is None:
        return None
    numbers = plain_number(as_text(raw))
    median = float(np.nanmedian(numbers[numbers > 0])) if (numbers > 0).any() else float("nan")
    if column.name == "recorded_area_m2" and lot_m2 and np.isfinite(median):
        near = {unit: abs(np.log(median * factor / lot_m2)) for unit, factor in factors.items()}
        best = min(near, key=lambda unit: near[unit])
        if near[best] < np.log(1.5):
            return Unit(best, sure=True, evidence="agrees with the lots as drawn")
        said = "no unit makes it agree with the lots as drawn: is their reference system right?"
        return Unit(_by_name(name, column) or best, sure=False, evidence=said)
    named = _by_name(name, column)
    usual = USUAL.get(column.name)
    if named:
        odd = usual and np.isfinite(median) and not _fits(median * factors[named], usual, 4.0)
        return Unit(named, sure=not odd, evidence="by its name" + (", odd size" if odd else ""))
    default = _OF_COLUMN.get(column.name, US_UNIT[column.unit])
    if usual is None or not np.isfinite(median):
        return Unit(default, sure=False, evidence="the unit is not told; taken as usual")
    fitting = [unit for unit, factor in factors.items() if _fits(median * factor, usual, 1.0)]
    word = default if default in fitting or not fitting else fitting[0]
    return Unit(word, sure=False, evidence=f"the unit is not told; half are below {median:,.4g}")


def of_usual_size(numbers: pd.Series, column: Column) -> bool:
    """Whether the numbers are of a size that the column can have, in any of its units."""
    usual, known = USUAL.get(column.name), numbers[numbers > 0]
    if usual is None or known.empty:
        return True
    median = float(known.median())
    return any(_fits(median * factor, usual, 10.0) for factor in FACTORS[column.unit].values())


def _by_name(name: str, column: Column) -> str | None:
    words = UNIT_OF_WORD.get(column.unit, {})
    return next((words[word] for word in reversed(words_of(name)) if word in words), None)


def _fits(value: float, usual: tuple[float, float], slack: float) -> bool:
    return usual[0] / slack <= value <= usual[1] * slack
