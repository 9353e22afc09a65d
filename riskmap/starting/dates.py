"""How the dates of a column are written, with the evidence for it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

import pandas as pd

from data_pipelines.dates import DAY_ZERO
from data_pipelines.values import as_text, plain_number

SURE_SHARE: Final = 0.98
SERIALS: Final = (10_000.0, 60_000.0)
"""Days since 1899-12-30 that a spreadsheet shows where a date lost its format: 1927 to 2064."""

_NUMBERS: Final = re.compile(r"^(\d{1,2})([/.-])(\d{1,2})\2(\d{4}|\d{2})((?:[ T].*)?)$")
_WORDED: Final = re.compile(r"^\d{1,2}([- ])[A-Za-z]{3}\1(\d{4}|\d{2})$")
_UNDERSTOOD: Final = (
    re.compile(r"^\d{4}-\d{1,2}(-\d{1,2}([T ].*)?)?$"),
    re.compile(r"^\d{4}/\d{1,2}/\d{1,2}([T ].*)?$"),
    re.compile(r"^(1[89]|20)\d{2}(0[1-9]|1[0-2])([0-2]\d|3[01])(\.0+)?$"),
    re.compile(r"^(1[89]|20)\d{2}(\.0+)?$"),
    re.compile(r"^[A-Za-z]{3,9} \d{1,2}, \d{4}$"),
    re.compile(r"^\d{1,2} [A-Za-z]{3,9} \d{4}$"),
    re.compile(r"^-?\d{11,13}(\.0+)?$"),
)
"""Shapes that the readers take without a format."""


@dataclass(frozen=True)
class Dates:
    """What a column's dates look like.

    ``share`` is how much of it is dates at all; ``formats`` is empty where the readers need none.
    """

    share: float
    formats: tuple[str, ...] = ()
    sure: bool = True
    evidence: str = ""


def look_at_dates(raw: pd.Series) -> Dates:
    """Tell how a column's dates are written.

    Parameters
    ----------
    raw
        The column as it stands.

    Examples
    --------
    >>> look_at_dates(pd.Series(["25/12/1999", "03/04/2001"])).formats
    ('%d/%m/%Y',)
    """
    if pd.api.types.is_datetime64_any_dtype(raw.dtype):
        return Dates(1.0, evidence="dates")
    text = as_text(raw).dropna()
    if not len(text):
        return Dates(0.0)
    found = [_NUMBERS.match(cell) for cell in text]
    parts = [match for match in found if match]
    if len(parts) >= SURE_SHARE * len(text):
        return _numbers(parts, len(text))
    worded = [match for match in map(_WORDED.match, text) if match]
    if len(worded) >= SURE_SHARE * len(text):
        return _worded(worded, len(text))
    understood = sum(any(shape.match(cell) for shape in _UNDERSTOOD) for cell in text)
    if understood >= SURE_SHARE * len(text):
        return Dates(understood / len(text), evidence="year first, or in words")
    number = plain_number(text)
    if number.between(*SERIALS).mean() > SURE_SHARE and (number % 1 == 0).all():
        said = f"day numbers of a spreadsheet, read as days since {DAY_ZERO}"
        return Dates(float(number.notna().mean()) / 2, sure=False, evidence=said)
    return _mixed(parts, worded, understood, len(text))


def _mixed(
    parts: list[re.Match[str]], worded: list[re.Match[str]], understood: int, count: int
) -> Dates:
    """Several ways of writing in one column; sure where each says by itself what it means."""
    found = [_numbers(parts, count)] if parts else []
    found += [_worded(worded, count)] if worded else []
    share = (understood + len(parts) + len(worded)) / count
    formats = tuple(one for each in found for one in each.formats)
    if formats and parts and not found[0].formats:  # beside a format nothing is taken for granted
        formats = (_pattern(parts, day_first=False), *formats)
    said = f"several ways of writing: {understood} year first or in words, "
    said += f"{len(parts)} with numbers, {len(worded)} with a month's name"
    said += "".join(f"; {each.evidence}" for each in found if each.evidence)
    sure = share >= SURE_SHARE and all(each.sure for each in found) and _one_form(parts)
    return Dates(share, formats if sure else (), sure, said)


def _one_form(parts: list[re.Match[str]]) -> bool:
    """Whether dates of numbers have the same sign and the same length of the year."""
    return len({(match[2], len(match[4])) for match in parts}) < 2


def _numbers(parts: list[re.Match[str]], count: int) -> Dates:
    """Which of two numbers is the month: one over 12 is a day."""
    first = sum(int(match[1]) > 12 for match in parts)
    second = sum(int(match[3]) > 12 for match in parts)
    sign = parts[0][2]
    short = len(parts[0][4]) == 2
    share = len(parts) / count
    timed = any(match[5].strip() for match in parts)
    more = "; two-digit years lie in the hundred years up to the day of the run" if short else ""
    if first and second:
        said = f"{first} rows are day first, {second} month first: two ways in one column"
        return Dates(share, sure=False, evidence=said)
    day_first = first > 0
    pattern = _pattern(parts, day_first=day_first)
    if day_first:
        said, sure = f"day first: {first} rows have a first number over 12", True
    elif second:
        said, sure = f"month first: {second} rows have a second number over 12", True
    else:
        said, sure = "day or month first cannot be told; taken as month first", False
    known = not day_first and not short and sign in "/-"
    if timed and not known:
        return Dates(share, (pattern,), sure=False, evidence=f"{said}; with times of day{more}")
    return Dates(share, () if known else (pattern,), sure, said + more)


def _pattern(parts: list[re.Match[str]], *, day_first: bool) -> str:
    """Format of dates of numbers."""
    sign, year = parts[0][2], "%y" if len(parts[0][4]) == 2 else "%Y"
    return sign.join([*(("%d", "%m") if day_first else ("%m", "%d")), year])


def _worded(parts: list[re.Match[str]], count: int) -> Dates:
    sign, short = parts[0][1], len(parts[0][2]) == 2
    if not short:
        return Dates(len(parts) / count, evidence="day, month's name, year")
    said = "two-digit years lie in the hundred years up to the day of the run"
    return Dates(len(parts) / count, (f"%d{sign}%b{sign}%y",), evidence=said)
