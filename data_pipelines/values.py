"""Raw cells to canonical values: text, numbers, flags and codes.

Nothing here raises on a bad cell: it becomes missing and is entered in the defect log.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from data_pipelines.defect_log import DefectLog
from data_pipelines.unit_words import measures
from riskmap.contract.columns import Column
from riskmap.contract.errors import LayerError
from riskmap.contract.sources import ColumnSource
from riskmap.contract.units import FACTORS

NULL_WORDS: Final = ("", "null", "<null>", "nan", "none", "n/a", "na", "-9999", "-9999.0")
"""Cells that mean nothing was recorded (compared in lower case)."""

MISSING_NUMBERS: Final = (-9999.0, -99999.0, -999999.0)
"""Numbers that stand for missing in the federal layers (-9999) and water services (-999999)."""

TRUE_WORDS: Final = ("true", "t", "yes", "y", "1", "present", "positive")
FALSE_WORDS: Final = ("false", "f", "no", "n", "0", "absent", "negative")
SET_MISSING: Final = "set to missing"

MOST_CODE: Final = 2
"""A column of plain numbers from 0 to more than this counts or measures; up to this it may be a
code."""
MOST_BELOW: Final = 0.05
"""Share of negative numbers that a column of amounts may have: credits, typing errors."""


def as_text(values: pd.Series) -> pd.Series:
    """Trimmed text without any null word; whole numbers lose their decimal point.

    >>> as_text(pd.Series([12.0, None])).tolist()
    ['12', <NA>]
    >>> as_text(pd.Series(["  7-18 ", "<Null>"])).tolist()
    ['7-18', <NA>]
    """
    codes, cells = pd.factorize(values)
    words = pd.array([*(_word(cell) for cell in cells), None], dtype="string")
    return pd.Series(words.take(codes), index=values.index)


def _word(cell: object) -> str | None:
    """Text of one cell; each different cell of a column comes here once."""
    if isinstance(cell, bool | np.bool_):
        return str(bool(cell)).lower()
    text = " ".join(str(cell).split())
    if isinstance(cell, float | np.floating):
        number = float(cell)
        text = str(int(number)) if abs(number) < 2**53 and number.is_integer() else text
    return None if text.lower() in NULL_WORDS else text


def plain_number(values: pd.Series) -> pd.Series:
    """Numbers of cells as float64; NaN where a cell holds none. Takes ``1,250`` and ``" 12.5 "``.

    >>> plain_number(pd.Series(["1,250", "30 ft", ""])).tolist()
    [1250.0, nan, nan]
    """
    if pd.api.types.is_numeric_dtype(values.dtype):
        number = values.astype("float64")
    else:
        text = values.astype("string").str.strip()
        number = pd.to_numeric(text, errors="coerce").astype("float64")
        odd = text[number.isna() & text.notna()]
        grouped = odd[odd.str.fullmatch(r"[-+]?\d{1,3}(,\d{3})+(\.\d*)?").astype(bool)]
        number[grouped.index] = pd.to_numeric(grouped.str.replace(",", "", regex=False))
    return number.where(np.isfinite(number))


def factor_of(column: Column, unit: str | None, layer: str) -> float:
    """Factor from a source's `unit` to the canonical unit of `column` (1 if none is given)."""
    known = FACTORS.get(column.unit, {})
    if unit is None:
        return 1.0
    if unit not in known:
        raise LayerError(
            layer,
            f"unit {unit!r} of column {column.name} is not known.",
            f"Use one of: {', '.join(known) or '(this column has no unit)'}.",
        )
    return known[unit]


def to_number(raw: pd.Series, column: Column, spec: ColumnSource, log: DefectLog) -> pd.Series:
    """Read numbers in the canonical unit, float64; impossible ones become missing and are logged.

    A cell with its own unit (``12 ft``) is read in that unit, and logged if it is not the column's.
    A code listed in ``spec.values`` gives its number as it stands, in the canonical unit.
    """
    text = as_text(raw)
    number = plain_number(raw if pd.api.types.is_numeric_dtype(raw.dtype) else text)
    if column.low is None or column.low > min(MISSING_NUMBERS):
        text = text.mask(number.isin(MISSING_NUMBERS))
        number = number.mask(number.isin(MISSING_NUMBERS))
    number = number * factor_of(column, spec.unit, log.layer)
    number = number.fillna(_with_unit(text[number.isna() & text.notna()], column, spec, log))
    if spec.values:
        codes = {_fold(code): value for code, value in spec.values.items()}
        coded = text.map(_fold, na_action="ignore").map(codes)
        number = number.mask(coded.notna(), pd.to_numeric(coded, errors="coerce"))
    log.add(column.name, "not_a_number", text[number.isna() & text.notna()], SET_MISSING)
    return within_bounds(number.astype("float64"), column, log, raw=text)


def _with_unit(text: pd.Series, column: Column, spec: ColumnSource, log: DefectLog) -> pd.Series:
    """Numbers, in the canonical unit, of cells that name a unit of the column's kind."""
    if not len(text) or column.unit not in FACTORS:
        return pd.Series(float("nan"), index=text.index)
    found = measures(text, column.unit, declared=spec.unit)
    factor = found["unit"].map(FACTORS[column.unit]).astype("float64")
    other = factor.notna() & (factor != factor_of(column, spec.unit, log.layer))
    for unit in found.loc[other, "unit"].unique():
        rows = other & found["unit"].eq(unit).fillna(False).astype(bool)
        log.add(column.name, "unit_in_cell", text[rows], f"read as {unit}")
    return found["number"] * factor


def within_bounds(
    number: pd.Series, column: Column, log: DefectLog, *, raw: pd.Series
) -> pd.Series:
    """Blank what lies outside the column's physical bounds; a year gets its own check name."""
    low = -np.inf if column.low is None else column.low
    high = np.inf if column.high is None else column.high
    outside = number.notna() & ~number.between(low, high)
    check = "impossible_year" if column.unit == "calendar year" else "out_of_range"
    log.add(column.name, check, raw[outside], SET_MISSING)
    return number.mask(outside)


def to_flag(raw: pd.Series, column: Column, spec: ColumnSource, log: DefectLog) -> pd.Series:
    """Read flags as nullable booleans; ``spec.values`` first, then the usual words."""
    text = as_text(raw).map(_fold, na_action="ignore")
    words: dict[str, object] = dict.fromkeys(TRUE_WORDS, True)
    words |= dict.fromkeys(FALSE_WORDS, False)
    words |= {_fold(code): value for code, value in (spec.values or {}).items()}
    flag = text.map(words).astype("boolean")
    if not spec.values:
        flag = _amounts(as_text(raw), flag, column, log)
    log.add(column.name, "unknown_code", as_text(raw)[text.notna() & flag.isna()], SET_MISSING)
    return flag


def _amounts(text: pd.Series, flag: pd.Series, column: Column, log: DefectLog) -> pd.Series:
    """Read a column of counts or amounts as flags: 0 is no, more is yes, less is missing."""
    number = plain_number(text)
    if not of_amounts(number[text.notna()]):
        return flag
    log.note(column.name, "amount", f"0 to {number.max():g}", "more than 0 read as yes")
    return number.gt(0).astype("boolean").mask(number.isna() | number.lt(0))


def of_amounts(number: pd.Series) -> bool:
    """Whether numbers count or measure something: 0 among them, hardly any below, some above 2.

    >>> of_amounts(pd.Series([0.0, 180_000.0])), of_amounts(pd.Series([0.0, 1.0, 2.0]))
    (True, False)
    """
    if not len(number) or number.isna().any():
        return False
    few_below = number.lt(0).mean() <= MOST_BELOW
    return bool(few_below and number.eq(0).any() and number.max() > MOST_CODE)


def to_words(raw: pd.Series, column: Column, spec: ColumnSource, log: DefectLog) -> pd.Series:
    """Text; where the column has declared words, codes are translated into them.

    An unknown code becomes missing and is logged. A code may be one of the null words
    (``NONE = "none"``): the translation is looked up first.
    """
    text = as_text(raw)
    if not column.domain and not spec.values:
        return text
    words = {_fold(word): word for word in column.domain}
    words |= {_fold(code): str(value) for code, value in (spec.values or {}).items()}
    codes = text
    if not pd.api.types.is_numeric_dtype(raw.dtype):
        codes = raw.astype("string").str.strip()
    result = codes.map(_fold, na_action="ignore").map(words).astype("string")
    if column.domain:
        result = result.where(result.isin(column.domain))
    log.add(column.name, "unknown_code", text[text.notna() & result.isna()], SET_MISSING)
    return result


def _fold(code: object) -> str:
    """Codes compare without case; blanks, hyphens and underscores are alike."""
    return " ".join(str(code).lower().replace("_", " ").replace("-", " ").split())
