"""Delimited text to rows, with the cells of every row counted.

The published form is RFC 4180 (Shafranovich, 2005): a cell in quotes may hold separators, line
breaks and doubled quotes, and every record has as many cells as the header. What breaks that form
is never guessed:

- a row with more or fewer cells than the header is set aside and told;
- a quote that opens a cell and is not closed in its row sets that row aside: reading goes on in
  the next line. A record that runs over several lines is such a row, not a legal one, as soon as a
  line that it takes in would make a whole row of its own;
- a row with a cell of more than 131,072 characters or a binary zero is set aside and told;
- a row whose quotes are odd but whose cells can be told apart is kept and told.

So the rows of a file are those of the table and those that the defect log tells. If fewer rows fit
than do not, the file is no table of this kind, and that is an error.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator, Sequence
from operator import itemgetter
from typing import Any, Final, Literal, NamedTuple

import pandas as pd

from data_pipelines.defect_log import DefectLog
from data_pipelines.files import MOST_COLUMNS
from data_pipelines.headers import LOOKED_AT, header_row, tell_titles
from riskmap.contract.errors import LayerError, SourceFormatError

LONGEST_CELL: Final = 131_072
LONGEST_NAME: Final = 500
SET_ASIDE: Final = "set aside"
STRAY: Final = "stray_quote"
_SIGNS: Final = "\t,;|"
_FORMAT_ROW: Final = re.compile(r"\d+[sdn]")
_SHOWN: Final = 3


class _Form(NamedTuple):
    """How the cells of a file are told apart."""

    sign: str
    quoting: Literal[0, 3]

    def reader(self, lines: Iterator[str], *, strict: bool = True) -> Any:
        """Reader of the standard library, made for this form."""
        return csv.reader(
            lines,
            delimiter=self.sign,
            quoting=self.quoting,
            skipinitialspace=self.sign != "\t",
            strict=strict,
        )


class _Fault(NamedTuple):
    """A row that does not fit: its number, what is wrong, where, and its cells if known."""

    number: int
    check: str
    told: str
    cells: list[str]


class _SwallowedError(Exception):
    """A record in quotes takes in a line that would make a whole row of its own."""


class _Feed:
    """Gives lines to a reader and knows where the record now read began."""

    def __init__(self, lines: Sequence[str], form: _Form, width: int, start: int) -> None:
        self.lines, self.form, self.width = lines, form, width
        self.start = self.position = start

    def __iter__(self) -> _Feed:
        return self

    def __next__(self) -> str:
        if self.position >= len(self.lines):
            raise StopIteration
        line = self.lines[self.position]
        if self.position > self.start and self._whole(line):
            raise _SwallowedError
        self.position += 1
        return line

    def _whole(self, line: str) -> bool:
        if line.count('"') % 2 == 0:
            return _cells(line, self.form, self.width, strict=True) is not None
        first = self.lines[self.start]
        return line.count(self.form.sign) == first.count(self.form.sign) == self.width - 1

    def told(self) -> str:
        """Line numbers of the record now read."""
        if self.position - self.start < 2:
            return f"line {self.start + 1}"
        return f"lines {self.start + 1} to {self.position}"


def _cells(line: str, form: _Form, width: int, *, strict: bool) -> list[str] | None:
    """Cells of one line, if they are `width`; its quotes may stand anywhere unless `strict`."""
    try:
        cells: list[str] = next(form.reader(iter([line]), strict=strict), [])
    except csv.Error:
        return None
    return cells if len(cells) == width else None


def parse_delimited(
    text: str,
    *,
    layer: str,
    name: str,
    columns: Sequence[str] | None = None,
    log: DefectLog | None = None,
) -> pd.DataFrame:
    """Parse comma, tab, semicolon or bar separated text; all cells stay text.

    Comment lines (``#``) before the header and the format row of RDB (``5s  15s  10d``) are left
    out. Rows are labeled by their number, counted from 1, whether they fit or not.

    Parameters
    ----------
    columns
        Only these are kept; all if not given.
    log
        Tells the rows that were set aside. Without one, a row that does not fit is an error.

    Raises
    ------
    SourceFormatError
        If there is no header, or more rows do not fit it than do.
    LayerError
        If two columns bear a name that is wanted.
    """
    lines = list(io.StringIO(text, newline=""))
    form, names, start, titles = _header(lines, layer, name)
    tell_titles(log, titles, file=name)
    places = _places(names, columns, layer, name)
    pick = _picker(places)
    rows, labels, faults = _rows(_Feed(lines, form, len(names), start), pick)
    if not rows and faults and all(_ends_empty(fault.cells, len(names)) for fault in faults):
        rows, labels = [pick(fault.cells) for fault in faults], [fault.number for fault in faults]
        faults = []
    _report(faults, len(rows), layer, name, log)
    index = pd.Index(labels, dtype="int64", name="row").astype(str)
    if not rows or not places:
        return pd.DataFrame(index=index, columns=[names[place] for place in places], dtype=object)
    frame = pd.DataFrame.from_records(rows, columns=[names[place] for place in places])
    return frame.set_axis(index, axis=0)


def header_names(text: str, *, layer: str, name: str) -> list[str]:
    """Column names of a delimited text."""
    start = text[: LONGEST_NAME * MOST_COLUMNS]
    return _header(list(io.StringIO(start, newline="")), layer, name)[1]


def _header(lines: list[str], layer: str, name: str) -> tuple[_Form, list[str], int, int]:
    """Form, column names, number of the first line after the header, and of titles above it."""
    start = 0
    while start < len(lines) and (lines[start].startswith("#") or not lines[start].strip()):
        start += 1
    if start == len(lines):
        raise SourceFormatError(layer, f"{name} has no header line.", "Fetch it again.")
    titles = _titles(lines, start)
    start += titles
    commented = any(line.startswith("#") for line in lines[:start])
    end = start + 1
    while end < len(lines) and "".join(lines[start:end]).count('"') % 2:
        end += 1
    bare = re.sub(r'"[^"]*"', "", "".join(lines[start:end]))
    sign = max(_SIGNS, key=bare.count)
    form = _Form(sign, csv.QUOTE_NONE if commented and sign == "\t" else csv.QUOTE_MINIMAL)
    if bare.count(sign) >= MOST_COLUMNS:
        raise SourceFormatError(
            layer,
            f"{name} has {bare.count(sign) + 1} columns; at most {MOST_COLUMNS} are read.",
            "Save only the columns that are needed.",
        )
    reader = form.reader(iter(lines[start:]))
    try:
        cells = next(reader)
    except csv.Error as error:
        raise SourceFormatError(
            layer, f"the header of {name} cannot be read ({error}).", "Save it again as CSV."
        ) from error
    if max(map(len, cells)) > LONGEST_NAME:
        raise SourceFormatError(
            layer,
            f"the header of {name} has a name of over {LONGEST_NAME} characters.",
            "Close the quotes in its first line.",
        )
    start += int(reader.line_num)
    formats = lines[start].strip().split(sign) if start < len(lines) else []
    if len(formats) > 1 and all(map(_FORMAT_ROW.fullmatch, formats)):
        start += 1
    return form, unique_names([cell.strip() for cell in cells]), start, titles


def _titles(lines: list[str], start: int) -> int:
    """Lines from `start` on that stand above the column names.

    Cells are told apart by the separator that the lines looked at have most of. A first line that
    holds another one is no title: its names may well be parted by that.
    """
    looked = lines[start : start + LOOKED_AT]
    if any('"' in line and line.count('"') % 2 for line in looked):
        return 0
    text = re.sub(r'"[^"]*"', "", "".join(looked))
    form = _Form(max(_SIGNS, key=text.count), csv.QUOTE_MINIMAL)
    if any(sign in looked[0] for sign in _SIGNS if sign != form.sign):
        return 0
    try:
        rows: list[list[str]] = []
        for line in looked:
            rows.append(next(form.reader(iter([line]), strict=False), []))
    except csv.Error:
        return 0
    return header_row(rows)


def unique_names(names: list[str]) -> list[str]:
    """Names of columns; the second of a kind becomes ``NAME.1``, a blank one ``Unnamed: 3``."""
    seen: dict[str, int] = {}
    result = []
    for place, name in enumerate(names):
        name = name or f"Unnamed: {place}"
        count = seen[name] = seen.get(name, -1) + 1
        result.append(f"{name}.{count}" if count else name)
    return result


def _places(names: list[str], columns: Sequence[str] | None, layer: str, name: str) -> list[int]:
    wanted = [place for place, known in enumerate(names) if columns is None or known in columns]
    if columns is not None:
        for place in wanted:
            if f"{names[place]}.1" in names:
                raise LayerError(
                    layer,
                    f"{name} has two columns called {names[place]!r}.",
                    "Rename one of them in the file.",
                )
    return wanted


def _picker(places: Sequence[int]) -> Callable[[list[str]], tuple[str, ...]]:
    """Cells at `places` of a row, always as a tuple."""
    if len(places) > 1:
        return itemgetter(*places)
    return lambda cells: tuple(cells[place] for place in places)


def _rows(
    feed: _Feed, pick: Callable[[list[str]], tuple[str, ...]]
) -> tuple[list[tuple[str, ...]], list[int], list[_Fault]]:
    """Rows that fit, their numbers, and the faults."""
    rows: list[tuple[str, ...]] = []
    labels: list[int] = []
    faults: list[_Fault] = []
    width, zeros = feed.width, any("\0" in line for line in feed.lines)
    number = 0
    while feed.position < len(feed.lines):
        try:
            for cells in feed.form.reader(feed):
                if len(cells) < 2 and not (cells and cells[0].strip()):
                    feed.start = feed.position
                    continue
                number += 1
                if zeros and any("\0" in cell for cell in cells):
                    faults.append(_Fault(number, "binary_zero", feed.told(), []))
                elif len(cells) == width:
                    rows.append(pick(cells))
                    labels.append(number)
                else:
                    told = f"{len(cells)} cells, not {width} ({feed.told()})"
                    faults.append(_Fault(number, "ragged_row", told, cells))
                feed.start = feed.position
        except (csv.Error, _SwallowedError) as error:
            number += 1
            fault = _fault(feed, number, error)
            faults.append(fault)
            if fault.check == STRAY:
                rows.append(pick(fault.cells))
                labels.append(number)
            feed.start += 1
            feed.position = feed.start
    return rows, labels, faults


def _fault(feed: _Feed, number: int, error: Exception) -> _Fault:
    """Say what is wrong with the first line of the record that could not be read."""
    line, place = feed.lines[feed.start], f"line {feed.start + 1}"
    if "limit" in str(error) and len(line) > LONGEST_CELL:
        return _Fault(number, "cell_too_long", f"over {LONGEST_CELL} characters ({place})", [])
    alone = isinstance(error, csv.Error) and feed.position == feed.start + 1
    alone &= line.count('"') % 2 == 0
    cells = _cells(line, feed.form, feed.width, strict=False) if alone else None
    return _Fault(number, "open_quote" if cells is None else STRAY, place, cells or [])


def _ends_empty(cells: list[str], width: int) -> bool:
    """Whether a row has one more cell than the header, and nothing in it."""
    return len(cells) == width + 1 and not cells[-1].strip()


def _report(faults: list[_Fault], kept: int, layer: str, name: str, log: DefectLog | None) -> None:
    """Tell the faults; an error if more rows are lost than kept, or nobody would hear of them."""
    lost = [fault for fault in faults if fault.check != STRAY]
    if lost and (log is None or len(lost) > kept):
        shown = "; ".join(f"row {fault.number}: {fault.told}" for fault in lost[:_SHOWN])
        raise SourceFormatError(
            layer,
            f"{len(lost)} of {len(lost) + kept} rows of {name} do not fit its header ({shown}).",
            "Save it again as CSV in UTF-8, with quotes around cells that hold the separator.",
        )
    if log is not None:
        for check in dict.fromkeys(fault.check for fault in faults):
            told = {str(fault.number): fault.told for fault in faults if fault.check == check}
            action = "kept as read" if check == STRAY else SET_ASIDE
            log.add("", check, pd.Series(told, dtype=object), action)
