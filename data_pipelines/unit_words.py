"""Words and signs that people write for units, and numbers with such a word behind them.

What is understood is a unit of the column's kind: feet behind a depth, gallons behind a volume.
The words are in :mod:`riskmap.contract.unit_names`, the factors in :mod:`riskmap.contract.units`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Final

import pandas as pd

from riskmap.contract.unit_names import UNIT_NAMES
from riskmap.contract.units import FACTORS


def fold(word: str) -> str:
    """Write a unit's word without blanks and its last stop, in lower case.

    >>> fold("Sq. Ft.")
    'sq.ft'
    """
    return "".join(word.lower().split()).rstrip(".")


def _by_word(units: Iterable[str]) -> dict[str, list[str]]:
    """Word -> the units it may stand for, the likeliest first."""
    found: dict[str, list[str]] = {}
    for unit in units:
        for word in dict.fromkeys(map(fold, (unit, *UNIT_NAMES[unit]))):
            found.setdefault(word, []).append(unit)
    return found


WORDS: Final[Mapping[str, Mapping[str, list[str]]]] = {
    canonical: _by_word(unit for unit in UNIT_NAMES if unit in units)
    for canonical, units in FACTORS.items()
}
"""Unit of a declared column -> word without blanks, in lower case -> units it may stand for."""

_NUMBER: Final = r"[-+]?(?:\d{1,3}(?:,\d{3})+(?:\.\d*)?|\d+\.?\d*|\.\d+)"
_MEASURE: Final = rf"^(?P<number>{_NUMBER})\s*(?P<word>[^\d\s][^\d]*[23]?)$"
_FEET_INCHES: Final = (
    r"^(?P<ft>\d+)\s*(?:ft|feet|foot|'|′)\.?\s*"
    r"(?P<inch>\d+(?:\.\d+)?)\s*(?:in|inch|inches|\"|″|'')\.?$"
)


def unit_of(word: str, canonical: str, *, declared: str | None = None) -> str | None:
    """Source unit that `word` means in a column whose unit is `canonical`; None if unknown.

    >>> unit_of("Sq. Ft.", "m2"), unit_of("US survey foot", "m"), unit_of("psi", "m")
    ('ft2', 'us_survey_ft', None)
    """
    folded = re.sub(r"tre(s?)$", r"ter\1", fold(word))  # British spelling
    known = WORDS.get(canonical, {}).get(folded, [])
    return declared if declared in known else next(iter(known), None)


def measures(text: pd.Series, canonical: str, *, declared: str | None = None) -> pd.DataFrame:
    r"""Numbers with a unit behind them: ``number`` in that unit, and ``unit``; missing otherwise.

    Parameters
    ----------
    text
        Cells as text.
    canonical
        Unit of the declared column, a key of :data:`riskmap.contract.units.FACTORS`.
    declared
        Unit that the region file gives the column; chosen where a word may mean several.

    Examples
    --------
    >>> measures(pd.Series(["118.9 ft", "5' 6\"", "12 psi"]), "m")["number"].tolist()
    [118.9, 5.5, nan]
    """
    parts = text.str.extract(_MEASURE)
    number = pd.to_numeric(parts["number"].str.replace(",", ""), errors="coerce")
    unit = parts["word"].map(lambda word: unit_of(word, canonical, declared=declared), "ignore")
    both = text.str.extract(_FEET_INCHES).astype("float64")
    feet = both["ft"] + both["inch"] / 12
    if unit_of("ft", canonical) is None:
        feet = feet.mask(feet.notna())
    number = number.astype("float64").where(unit.notna()).fillna(feet)
    return pd.DataFrame({"number": number, "unit": unit.astype("string").mask(feet.notna(), "ft")})
