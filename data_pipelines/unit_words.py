"""Words and signs that people write for units, and numbers with such a word behind them.

What is understood is a unit of the column's kind: feet behind a depth, gallons behind a volume.
The words are common practice, no source; the factors are in :mod:`riskmap.contract.units`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

import pandas as pd

_LENGTH: Final = {
    "m": "m meter meters",
    "ft": "ft foot feet ' ′",
    "us_survey_ft": "us-ft us_survey_ft ussurveyfoot ussurveyfeet ussurveyft foot_us ftus usft",
    "cm": "cm centimeter centimeters",
    "in": "in inch inches \" ″ ''",
}
_VOLUME: Final = {
    "gal": "gal gals gallon gallons usgal usgallons",
    "l": "l liter liters",
    "m3": "m3 m³ cubicmeter cubicmeters",
}
_FLOW: Final = {
    "gpd": "gpd gal/d gal/day gals/day gallons/day gallonsperday galperday",
    "l_d": "l/d l/day lpd liters/day litersperday",
}
_AREA: Final = {
    "ft2": "ft2 ft² sqft sq.ft sf squarefeet squarefoot",
    "acre": "acre acres ac",
    "m2": "m2 m² sqm sq.m squaremeter squaremeters",
    "ha": "ha hectare hectares",
}
_CONCENTRATION: Final = {
    "mg_l": "mg/l mg/lasn mg/ln ppm",
    "ug_l": "ug/l µg/l μg/l ppb",
    "mg_l_as_no3": "mg/l mg/lasno3 mg/lno3 ppm",
}


def _by_word(units: Mapping[str, str]) -> dict[str, list[str]]:
    """Word -> the units it may stand for, the likeliest first."""
    found: dict[str, list[str]] = {}
    for unit, words in units.items():
        for word in words.split():
            found.setdefault(word, []).append(unit)
    return found


WORDS: Final[Mapping[str, Mapping[str, list[str]]]] = {
    "m": _by_word(_LENGTH),
    "cm": _by_word(_LENGTH),
    "L": _by_word(_VOLUME),
    "L/day": _by_word(_FLOW),
    "m2": _by_word(_AREA),
    "mg/L as N": _by_word(_CONCENTRATION),
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
    folded = "".join(word.lower().split()).rstrip(".")
    folded = re.sub(r"tre(s?)$", r"ter\1", folded)  # British spelling
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
