"""Dates and years as offices really write them.

Accepted without a format: ISO dates with or without a time, partial ISO dates (``1967-07``,
``1967``: placed on the first day of the period and reported), ``YYYYMMDD``, US ``M/D/YYYY``,
``05-Jul-1998``, ``July 5, 1998``, milliseconds since 1970, and the day numbers that a spreadsheet
shows where a cell lost its date format (reported). Not guessed: two-digit years and day-first
dates; declare ``date_format`` for those. Where it is declared, a date that is written otherwise but
can mean one day only (year first, or the month in letters) is read and reported.

Impossible dates (30 February, the year 0407) and the usual placeholders (1 January 1900, 30
December 1899: what an empty cell becomes in common database and spreadsheet programs - common
practice, no source) become missing and are reported.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd

from data_pipelines.defect_log import DefectLog
from data_pipelines.values import SET_MISSING, as_text, plain_number, within_bounds
from riskmap.contract.columns import FIRST_YEAR, LAST_YEAR, Column
from riskmap.contract.sources import ColumnSource

ON_FIRST_DAY: Final = "placed on the first day of the period"
DAY_ZERO: Final = "1899-12-30"
"""Day 0 of the usual spreadsheet programs for all days from March 1900 on (common practice, no
source)."""
PLACEHOLDERS: Final = ("1900-01-01", DAY_ZERO)

_NUMERIC: Final = (
    (r"(?P<y>\d{4})-(?P<m>\d{1,2})-(?P<d>\d{1,2})(?:[T ].*)?", False),
    (r"(?P<y>\d{4})/(?P<m>\d{1,2})/(?P<d>\d{1,2})(?:[T ].*)?", False),
    (r"(?P<m>\d{1,2})/(?P<d>\d{1,2})/(?P<y>\d{4})(?:[T ].*)?", False),
    (r"(?P<m>\d{1,2})-(?P<d>\d{1,2})-(?P<y>\d{4})", False),
    (r"(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})(?:\.0+)?", False),
    (r"(?P<y>\d{4})[-/](?P<m>\d{1,2})", True),
    (r"(?P<y>\d{4})(?:\.0+)?", True),
)
_WORDED: Final = ("%d-%b-%Y", "%d %b %Y", "%b %d, %Y", "%B %d, %Y", "%d %B %Y")
_EPOCH_MS: Final = r"-?\d{11,13}(?:\.0+)?"
_SERIAL: Final = r"[1-9]\d{4}(?:\.\d+)?"
"""Five digits: 1927 to 2173."""
_ONE_DAY_ONLY: Final = r"\d{4}[-/]\d{1,2}[-/]\d{1,2}(?:[T ].*)?|.*[A-Za-z]{3}.*\b\d{4}"
"""Shapes that mean one day whatever the office's habit: year first, or the month in letters."""
_DAY_SIGNS: Final = ("%d", "%j", "%x", "%c", "%D", "%F")
_TWO_DIGITS: Final = r"\d{1,2}[/-](?:\d{1,2}|[A-Za-z]{3})[/-]\d{2}"


def to_date(
    raw: pd.Series,
    column: Column,
    spec: ColumnSource,
    log: DefectLog,
    *,
    day: datetime.date | None = None,
) -> pd.Series:
    """Dates at midnight, datetime64[ns]; what cannot be a date is missing and logged.

    Parameters
    ----------
    day
        Last day that a record can tell of, the day of the run. Later dates are missing and logged;
        a year that ``date_format`` gives in two digits lies in the hundred years up to it.
    """
    if pd.api.types.is_datetime64_any_dtype(raw.dtype):
        raw = raw.dt.strftime("%Y-%m-%d")
    text = as_text(raw)
    parts = _parts(text, spec.date_format)
    date = _assemble(parts)
    if day is not None and any("%y" in one for one in spec.date_format):
        late = parts["way"].eq("format") & (date > pd.Timestamp(day))
        date = date.mask(late, date - pd.DateOffset(years=100))
    _log_dates(text, parts, date, column.name, log, declared=bool(spec.date_format))
    placeholder = date.isin([pd.Timestamp(day) for day in PLACEHOLDERS]) & ~parts["partial"]
    log.add(column.name, "placeholder_date", text[placeholder], SET_MISSING)
    date = date.mask(placeholder)
    if day is not None:
        future = date > pd.Timestamp(day)
        log.add(column.name, "future_date", text[future], SET_MISSING)
        date = date.mask(future)
    return date.astype("datetime64[ns]")


def to_year(
    raw: pd.Series,
    column: Column,
    _spec: ColumnSource,
    log: DefectLog,
    *,
    day: datetime.date | None = None,
) -> pd.Series:
    """Calendar years, float64. A full date gives its year; 0, 1389 and the like are missing.

    A year after that of `day` (see :func:`to_date`) is missing and logged.
    """
    text = as_text(raw)
    number = plain_number(text)
    dated = number.isna() | (number > 9999)
    if dated.any():
        number = number.mask(dated, _years(text[dated]).reindex(text.index))
    log.add(column.name, "not_a_number", text[number.isna() & text.notna()], SET_MISSING)
    number = within_bounds(number // 1, column, log, raw=text)
    if day is None:
        return number
    log.add(column.name, "future_year", text[number > day.year], SET_MISSING)
    return number.mask(number > day.year)


def _years(text: pd.Series) -> pd.Series:
    """Years of full dates; a number of five digits is no year and no date here."""
    parts = _parts(text)
    return parts["y"].mask(parts["way"].eq("serial"))


def _parts(text: pd.Series, formats: Sequence[str] = ()) -> pd.DataFrame:
    """Year, month, day of each cell, whether it is ``partial``, and in which ``way`` it was read.

    Each different text is read once.
    """
    codes, words = pd.factorize(text)
    cells = pd.Series(words, dtype="string")
    parts = _by_formats(cells, formats) if formats else _by_shape(cells)
    return (
        parts.reindex(codes)
        .set_axis(text.index, axis=0)
        .assign(partial=lambda table: table["partial"].eq(True))
    )


def _by_formats(text: pd.Series, formats: Sequence[str]) -> pd.DataFrame:
    """Read by the declared formats; what fits none, by its shape if that means one day only."""
    stamps = pd.concat([_by_format(text, one) for one in formats], axis=1)
    days = stamps.nunique(axis=1)
    stamp = stamps.bfill(axis=1).iloc[:, 0].mask(days > 1)
    place = stamps.notna().to_numpy().argmax(axis=1)
    has_day = np.array([any(s in one for s in _DAY_SIGNS) for one in formats])[place]
    parts = pd.DataFrame({"y": stamp.dt.year, "m": stamp.dt.month, "d": stamp.dt.day})
    way = pd.Series("format", index=text.index).mask(days > 1, "several").mask(days == 0, "shape")
    parts = parts.assign(partial=~has_day & stamp.notna(), way=way)
    other = text[days.eq(0) & text.str.fullmatch(_ONE_DAY_ONLY).fillna(False).astype(bool)]
    if len(other):
        shaped = _by_shape(other)[["y", "m", "d"]].astype("float64")
        parts = parts.astype({"y": "float64", "m": "float64", "d": "float64"})
        parts.loc[other.index, ["y", "m", "d"]] = shaped
    return parts


def _by_format(text: pd.Series, date_format: str) -> pd.Series:
    return pd.to_datetime(text, format=date_format, errors="coerce")


def _by_shape(text: pd.Series) -> pd.DataFrame:
    """Year, month and day of each cell by its shape; NaN where no shape fits."""
    parts = pd.DataFrame({"y": float("nan"), "m": float("nan"), "d": float("nan")}, text.index)
    partial = pd.Series(False, index=text.index)
    left = text.notna()
    for pattern, is_partial in _NUMERIC:
        if not left.any():
            return parts.assign(partial=partial, way="shape")
        found = text[left].str.extract(f"^{pattern}$")
        found = found[found["y"].notna()].astype("float64")
        parts.loc[found.index, found.columns] = found
        partial.loc[found.index] = is_partial
        left = left & parts["y"].isna()
    parts = _stamps(parts, _worded(text[left]))
    epoch = text[left][text[left].str.fullmatch(_EPOCH_MS).astype(bool)]
    moment = pd.to_datetime(plain_number(epoch), unit="ms", errors="coerce")
    serial = text[left][text[left].str.fullmatch(_SERIAL).astype(bool)]
    days = pd.to_timedelta(plain_number(serial) // 1, unit="D") + pd.Timestamp(DAY_ZERO)
    way = pd.Series("shape", index=text.index)
    way[serial.index] = "serial"
    return _stamps(_stamps(parts, moment), days).assign(partial=partial, way=way)


def _worded(text: pd.Series) -> pd.Series:
    stamp = pd.Series(pd.NaT, index=text.index, dtype="datetime64[ns]")
    for date_format in _WORDED:
        stamp = stamp.fillna(pd.to_datetime(text, format=date_format, errors="coerce"))
    return stamp


def _stamps(parts: pd.DataFrame, stamp: pd.Series) -> pd.DataFrame:
    stamp = stamp.dropna()
    if len(stamp):
        values = {"y": stamp.dt.year, "m": stamp.dt.month, "d": stamp.dt.day}
        parts.loc[stamp.index, ["y", "m", "d"]] = pd.DataFrame(values).astype("float64")
    return parts


def _assemble(parts: pd.DataFrame) -> pd.Series:
    """Datetimes of the parts; NaT where the day does not exist or the year is impossible."""
    possible = parts["y"].between(FIRST_YEAR, LAST_YEAR)
    whole = parts.loc[possible, ["y", "m", "d"]]
    whole = whole.where(~parts["partial"], whole.fillna(1.0)).dropna()
    whole.columns = pd.Index(["year", "month", "day"])
    date = pd.Series(pd.NaT, index=parts.index, dtype="datetime64[ns]")
    if len(whole):
        date.loc[whole.index] = pd.to_datetime(whole.astype("int64"), errors="coerce")
    return date


def _log_dates(
    text: pd.Series,
    parts: pd.DataFrame,
    date: pd.Series,
    column: str,
    log: DefectLog,
    *,
    declared: bool,
) -> None:
    bad = text.notna() & date.isna()
    shaped = bad & parts["y"].notna()
    short = bad & ~shaped & text.str.fullmatch(_TWO_DIGITS).fillna(False).astype(bool)
    log.add(column, "impossible_date", text[shaped], SET_MISSING)
    several = bad & parts["way"].eq("several")
    log.add(column, "ambiguous_date", text[several], SET_MISSING)
    short &= ~several
    log.add(column, "two_digit_year", text[short], SET_MISSING)
    log.add(column, "unreadable_date", text[bad & ~shaped & ~short & ~several], SET_MISSING)
    log.add(column, "partial_date", text[date.notna() & parts["partial"]], ON_FIRST_DAY)
    serial = date.notna() & parts["way"].eq("serial")
    log.add(column, "serial_date", text[serial], f"read as days since {DAY_ZERO}")
    if declared:
        other = date.notna() & parts["way"].eq("shape")
        log.add(column, "other_date_form", text[other], "read as it is written")
