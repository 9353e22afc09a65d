"""Words, units and rounding of any column that a report may meet, declared or not."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.features import FAILURE, FEATURES
from riskmap.contract.layers import EVIDENCE
from riskmap.contract.units import GPD_PER_FT2_L_D_M2, INCH_CM, SQUARE_FOOT_M2
from riskmap.publish.map.facts import as_words
from riskmap.publish.report.section import number
from riskmap.publish.words.display import Reading, Units, readable
from riskmap.publish.words.text_safety import plain_text

_US: Final = {
    **{feature.name: ("sq ft", 1 / SQUARE_FOOT_M2) for feature in FAILURE if feature.unit == "m2"},
    "ponding_m": ("in", 100 / INCH_CM),
    "accept_rate_l_d_m2": ("gal/day per sq ft", 1 / GPD_PER_FT2_L_D_M2),
}
"""Columns whose usual unit in the United States is not that of their kind."""

_SI: Final = {"ponding_m": ("cm", 100.0), "accept_rate_l_d_m2": ("L/day per m²", 1.0)}
_OWN_UNITS: Final = {"kg/yr": "kg a year", "mg/L as N": "mg/L as N"}
_LABELS: Final = {"systems_per_km2": "Density of onsite systems within 400 m"}
_US_LABELS: Final = {
    "systems_per_km2": "Density of onsite systems within a quarter mile",
    "wells_within_150_m": "Drinking-water wells within 490 ft",
    "systems_within_229_m": "Other onsite systems within 750 ft",
    "ksat_um_s": "Slowest saturated conductivity below 24 in",
}
"""Labels that hold a length or a unit, in what people read."""


def reading_of(column: str, *, units: Units) -> Reading:
    """Label, unit and factor of a column.

    >>> reading_of("ponding_m", units="us").unit, reading_of("nitrogen_kg_yr", units="us").unit
    ('in', 'kg a year')
    """
    feature = FEATURES.get(column)
    known = readable(column, units=units)
    meaning = label_of(column, units=units)
    special = (_US if units == "us" else _SI).get(column)
    if special:
        return Reading(meaning, special[0], special[1], known.decimals)
    if feature and feature.unit in _OWN_UNITS:
        return Reading(meaning, _OWN_UNITS[feature.unit], 1.0, known.decimals)
    return Reading(meaning, known.unit, known.factor, known.decimals)


def shown_value(column: str, value: float, *, units: Units) -> str:
    """Return one SI value with its unit, three significant digits.

    >>> shown_value("well_distance_m", 30.48, units="us"), shown_value("age_yr", 30, units="si")
    ('100 ft', '30 years')
    """
    reading = reading_of(column, units=units)
    return f"{number(value * reading.factor)} {reading.unit}".strip()


def label_of(column: str, *, units: Units) -> str:
    """Plain words for a column.

    >>> label_of("wells_within_150_m", units="us"), label_of("well_setback_m", units="us")
    ('Drinking-water wells within 490 ft', 'Well setback m')
    """
    feature = FEATURES.get(column)
    meaning = feature.meaning if feature else column.replace("_", " ").capitalize()
    label = _LABELS.get(column, meaning)
    return _US_LABELS.get(column, label) if units == "us" else label


def words_of(value: object) -> str:
    """Return a word of a table as people read it: no underscores, first letter large.

    >>> words_of("seepage_pit")
    'Seepage pit'
    """
    text = plain_text(as_words(value))
    return text[:1].upper() + text[1:]


def numbers(values: pd.Series) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return a column as floats, NaN where missing or not finite."""
    array = pd.to_numeric(values, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    return np.where(np.isfinite(array), array, np.nan)


def evidence_counts(table: pd.DataFrame, column: str) -> list[int]:
    """How many rows are measured, mapped, inferred, assumed, unknown (in that order).

    A column without marks counts as mapped where it has a value: it is computed from shapes.
    """
    known = table[column].notna().to_numpy()
    mark = f"{column}_evidence"
    if mark not in table:
        found = {"mapped": int(known.sum())}
    else:
        found = {str(k): int(n) for k, n in table.loc[known, mark].value_counts().items()}
    counts = [found.get(word, 0) for word in EVIDENCE[:-1]]
    return [*counts, len(table) - sum(counts)]
