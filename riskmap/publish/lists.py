"""The inspection list, as CSV for programs and as a workbook to be worked in."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd
import xlsxwriter

from riskmap.publish import palette
from riskmap.publish.cautions import CAUTIONS
from riskmap.publish.display import Units
from riskmap.publish.list_columns import (
    EVIDENCE_MEANINGS,
    RESULTS,
    ListColumn,
    ResultColumn,
    file_name_of,
    list_table,
    titled,
)
from riskmap.publish.text_safety import csv_text, is_missing, plain_text, spreadsheet_text

FIXED_DATE: Final = datetime.datetime(2000, 1, 1)
"""Creation date of every workbook: the same county gives the same bytes."""

WORKBOOK_ROWS: Final = 5000
"""A workbook is for people; all rows stand in the CSV file."""


@dataclass(frozen=True)
class Sheet:
    """A list about to be written: its rows, its columns, and the words around it."""

    name: str
    table: pd.DataFrame
    columns: Sequence[ListColumn]
    heading: str
    units: Units


def write_inspection_list(
    folder: Path,
    ranked: pd.DataFrame,
    *,
    county: str,
    date: str,
    units: Units = "us",
    owner_columns: tuple[str, ...] = (),
    workbook_rows: int = WORKBOOK_ROWS,
) -> int:
    """Write ``lists/inspections.csv`` and ``.xlsx``; returns the number of parcels listed.

    Parcels whose service is unknown are ranked apart: where there are any they follow in
    ``lists/service_unknown.csv`` and on a sheet of their own.
    """
    place = folder / "lists"
    place.mkdir(parents=True, exist_ok=True)
    first = _ordered(ranked, "rank")
    apart = _ordered(ranked, "apart_rank") if "apart_rank" in ranked else ranked.iloc[:0]
    sheets = []
    for name, file, rows in (
        ("Inspections", "inspections", first),
        ("Service unknown", "service_unknown", apart),
    ):
        if rows.empty and name != "Inspections":
            continue
        table = list_table(rows, units=units, owner_columns=owner_columns)
        _write_csv(place / f"{file}.csv", table, units=units)
        columns = [titled(column, units=units) for column in table.columns]
        heading = f"{plain_text(county)}: {name.lower()}, {plain_text(date)}"
        sheets.append(Sheet(name, table.head(workbook_rows), columns, heading, units))
    _write_workbook(place / "inspections.xlsx", sheets, listed=len(first))
    return len(first)


def _ordered(ranked: pd.DataFrame, by: str) -> pd.DataFrame:
    rows = ranked[ranked[by].notna()].sort_values(by, kind="stable")
    return rows.assign(rank=rows[by]) if by != "rank" else rows


def _write_csv(path: Path, table: pd.DataFrame, *, units: Units) -> None:
    named = table.rename(columns={name: file_name_of(name, units=units) for name in table.columns})
    path.write_bytes(csv_text(named).encode("utf-8"))


def _write_workbook(path: Path, sheets: Sequence[Sheet], *, listed: int) -> None:
    options = {
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": False,
    }
    with xlsxwriter.Workbook(str(path), options) as book:
        book.set_properties({"title": sheets[0].heading, "created": FIXED_DATE})
        formats = _formats(book)
        for sheet in sheets:
            _write_sheet(book.add_worksheet(sheet.name), sheet, formats)
        _write_notes(book.add_worksheet("Notes"), sheets[0], formats, listed=listed)


def _formats(book: Any) -> dict[str, Any]:
    base = {"font_name": "Calibri", "font_size": 10, "valign": "top", "border": 1}
    base["border_color"] = palette.LINE
    formats = {
        "head": book.add_format(
            base | {"bold": True, "text_wrap": True, "bg_color": palette.ACCENT_PALE}
        ),
        "fill_in": book.add_format(
            base | {"bold": True, "text_wrap": True, "bg_color": palette.WARN_PAPER}
        ),
        "plain": book.add_format(base),
        "wrap": book.add_format(base | {"text_wrap": True}),
        "one": book.add_format(base | {"num_format": "0.0"}),
        "date": book.add_format(base | {"num_format": "yyyy-mm-dd"}),
        "title": book.add_format({"bold": True, "font_size": 13}),
        "note": book.add_format({"text_wrap": True, "valign": "top"}),
    }
    for word, colour in palette.CLASS_COLOURS.items():
        ink = palette.CLASS_TEXT[word]
        formats[word] = book.add_format(base | {"bg_color": colour, "font_color": ink})
    return formats


def _write_sheet(page: Any, sheet: Sheet, formats: dict[str, Any]) -> None:
    rows, width = len(sheet.table), len(sheet.columns)
    for place, column in enumerate(sheet.columns):
        page.set_column(place, place, column.width)
        page.write_string(0, place, column.title, formats["head"])
        _write_column(page, place, column, sheet.table[column.name], formats)
    for place, result in enumerate(RESULTS, start=width):
        page.set_column(place, place, result.width)
        page.write_string(0, place, result.title, formats["fill_in"])
        _prepare_result(page, place, result, rows, formats)
    page.set_row(0, 30)
    page.freeze_panes(1, 3)
    page.autofilter(0, 0, max(1, rows), width + len(RESULTS) - 1)
    _set_up_print(page, sheet)


def _write_column(
    page: Any, place: int, column: ListColumn, values: pd.Series, formats: dict[str, Any]
) -> None:
    plain = formats["wrap" if column.wrap else "plain"]
    number = formats["one"] if column.name == "priority" else plain
    for row, value in enumerate(values, start=1):
        if is_missing(value):
            page.write_blank(row, place, None, plain)
        elif isinstance(value, str):
            style = formats.get(value, plain) if column.name.endswith("_class") else plain
            page.write_string(row, place, spreadsheet_text(value), style)
        else:
            page.write_number(row, place, float(value), number)


def _prepare_result(
    page: Any, place: int, result: ResultColumn, rows: int, formats: dict[str, Any]
) -> None:
    style = formats["date" if result.kind == "date" else "wrap"]
    for row in range(1, rows + 1):
        page.write_blank(row, place, None, style)
    if result.choices:
        page.data_validation(
            1, place, max(1, rows), place, {"validate": "list", "source": list(result.choices)}
        )
    elif result.kind == "date":
        rule = {
            "validate": "date",
            "criteria": ">=",
            "value": FIXED_DATE,
            "error_title": "Not a date",
            "error_message": "Write the date of the visit, for example 2025-06-30.",
        }
        page.data_validation(1, place, max(1, rows), place, rule)


def _set_up_print(page: Any, sheet: Sheet) -> None:
    page.set_landscape()
    page.set_paper(5 if sheet.units == "us" else 8)  # legal, or A3
    page.fit_to_pages(1, 0)
    page.repeat_rows(0)
    page.set_margins(left=0.4, right=0.4, top=0.7, bottom=0.6)
    page.set_header("&L" + sheet.heading.replace("&", "&&"))
    page.set_footer("&LScreening, not a finding. For staff only.&RPage &P of &N")
    page.hide_gridlines(0)


def _write_notes(page: Any, sheet: Sheet, formats: dict[str, Any], *, listed: int) -> None:
    page.set_column(0, 0, 26)
    page.set_column(1, 1, 80)
    page.set_column(2, 2, 24)
    page.write_string(0, 0, spreadsheet_text(sheet.heading), formats["title"])
    rows = [("Parcels listed", f"{len(sheet.table):,} of {listed:,}; the CSV file has all.", "")]
    rows += [("", "", ""), ("Column", "Meaning", "From")]
    rows += [(column.title, column.meaning, column.source) for column in sheet.columns]
    rows += [("", "", ""), ("To fill in", "", "")]
    rows += [(result.title, _result_words(result), "the inspector") for result in RESULTS]
    rows += [("", "", ""), ("How a value is known", "", "")]
    rows += [(word, meaning, "") for word, meaning in EVIDENCE_MEANINGS.items()]
    rows += [("", "", ""), ("Cautions", "", "")]
    rows += [("", caution, "") for caution in CAUTIONS]
    for number, row in enumerate(rows, start=2):
        for place, text in enumerate(row):
            page.write_string(number, place, spreadsheet_text(text), formats["note"])
    page.set_landscape()
    page.fit_to_pages(1, 0)


def _result_words(result: ResultColumn) -> str:
    return result.meaning + (f" ({', '.join(result.choices)})" if result.choices else "")
