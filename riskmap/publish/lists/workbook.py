"""A list as a workbook to be worked in: frozen head, filters, print set-up, columns to fill in."""

from __future__ import annotations

import datetime
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import xlsxwriter

from riskmap.contract.columns import Column
from riskmap.contract.quantities import Units, in_units
from riskmap.contract.vocabulary import SCORE_CLASSES
from riskmap.publish import palette
from riskmap.publish.lists.list_columns import AS_RECORDED, ResultColumn, heading, number_form
from riskmap.publish.words.cautions import CAUTIONS
from riskmap.publish.words.text_safety import is_missing, plain_text, spreadsheet_text

FIXED_DATE: Final = datetime.datetime(2000, 1, 1)
"""Creation date of every workbook: the same county gives the same bytes."""
WORKBOOK_ROWS: Final = 5000
"""A workbook is for people; all rows are in the CSV file."""
LINE_PT: Final = 12.75
"""Height of a line of writing at the size used, points."""
MOST_PT: Final = 400.0
"""The tallest row; the format itself allows 409 points."""
LEFT: Final = {"align": "left", "indent": 1}
"""Keeps text off the number to its left."""
_SAFE: Final = {
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "nan_inf_to_errors": False,
}


@dataclass(frozen=True)
class Worklist:
    """A list about to be written: rows, columns, what is filled in, and the words around it.

    ``columns`` are the declared columns of `table`, whose numbers are as people read them;
    ``results`` are empty columns to the right of them; ``frozen`` columns stay in sight; classes
    take their color; at most ``most`` rows are written; ``who`` fills
    in the results. Printed, a list is ``pages_wide`` pages wide, the frozen columns on each.
    """

    name: str
    heading: str
    table: pd.DataFrame
    columns: Sequence[Column]
    results: Sequence[ResultColumn] = ()
    notes: Sequence[tuple[str, str]] = ()
    units: Units = "us"
    frozen: int = 3
    most: int = WORKBOOK_ROWS
    who: str = "you"
    pages_wide: int = 1


@dataclass(frozen=True)
class RunMark:
    """Which run of which county a workbook is from; office programs keep it with the file."""

    run: str = ""
    county: str = ""


RUN_PROPERTY: Final = "riskmap run"
COUNTY_PROPERTY: Final = "riskmap county"


def cleaned(table: pd.DataFrame) -> pd.DataFrame:
    """Table whose texts have lost control and direction marks, which could hide a formula."""
    return table.map(lambda value: plain_text(value) if isinstance(value, str) else value)


def write_workbook(path: Path, *worklists: Worklist, mark: RunMark = RunMark()) -> Path:
    """Write lists as XLSX, a sheet each, and one sheet of notes on the first.

    No text is ever run as a formula or turned into a link.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    with xlsxwriter.Workbook(str(path), dict(_SAFE)) as book:
        heading = plain_text(worklists[0].heading)
        book.set_properties({"title": heading, "created": FIXED_DATE})
        if mark.run:
            book.set_custom_property(RUN_PROPERTY, mark.run)
            book.set_custom_property(COUNTY_PROPERTY, plain_text(mark.county))
        base = {"font_name": "Calibri", "font_size": 10, "valign": "top", "border": 1}
        base["border_color"] = palette.LINE
        for worklist in worklists:
            _write_list(book, book.add_worksheet(worklist.name), worklist, base)
        _write_notes(book, book.add_worksheet("Notes"), worklists[0])
    return path


def _write_list(book: Any, page: Any, worklist: Worklist, base: Mapping[str, Any]) -> None:
    rows = worklist.table.head(worklist.most)
    count, width = len(rows), len(worklist.columns)
    head = book.add_format(
        {**base, "bold": True, "text_wrap": True, "bg_color": palette.ACCENT_PALE}
    )
    fill_in = book.add_format(
        {**base, "bold": True, "text_wrap": True, "bg_color": palette.WARN_PAPER}
    )
    classes = _class_formats(book, base)
    for place, column in enumerate(worklist.columns):
        listed = column.listed or AS_RECORDED
        page.write_string(0, place, heading(column, worklist.units), head)
        style = {"text_wrap": listed.wrap, "num_format": number_form(column, worklist.units)}
        if not pd.api.types.is_numeric_dtype(rows[column.name]):
            style |= LEFT
        cell = book.add_format({**base, **style})
        page.set_column(place, place, listed.width)
        words = classes if column.domain == SCORE_CLASSES else {}
        for row, value in enumerate(rows[column.name], start=1):
            _write_cell(page, row, place, value, words.get(str(value), cell) if words else cell)
    for place, result in enumerate(worklist.results, start=width):
        page.write_string(0, place, result.title, fill_in)
        page.set_column(place, place, result.width)
        _prepare_result(book, page, place, result, count, base)
    _set_heights(page, rows, worklist)
    page.freeze_panes(1, worklist.frozen)
    page.autofilter(0, 0, max(1, count), width + len(worklist.results) - 1)
    _set_up_print(page, worklist)


def _set_heights(page: Any, rows: pd.DataFrame, worklist: Worklist) -> None:
    """Make each row as tall as its longest cell; not every program does so on opening a file."""
    columns = [(column, column.listed or AS_RECORDED) for column in worklist.columns]
    heads = [(heading(column, worklist.units), listed.width) for column, listed in columns]
    heads += [(result.title, result.width) for result in worklist.results]
    page.set_row(0, _height(max(lines_of(title, width - 1) for title, width in heads)))
    most = np.ones(len(rows), dtype=np.int64)
    for column, listed in columns:
        if listed.wrap:
            texts = rows[column.name]
            most = np.maximum(most, [lines_of(text, listed.width) for text in texts])
    for row, lines in enumerate(most.tolist(), start=1):
        if lines > 1:  # a row of one line keeps growing by itself
            page.set_row(row, _height(lines))


def lines_of(value: object, width: float) -> int:
    """Lines that a text takes in a cell `width` letters wide; capitals are wider than that.

    >>> lines_of("one two three", 7), lines_of("ONE TWO THREE FOUR", 18), lines_of(None, 7)
    (2, 2, 1)
    """
    if not isinstance(value, str):
        return 1
    letters = max(1, int(width * (0.9 if value.isupper() else 1.1)))
    return max(1, len(textwrap.wrap(value, letters)))


def _height(lines: int) -> float:
    return min(MOST_PT, LINE_PT * lines + 2.0)


def _class_formats(book: Any, base: Mapping[str, Any]) -> dict[str, Any]:
    return {
        word: book.add_format(
            {**base, **LEFT, "bg_color": color, "font_color": palette.CLASS_TEXT[word]}
        )
        for word, color in palette.CLASS_COLORS.items()
    }


def _write_cell(page: Any, row: int, place: int, value: object, style: Any) -> None:
    if is_missing(value):
        page.write_blank(row, place, None, style)
    elif isinstance(value, str):
        page.write_string(row, place, spreadsheet_text(value), style)
    else:
        page.write_number(row, place, float(str(value)), style)


def _prepare_result(
    book: Any, page: Any, place: int, result: ResultColumn, rows: int, base: Mapping[str, Any]
) -> None:
    date = {"num_format": "yyyy-mm-dd"} if result.kind == "date" else {"text_wrap": True}
    style = book.add_format({**base, **date})
    for row in range(1, rows + 1):
        page.write_blank(row, place, None, style)
    rule: dict[str, Any] | None = None
    if result.choices:
        rule = {"validate": "list", "source": list(result.choices)}
    elif result.kind == "date":
        rule = {"validate": "date", "criteria": ">=", "value": FIXED_DATE,
                "error_title": "Not a date",
                "error_message": "Write the date, for example 2026-06-30."}  # fmt: skip
    elif result.kind == "number":
        rule = {"validate": "decimal", "criteria": ">=", "value": 0,
                "error_title": "Not a number",
                "error_message": "Write a number, 0 or more, without its unit."}  # fmt: skip
    if rule:
        page.data_validation(1, place, max(1, rows), place, rule)


def _set_up_print(page: Any, worklist: Worklist) -> None:
    page.set_landscape()
    page.set_paper(5 if worklist.units == "us" else 8)  # legal, or A3
    page.fit_to_pages(worklist.pages_wide, 0)
    page.repeat_rows(0)
    if worklist.pages_wide > 1:
        page.repeat_columns(0, worklist.frozen - 1)
    page.set_margins(left=0.4, right=0.4, top=0.7, bottom=0.6)
    page.set_header("&L" + plain_text(worklist.heading).replace("&", "&&")[:200])
    page.set_footer("&LScreening, not a finding. For staff only.&RPage &P of &N")
    page.hide_gridlines(0)


def _write_notes(book: Any, page: Any, worklist: Worklist) -> None:
    title = book.add_format({"bold": True, "font_size": 13})
    note = book.add_format({"text_wrap": True, "valign": "top"})
    page.set_column(0, 0, 26)
    page.set_column(1, 1, 80)
    page.set_column(2, 2, 24)
    page.write_string(0, 0, spreadsheet_text(worklist.heading), title)
    shown = min(len(worklist.table), worklist.most)
    rows = [("Rows", f"{shown:,} of {len(worklist.table):,}; the CSV file has all.", "")]
    rows += [(word, text, "") for word, text in worklist.notes]
    rows += [("", "", ""), ("Column", "Meaning", "From")]
    units = worklist.units
    rows += [
        (
            heading(column, units),
            in_units(column.meaning, units),
            (column.listed or AS_RECORDED).source,
        )
        for column in worklist.columns
    ]
    rows += [("", "", ""), ("To fill in", "", "")]
    rows += [(result.title, _words(result), worklist.who) for result in worklist.results]
    rows += [("", "", ""), ("Cautions", "", "")]
    rows += [("", caution, "") for caution in CAUTIONS]
    for number, row in enumerate(rows, start=2):
        for place, text in enumerate(row):
            page.write_string(number, place, spreadsheet_text(text), note)
    page.set_landscape()
    page.fit_to_pages(1, 0)


def _words(result: ResultColumn) -> str:
    return result.meaning + (f" ({', '.join(result.choices)})" if result.choices else "")
