"""The columns of a result's parcels, declared once, one file a subject.

The packages ``inventory`` (writes), ``failure``, ``groundwater``, ``ranking`` (read) and
``publish`` (shows) agree on these names. :func:`column` finds a declaration by name; :func:`label`,
:func:`meaning`, :func:`scale`, :func:`shown` and :func:`in_sentence` give it as people read it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np
import pandas as pd

from riskmap.contract import quantities
from riskmap.contract.arrays import Floats
from riskmap.contract.columns import Column
from riskmap.contract.evidence import EVIDENCE
from riskmap.contract.features.outlook import CHANCE, FAILED_TODAY, FAILURE, FIELD, ROOM
from riskmap.contract.features.place import PARCEL_ID, PLACE, ZONE
from riskmap.contract.features.ranks import (
    CLASSES,
    DOUBT,
    LEARNED,
    LIST_PLACE,
    LISTING,
    LISTS,
    RANKED,
    REASONS,
    RECORDS,
    SCORES,
    WHY,
)
from riskmap.contract.features.soil import SOIL, SOIL_LIMITS
from riskmap.contract.features.system import SYSTEM
from riskmap.contract.features.water import GROUNDWATER, NEAR_WATER
from riskmap.contract.quantities import Scale, Units

__all__ = [
    "CHANCE",
    "COLUMNS",
    "DOUBT",
    "FAILED_TODAY",
    "FAILURE",
    "FEATURES",
    "FIELD",
    "GROUNDWATER",
    "INVENTORY",
    "LEARNED",
    "LISTING",
    "LISTS",
    "PARCEL_ID",
    "RANKED",
    "ROOM",
    "SOIL_LIMITS",
    "WHY",
    "as_word",
    "as_words",
    "column",
    "declared",
    "in_sentence",
    "label",
    "meaning",
    "scale",
    "shown",
    "words",
]

INVENTORY: Final = (*PLACE, *SYSTEM, *SOIL, *NEAR_WATER)
"""What the inventory finds: one row per parcel, index ``parcel_id``."""

FEATURES: Final[Mapping[str, Column]] = {
    found.name: found for found in (*INVENTORY, *CHANCE, *FAILURE, *GROUNDWATER)
}
"""Every column that a factor of the scoring model may read, by name."""

COLUMNS: Final[Mapping[str, Column]] = {
    found.name: found
    for found in (
        *LIST_PLACE,
        PARCEL_ID,
        *PLACE[:2],
        *WHY,
        *SCORES,
        *LISTING[:2],
        *DOUBT,
        *LEARNED,
        *CLASSES,
        *RECORDS,
        *REASONS,
        *LISTING[2:],
        *FEATURES.values(),
        ZONE,
    )
}
"""Every declared column of the parcels, in the order in which people meet them."""


def column(name: str) -> Column:
    """Return the declaration of a column.

    One that is declared nowhere gets what follows from its name: a mark of evidence, the points of
    a factor, or the quantity of its ending.

    >>> column("age_yr").unit, column("odd_depth_cm").unit, column("age_points").meaning
    ('yr', 'cm', 'Points of the factor age in its score')
    """
    found = COLUMNS.get(name)
    if found is not None:
        return found
    if name.endswith("_evidence"):
        of = column(name.removesuffix("_evidence"))
        return Column(
            name,
            f"How {of.name} is known: {', '.join(EVIDENCE)}",
            "text",
            domain=EVIDENCE,
            label=f"{of.label or of.meaning} known from",
        )
    if name.endswith("_points"):
        words = f"Points of the factor {name.removesuffix('_points')} in its score"
        return Column(name, words, quantity=quantities.POINTS)
    quantity = quantities.of_name(name)
    return Column(name, name.replace("_", " ").capitalize(), quantity=quantity)


def declared(**having: Any) -> Iterator[Column]:
    """Yield the declared columns whose fields are as given, in order.

    >>> [found.name for found in declared(in_report="groundwater")][:2]
    ['water_table_m', 'well_distance_m']
    """
    for found in COLUMNS.values():
        if all(getattr(found, name) == value for name, value in having.items()):
            yield found


def meaning(name: str, units: Units) -> str:
    """Meaning of a column; lengths in it are in the units of the reader.

    >>> meaning("wells_within_150_m", "us")
    'Drinking-water wells within 490 ft'
    """
    return quantities.in_units(column(name).meaning, units)


def label(name: str, units: Units) -> str:
    """Short words for a column, else its meaning.

    >>> label("systems_within_229_m", "us"), label("clay_pct", "us")
    ('Other systems within 750 ft', 'Clay at trench depth')
    """
    found = column(name)
    return quantities.in_units(found.label or found.meaning, units)


def scale(name: str, units: Units) -> Scale:
    """Return unit, factor and decimals with which a column is read.

    >>> scale("well_distance_m", "us").unit, scale("nitrogen_kg_yr", "us").unit
    ('ft', 'lb a year')
    """
    return column(name).quantity.scale(units)


def shown(values: pd.Series, name: str, units: Units) -> Floats:
    """Values of a column as people read them: converted and rounded.

    Parameters
    ----------
    values
        SI values (n,), numbers or texts of numbers.
    name
        Column, declared or not (see :func:`column`).
    units
        ``us`` or ``si``.

    Returns
    -------
    ndarray
        (n,); NaN where unknown or no number.
    """
    numbers = pd.to_numeric(values, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    return quantities.shown(numbers, column(name).quantity, units)


def words(values: pd.Series, name: str, units: Units) -> pd.Series:
    """Values of a column as texts with their unit.

    Parameters
    ----------
    values, name, units
        As in :func:`shown`; words of a text column are replaced by those that people read.

    Returns
    -------
    Series
        Index of `values`; empty where unknown.

    Examples
    --------
    >>> words(pd.Series([30.48, None]), "well_distance_m", "us").tolist()
    ['100 ft', '']
    """
    return _each(values, name, units, noun=False)


def in_sentence(values: pd.Series, name: str, units: Units) -> pd.Series:
    """Values of a column as texts for running text: with the noun that is counted, or the unit.

    Parameters
    ----------
    values, name, units
        As in :func:`words`.

    Returns
    -------
    Series
        Index of `values`; empty where unknown.

    Examples
    --------
    >>> in_sentence(pd.Series([1, 3]), "complaints", "us").tolist()
    ['1 complaint', '3 complaints']
    >>> in_sentence(pd.Series(["seepage_pit", None]), "kind", "us").tolist()
    ['seepage pit', '']
    """
    return _each(values, name, units, noun=True)


def _each(values: pd.Series, name: str, units: Units, *, noun: bool) -> pd.Series:
    found = column(name)
    if not pd.api.types.is_numeric_dtype(values.dtype):
        texts = as_words(values, found).astype("string").fillna("")
        return texts.astype("string")
    numbers = values.astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    unique, places = np.unique(numbers, return_inverse=True)
    written = ["" if np.isnan(n) else _one(float(n), found, units, noun) for n in unique]
    return pd.Series(np.array(written)[places], index=values.index, dtype="string")


def _one(value: float, found: Column, units: Units, noun: bool) -> str:
    written = quantities.text(value, found.quantity, units)
    if not noun or found.noun is None:
        return written
    return f"{written} {found.noun[0] if written == '1' else found.noun[1]}"


def as_words(values: pd.Series, found: Column | None = None) -> pd.Series:
    """Text values as people read them: declared words, no underscores, lists as one text.

    Underscores stay where a declared column may hold any text, such as names.

    >>> as_words(pd.Series([["age", "tank volume"], "hundred_year"])).tolist()
    ['age; tank volume', 'hundred year']
    >>> as_words(pd.Series(["hundred_year"]), column("flood_zone")).tolist()
    ['1% annual chance']
    """
    if values.map(type).isin([list, tuple, set, frozenset, np.ndarray]).any():
        return values.map(as_word)
    if found is not None and found.name in COLUMNS and not found.domain:
        return values
    known = {} if found is None else found.words
    return values.map({word: known.get(word, as_word(word)) for word in values.dropna().unique()})


def as_word(value: object) -> object:
    """Return one value as people read it; see :func:`as_words`.

    >>> as_word("seepage_pit"), as_word("A_1"), as_word(3)
    ('seepage pit', 'A_1', 3)
    """
    if isinstance(value, list | tuple | set | frozenset | np.ndarray):
        return "; ".join(str(item) for item in value)
    if isinstance(value, str) and "_" in value and " " not in value and value.islower():
        return value.replace("_", " ")
    return value
