"""How numbers are read: each kind of quantity with its unit and rounding in both unit systems.

Inside the project all is SI. What people read is made here and nowhere else: one rounding, one
form of numbers, one word for each unit.

>>> text(30.48, LENGTH, "us"), text(0.17, SHARE, "us"), text(1.0, YEARS, "si")
('100 ft', '17%', '1 year')
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from riskmap.contract.arrays import Floats
from riskmap.contract.units import (
    ACRE_M2,
    FOOT_M,
    GALLON_L,
    GPD_PER_FT2_L_D_M2,
    HECTARE_M2,
    INCH_CM,
    INCH_PER_HOUR_UM_S,
    MILE_M,
    MIN_IN_MIN_CM,
    POUND_KG,
    SQUARE_FOOT_M2,
    SQUARE_MILE_KM2,
)

Units = Literal["us", "si"]


@dataclass(frozen=True)
class Scale:
    """How a quantity is read in one unit system.

    Parameters
    ----------
    unit
        Word behind the number; empty where there is none.
    factor
        What the SI value is multiplied by.
    decimals
        Digits behind the point of a number below 100.
    short
        The unit in the name of a column of a CSV file.
    one
        The word behind exactly 1, where it differs.
    far, far_from
        Scale that takes over in running text from this number on.
    """

    unit: str = ""
    factor: float = 1.0
    decimals: int = 0
    short: str = ""
    one: str = ""
    far: Scale | None = None
    far_from: float = np.inf


@dataclass(frozen=True)
class Quantity:
    """A kind of quantity: its SI unit and how it is read.

    ``rough`` numbers are read to three significant digits; ``grouped`` ones with a comma at the
    thousands.
    """

    si_unit: str
    us: Scale
    si: Scale
    rough: bool = True
    grouped: bool = True

    def scale(self, units: Units) -> Scale:
        """Return how it is read in a unit system."""
        return self.us if units == "us" else self.si


def _alike(si_unit: str, scale: Scale, *, grouped: bool = True) -> Quantity:
    """Make a quantity that is read alike everywhere, to its decimals."""
    return Quantity(si_unit, scale, scale, rough=False, grouped=grouped)


_FEET: Final = Scale(
    "ft", 1 / FOOT_M, short="ft", far=Scale("miles", 1 / MILE_M, 1), far_from=MILE_M / FOOT_M / 2
)
_METERS: Final = Scale("m", short="m", far=Scale("km", 1e-3, 1), far_from=1000.0)
_INCHES: Final = Scale("in", 1 / INCH_CM, short="in")
_CENTIMETERS: Final = Scale("cm", short="cm")
_ACRES: Final = Scale("acres", 1 / ACRE_M2, 2, short="acres", one="acre")
_YEARS: Final = Scale("years", short="yr", one="year")
_PERCENT: Final = Scale("%", short="pct")

LENGTH: Final = Quantity("m", _FEET, _METERS)
DRIVEN: Final = Quantity(
    "m", Scale("miles", 1 / MILE_M, 1, "miles"), Scale("km", 1e-3, 1, "km"), rough=False
)
"""Ways of whole days and seasons."""
DEPTH_TO_WATER: Final = Quantity("m", Scale("ft", 1 / FOOT_M, 1, "ft"), Scale("m", 1.0, 1, "m"))
SMALL_LENGTH: Final = Quantity("m", Scale("in", 100 / INCH_CM, 0, "in"), Scale("cm", 100, 0, "cm"))
DEPTH: Final = Quantity("cm", _INCHES, _CENTIMETERS)
LAND: Final = Quantity("m2", _ACRES, Scale("m²", short="m2"))
TRACT: Final = Quantity("m2", _ACRES, Scale("ha", 1 / HECTARE_M2, 2, "ha"))
FIELD_AREA: Final = Quantity(
    "m2", Scale("sq ft", 1 / SQUARE_FOOT_M2, short="sq_ft"), Scale("m²", short="m2")
)
VOLUME: Final = Quantity("L", Scale("gal", 1 / GALLON_L, short="gal"), Scale("L", short="l"))
FLOW: Final = Quantity(
    "L/day", Scale("gal/day", 1 / GALLON_L, short="gal_d"), Scale("L/day", short="l_d")
)
LOADING: Final = Quantity(
    "L/day/m2",
    Scale("gal/day per sq ft", 1 / GPD_PER_FT2_L_D_M2, 2, "gal_d_sq_ft"),
    Scale("L/day per m²", 1.0, 1, "l_d_m2"),
)
CONDUCTIVITY: Final = Quantity(
    "um/s", Scale("in/hr", 1 / INCH_PER_HOUR_UM_S, 2, "in_hr"), Scale("µm/s", 1.0, 1, "um_s")
)
PERCOLATION: Final = Quantity(
    "min/cm", Scale("min/in", 1 / MIN_IN_MIN_CM, 0, "min_in"), Scale("min/cm", 1.0, 1, "min_cm")
)
DENSITY: Final = Quantity(
    "1/km2",
    Scale("systems per square mile", SQUARE_MILE_KM2, short="per_square_mile"),
    Scale("systems per km²", short="per_km2"),
    rough=False,
)
MASS_RATE: Final = Quantity(
    "kg/yr", Scale("lb a year", 1 / POUND_KG, 1, "lb_yr"), Scale("kg a year", 1.0, 1, "kg_yr")
)
CONCENTRATION: Final = Quantity(
    "mg/L as N", Scale("mg/L as N", 1.0, 1, "mg_l"), Scale("mg/L as N", 1.0, 1, "mg_l")
)
SAMPLED: Final = _alike("mg/L as N", Scale("mg/L as N", 1.0, 2, "mg_l"))
"""A laboratory's result, to the digits that it is given in."""
YEARS: Final = _alike("yr", _YEARS)
TIME: Final = _alike("yr", Scale("years", 1.0, 1, "yr"))
SHARE: Final = _alike("0-1", Scale("%", 100.0, short="pct"))
PERCENT: Final = _alike("%", _PERCENT)
GRADE: Final = _alike("%", Scale("%", 1.0, 1, "pct"))
LIMIT: Final = _alike("0-1", Scale(decimals=2))
RATIO: Final = _alike("", Scale("times", 1.0, 1))
INDEX: Final = _alike("ln(m)", Scale(decimals=1))
POINTS: Final = _alike("0-100", Scale(decimals=1))
WHOLE_POINTS: Final = _alike("0-100", Scale())
RISK: Final = _alike("0-1", Scale(decimals=3))
COUNT: Final = _alike("count", Scale())
EXPECTED: Final = _alike("count", Scale(decimals=1))
DEGREES: Final = _alike("degrees", Scale(decimals=6))
DAYS: Final = _alike("d", Scale("days", short="d", one="day"))
CALENDAR_YEAR: Final = _alike("calendar year", Scale(), grouped=False)
NUMBER: Final = _alike("", Scale())

OF_UNIT: Final = {
    kind.si_unit: kind
    for kind in (LENGTH, DEPTH, LAND, VOLUME, FLOW, LOADING, CONDUCTIVITY, PERCOLATION, DENSITY,
                 MASS_RATE, CONCENTRATION, YEARS, SHARE, PERCENT, COUNT, DAYS, CALENDAR_YEAR,
                 NUMBER)
}  # fmt: skip
"""The plain quantity of each SI unit."""

OF_SUFFIX: Final = {
    "_m": LENGTH, "_cm": DEPTH, "_m2": LAND, "_l": VOLUME, "_l_d": FLOW, "_l_d_m2": LOADING,
    "_um_s": CONDUCTIVITY, "_per_km2": DENSITY, "_kg_yr": MASS_RATE, "_mg_l": CONCENTRATION,
    "_yr": YEARS, "_pct": PERCENT, "_frac": SHARE, "_chance": SHARE, "_d": DAYS,
}  # fmt: skip
"""Ending of a column's name -> its quantity, for columns that are declared nowhere."""

_LENGTH_IN_TEXT: Final = re.compile(r"\{(\d+) (m|cm)\}")


def of_unit(si_unit: str) -> Quantity:
    """Return the quantity of an SI unit; one that is not in the table is a bare number."""
    return OF_UNIT.get(si_unit) or _alike(si_unit, Scale(si_unit))


def of_name(name: str) -> Quantity:
    """Return the quantity that follows from the ending of a column's name.

    >>> of_name("room_needed_m2").si_unit, of_name("odd").si_unit
    ('m2', '')
    """
    for suffix in sorted(OF_SUFFIX, key=len, reverse=True):
        if name.endswith(suffix):
            return OF_SUFFIX[suffix]
    return NUMBER


def shown(values: Any, quantity: Quantity, units: Units) -> Floats:
    """Numbers as people read them, same shape; what is not finite becomes NaN.

    Parameters
    ----------
    values
        SI values, an array or a Series.
    quantity
        What they are; its scale gives factor and decimals. Rough ones are rounded to three
        significant digits from 1,000 on.
    units
        ``us`` or ``si``.
    """
    scale = quantity.scale(units)
    return _rounded(np.asarray(values, float) * scale.factor, scale, rough=quantity.rough)


def _rounded(numbers: Floats, scale: Scale, *, rough: bool) -> Floats:
    rounded = np.round(np.where(np.isfinite(numbers), numbers, np.nan), scale.decimals)
    if not rough:
        return np.asarray(rounded)
    with np.errstate(divide="ignore", invalid="ignore"):
        digits = np.floor(np.log10(np.abs(rounded))) - 2
    step = 10.0 ** np.where(np.isfinite(digits) & (digits > 0), digits, 0)
    return np.where(step > 1, np.round(rounded / step) * step, rounded)


def figure(number: float, decimals: int = 0, *, grouped: bool = True) -> str:
    """Write a number: a comma at the thousands, no decimals from 100 on.

    Parameters
    ----------
    number
        A finite number.
    decimals
        Decimals below 100.
    grouped
        Whether thousands get a comma; calendar years do not.

    Examples
    --------
    >>> figure(1718.0), figure(0.5, 2), figure(240.04, 1), figure(1985.0, grouped=False)
    ('1,718', '0.50', '240', '1985')
    """
    places = 0 if abs(number) >= 100 else decimals
    return f"{number:,.{places}f}" if grouped else f"{number:.{places}f}"


def text(value: float, quantity: Quantity, units: Units, *, near: bool = False) -> str:
    """Write an SI value with its unit.

    Parameters
    ----------
    value
        A finite number, in the quantity's SI unit.
    quantity
        What it is; gives unit, factor, decimals and rounding.
    units
        ``us`` or ``si``.
    near
        Keep feet or meters where a far length would be written in miles or kilometers.

    Examples
    --------
    >>> text(2000.0, LENGTH, "us"), text(300.0, LENGTH, "us"), text(4.2, MASS_RATE, "us")
    ('1.2 miles', '984 ft', '9.3 lb a year')
    >>> text(0.01, CONDUCTIVITY, "us")
    'under 0.01 in/hr'
    """
    scale = quantity.scale(units)
    if scale.far is not None and not near and abs(value * scale.factor) >= scale.far_from:
        scale = scale.far
    number = float(_rounded(np.asarray(value * scale.factor), scale, rough=quantity.rough))
    if scale.decimals and value > 0 and number == 0:
        return "under " + with_unit(figure(10.0**-scale.decimals, scale.decimals), scale)
    written = figure(number, scale.decimals, grouped=quantity.grouped)
    return with_unit(written, scale)


def with_unit(written: str, scale: Scale) -> str:
    """Put the unit behind a written number: "17%", "1 year", "12 ft"."""
    unit = scale.one if scale.one and written == "1" else scale.unit
    return f"{written}%" if unit == "%" else f"{written} {unit}".rstrip()


def percent(part: float, whole: float = 1.0) -> str:
    """Write a part of a whole in percent: no false zero, no false hundred.

    >>> percent(1, 4), percent(1, 3000), percent(0.0), percent(2999, 3000), percent(1, 0)
    ('25%', 'under 1%', '0%', 'over 99%', '–')
    """
    if not whole:
        return "–"
    share = 100 * part / whole
    if 0 < share < 1:
        return "under 1%"
    return "over 99%" if 99 < share < 100 else f"{share:.0f}%"


def in_units(words: str, units: Units) -> str:
    """Write the lengths within a text, to two digits.

    >>> in_units("Wells within {150 m}", "us"), in_units("Below {60 cm}", "us")
    ('Wells within 490 ft', 'Below 24 in')
    >>> in_units("Wells within {150 m}", "si")
    'Wells within 150 m'
    """

    def written(found: re.Match[str]) -> str:
        scale = {"m": LENGTH, "cm": DEPTH}[found[2]].scale(units)
        return f"{float(f'{float(found[1]) * scale.factor:.2g}'):,.0f} {scale.unit}"

    return (
        _LENGTH_IN_TEXT.sub(written, words)
        if units == "us"
        else _LENGTH_IN_TEXT.sub(r"\1 \2", words)
    )
