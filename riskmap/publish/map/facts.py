"""Which columns the map's card shows, in which group, and how each is packed."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from riskmap.contract import features
from riskmap.contract.evidence import EVIDENCE, mark_of
from riskmap.contract.features import COLUMNS, as_words, column, declared, label, shown
from riskmap.contract.features.card import GROUP_NOTES, MORE
from riskmap.contract.layers import PRIVATE
from riskmap.contract.quantities import Units
from riskmap.publish.map.packing import Package, pack_codes, pack_numbers, pack_words

FILTERED: Final = tuple(found.name for found in declared(filtered=True))
"""Facts that the page filters by: read with the page, the rest with the first card."""

LEDGER: Final = "ledger"
"""Column with the sum behind the chance, folded on the card."""
PAINTED: Final = ("stage",)
"""Facts that parcels are colored by: read before the first paint."""

BY_PAIRS: Final = tuple(found.name for found in declared(with_wells=True))
"""Facts that the list of wells reached gives in full."""

_RATING: Final = re.compile(r" \([0-9.]+\)")


@dataclass(frozen=True)
class Fact:
    """One line of the card."""

    column: str
    group: str
    label: str
    unit: str
    evidence: bool
    none: str = ""
    """Words for zero, of a number of years that is cut off at the model's horizon."""
    one: str = ""
    """The unit of exactly one, where it differs."""
    grouped: bool = True
    """Whether thousands get a comma."""


def facts_of(ranked: pd.DataFrame, *, units: Units, without: Collection[str] = ()) -> list[Fact]:
    """List the card's lines for the columns that the table has.

    Parameters
    ----------
    ranked
        The ranked table.
    units
        ``us`` or ``si``.
    without
        Columns that the card shows in another way.

    Returns
    -------
    list
        In the card's order; columns that are not declared come last.
    """
    elsewhere = {*without, *(["installed_year"] if installed_from(ranked) is not None else [])}
    found = [
        _fact(ranked, name, group, units)
        for group in GROUP_NOTES
        for name in (found.name for found in declared(card=group))
        if name in ranked and name not in elsewhere
    ]
    return found + [_fact(ranked, name, MORE, units) for name in extra_columns(ranked)]


def installed_from(ranked: pd.DataFrame) -> int | None:
    """Year from which every known age counts back to the year installed; None if there is none.

    Where there is, the card derives the year and the page need not hold it.
    """
    if "age_yr" not in ranked or "installed_year" not in ranked:
        return None
    both = ranked[["age_yr", "installed_year"]].apply(pd.to_numeric, errors="coerce")
    if (both["age_yr"].isna() != both["installed_year"].isna()).any():
        return None
    years = both.sum(axis=1, min_count=2).dropna().unique()
    return int(years[0]) if len(years) == 1 and float(years[0]).is_integer() else None


def extra_columns(ranked: pd.DataFrame) -> list[str]:
    """Columns beyond the declared ones, the scores, the points and the private ones."""
    endings = ("_points", "_limitation", "_evidence")
    declared_names = {*COLUMNS, *PRIVATE, LEDGER, "geometry"}
    return [
        name
        for name in ranked.columns
        if name not in declared_names and not str(name).endswith(endings)
    ]


def pack_fact(package: Package, values: pd.Series, fact: Fact, *, units: Units) -> dict[str, Any]:
    """Add the column of one card line: numbers as shown, flags as words, text as words.

    Parameters
    ----------
    package
        Gets the column.
    values
        SI values, in the package's order.
    fact
        The card's line.
    units
        ``us`` or ``si``.

    Returns
    -------
    dict
        Description of the column for the page.
    """
    if values.dtype == bool or isinstance(values.dtype, pd.BooleanDtype):
        words = values.astype("boolean").map({True: "yes", False: "no"})
        return pack_codes(package, pd.Series(words, index=values.index, dtype=object))
    if pd.api.types.is_numeric_dtype(values.dtype):
        if fact.column not in COLUMNS and not fact.unit and _has_fractions(values):
            return pack_numbers(package, values, decimals=3)
        decimals = features.scale(fact.column, units).decimals
        return pack_numbers(package, shown(values, fact.column, units), decimals=decimals)
    if _all_flags(values):
        return pack_codes(package, values.map({True: "yes", False: "no"}))
    if fact.column == "soil_reasons":
        return pack_words(package, values.map(_leading_limits, na_action="ignore"))
    return pack_words(package, as_words(values, column(fact.column)))


def pack_evidence(package: Package, values: pd.Series) -> dict[str, Any]:
    """Add an evidence column; its words keep the declared order."""
    return pack_codes(package, values, EVIDENCE)


def _leading_limits(text: object) -> str:
    """Return the first four limits without their ratings; the files hold them all."""
    return "; ".join(_RATING.sub("", str(text)).split("; ")[:4])


def _fact(ranked: pd.DataFrame, name: str, group: str, units: Units) -> Fact:
    found, scale = column(name), features.scale(name, units)
    return Fact(
        name,
        group,
        label(name, units),
        scale.unit,
        mark_of(name) in ranked,
        found.none,
        scale.one,
        found.quantity.grouped,
    )


def _has_fractions(values: pd.Series) -> bool:
    number = values.to_numpy(dtype=float, na_value=np.nan)
    known = number[np.isfinite(number)]
    return bool((known != np.round(known)).any())


def _all_flags(values: pd.Series) -> bool:
    known = values.dropna()
    return len(known) > 0 and all(isinstance(value, bool | np.bool_) for value in known.head(50))
