"""Rows of delimited text; a row with too many or too few fields is told and never shifted."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Final, NamedTuple

from data_pipelines.files import read_bytes
from data_pipelines.soil_survey.schema import short_name
from riskmap.contract.errors import SourceFormatError

SIGNS: Final = ("|", ",", ";", "\t")
MOST_LINES: Final = 200
"""A quoted text that runs over more lines than this is taken as a quote that was never closed."""


class BadRow(NamedTuple):
    """A row that was left out: its line in the file, from 1, and its number of fields."""

    line: int
    fields: int


def read_text(path: Path) -> tuple[str, bool]:
    """Text of a file, and whether it had to be read as Windows-1252 since it is not UTF-8.

    Raises
    ------
    riskmap.contract.errors.SourceFormatError
        If the file cannot be read or is too large.
    """
    try:
        data = read_bytes(path, short_name(path))
    except OSError as error:
        raise SourceFormatError(
            short_name(path), f"cannot be read ({error.strerror}).", "Check the file."
        ) from error
    try:
        return data.decode("utf-8-sig"), False
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), True


def refuse_cut(text: str, bad: Sequence[BadRow], path: Path) -> None:
    """Raise SourceFormatError if a text ends in the middle of a row: nobody knows what followed."""
    if bad and not text.endswith("\n") and bad[-1].line == text.rstrip("\r").count("\n") + 1:
        raise SourceFormatError(
            short_name(path),
            f"ends in the middle of line {bad[-1].line}: the file was cut.",
            "Download it again, whole.",
        )


def sign_of(text: str) -> str:
    r"""Sign that parts the fields of a table with a header: the commonest in its first line.

    >>> sign_of("cokey;chkey;ksat_r\n1;2;9,17\n")
    ';'
    """
    return max(SIGNS, key=text.partition("\n")[0].count)


def parse_records(
    text: str, *, sign: str, width: int | None = None, only: str = ""
) -> tuple[list[list[str]], list[BadRow]]:
    r"""Split delimited text into rows of trimmed fields.

    Text in quotes may hold the sign, doubled quotes and line ends. Where a quote is opened and not
    closed, only the line that opens it is lost: reading goes on with the next.

    Parameters
    ----------
    text
        The whole file.
    sign
        What parts the fields.
    width
        Number of fields of a row; that of the first row if not given.
    only
        Lines without these lower-case words are passed over unread, which keeps the largest table
        (interpretations, one line each) quick and small.

    Returns
    -------
    rows
        Rows of `width` fields.
    bad
        Every row that has another number, or a quote out of place.

    Examples
    --------
    >>> parse_records('"a ""quoted"" word"|No |3\n', sign="|")
    ([['a "quoted" word', 'No', '3']], [])
    >>> parse_records('1|2\n"3|4\n5|6|7\n8|9', sign="|")
    ([['1', '2'], ['8', '9']], [BadRow(line=2, fields=1), BadRow(line=3, fields=3)])
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    rows: list[list[str]] = []
    bad: list[BadRow] = []
    place = 0
    while place < len(lines):
        fields, used = _record(lines, place, sign)
        if used > 1 and width is not None and len(fields) != width:
            fields, used = [lines[place]], 1
        if any(fields) and only in lines[place].casefold():
            width = width or len(fields)
            if len(fields) == width:
                rows.append([field.strip() for field in fields])
            else:
                bad.append(BadRow(place + 1, len(fields)))
        place += used
    return rows, bad


def _record(lines: Sequence[str], place: int, sign: str) -> tuple[list[str], int]:
    """Fields of the record that begins at a line, and the number of lines it takes."""
    line = lines[place]
    if '"' not in line:
        return line.split(sign), 1
    ends = [place]
    if line.count('"') % 2:
        later = range(place + 1, min(place + MOST_LINES, len(lines)))
        ends += [n for n in later if lines[n].count('"') % 2][:1]
    for end in ends:
        joined = io.StringIO("\n".join(lines[place : end + 1]), newline="")
        try:
            found = list(csv.reader(joined, delimiter=sign, strict=True))
        except csv.Error:
            continue
        if len(found) == 1:
            return found[0], end - place + 1
    return [line], 1
