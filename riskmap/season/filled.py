"""Reads what was filled in: workbooks, delimited text, and the files of the telephone form.

A file holds visits, or letters and what came back of them; its headings tell which.

Every answer keeps the cell that it stands in, so that what is wrong can be said to the point.
"""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import openpyxl
import pandas as pd
from openpyxl.utils import get_column_letter
from openpyxl.utils.datetime import from_excel

from data_pipelines.tables import is_text_table, parse_delimited, read_text
from riskmap.contract.columns import Column
from riskmap.contract.errors import SourceFormatError, SourceMissingError, reason
from riskmap.contract.letters import LETTER_COLUMNS, LETTER_QUESTIONS
from riskmap.contract.quantities import Units
from riskmap.contract.suggest import nearest
from riskmap.contract.visits import QUESTIONS, VISIT_COLUMNS
from riskmap.publish.lists.list_columns import heading
from riskmap.publish.lists.workbook import COUNTY_PROPERTY, RUN_PROPERTY

FORM: Final = "visits 1"
"""What a file of the telephone form says it is."""
WORKBOOKS: Final = (".xlsx", ".xlsm")
FORMS: Final = (".json",)
HEAD_ROWS: Final = 5
"""The headings stand in one of the first rows."""
MOST_ROWS: Final = 200_000
MOST_COLUMNS: Final = 500
EXCEL_DAYS: Final = (20_000, 80_000)
"""Day numbers of the years 1954 to 2119, which stay where a date's format was lost."""
Of = Literal["visits", "letters"]
ASKED: Final[Mapping[Of, Mapping[str, Column]]] = {
    "visits": VISIT_COLUMNS,
    "letters": LETTER_COLUMNS,
}
"""What a file may hold -> its columns."""
KEYS: Final[Mapping[Of, str]] = {"visits": "parcel_id", "letters": "reference"}
"""The column that says what a row is about."""
_FILLED_IN: Final[Mapping[Of, frozenset[str]]] = {
    "visits": frozenset(q.name for q in QUESTIONS),
    "letters": frozenset(q.name for q in LETTER_QUESTIONS),
}
_NEEDED: Final[Mapping[Of, tuple[str, ...]]] = {
    "visits": ("parcel_id", "visited_on", "found"),
    "letters": ("reference", "parcel_ids", "audience", "sent_on", "answer"),
}
_SYSTEMS: Final[tuple[Units, ...]] = ("us", "si")


@dataclass(frozen=True)
class Filled:
    """One file as filled in.

    ``answers`` has a row a visit or blank row and a column per answer found, raw; ``cells`` has
    the same shape and says where each stands. ``of`` says what the rows are.
    ``units`` are those of the headings that name one, by column. ``run`` and ``county`` are what
    the file says of itself, empty where it says nothing.
    """

    file: Path
    sha256: str
    answers: pd.DataFrame
    cells: pd.DataFrame
    units: Mapping[str, str]
    run: str = ""
    county: str = ""
    of: Of = "visits"


def read_filled(path: Path) -> Filled:
    """Read a filled workbook, CSV file or form file.

    Raises
    ------
    SourceMissingError
        If it is not there or may not be read.
    SourceFormatError
        If it is none of these, its headings were changed, or cells are merged.
    """
    digest = _hash(path)
    suffix = path.suffix.lower()
    if suffix in WORKBOOKS:
        return _workbook(path, digest)
    if suffix in FORMS:
        return _form(path, digest)
    if is_text_table(path):
        table = parse_delimited(read_text(path, path.name), layer=path.name, name=path.name)
        rows = [list(table.columns), *table.to_numpy(dtype=object).tolist()]
        found = _Sheet(path.name, "", rows, 0, text=True, of=_of(rows[0]) or "visits")
        return _put_together(path, digest, [found])
    raise SourceFormatError(
        path.name,
        "this is no workbook (.xlsx), CSV file or form file (.json).",
        "Save it as one of these.",
    )


@dataclass(frozen=True)
class _Sheet:
    """Rows of cells with the headings in row ``head``; ``first`` is the number of the first row."""

    file: str
    name: str
    rows: Sequence[Sequence[Any]]
    head: int
    text: bool = False
    of: Of = "visits"

    def cell(self, row: int, place: int) -> str:
        if self.text:
            return f"row {row}, column {self.rows[self.head][place]}"
        return f"{self.name}!{get_column_letter(place + 1)}{row + 1}"


def _hash(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise SourceMissingError(
            path.name, f"the file cannot be read ({reason(error)}).", "Check its name."
        ) from error


def _workbook(path: Path, digest: str) -> Filled:
    book, typed = _opened(path, data_only=True), _opened(path, data_only=False)
    said = {one.name: str(one.value) for one in book.custom_doc_props.props}
    sheets = []
    for page in book.worksheets:
        _refuse_endless(path.name, page)
        rows = _values(page, typed[page.title])
        head = _head(rows)
        if head is None:
            continue
        _refuse_merged(path.name, page, head)
        of = _of(rows[head]) or "visits"
        sheets.append(_Sheet(path.name, page.title, rows, head, of=of))
    if not sheets:
        raise SourceFormatError(
            path.name,
            f"no sheet has the headings {_titles(_first_columns())}.",
            "Take the workbook that riskmap wrote, or give its headings back.",
        )
    return _put_together(
        path,
        digest,
        sheets,
        run=said.get(RUN_PROPERTY, ""),
        county=said.get(COUNTY_PROPERTY, ""),
    )


def _opened(path: Path, *, data_only: bool) -> Any:
    """Open a workbook; its library raises whatever a damaged part happens to break."""
    try:
        return openpyxl.load_workbook(path, data_only=data_only)
    except Exception as error:
        raise SourceFormatError(
            path.name, "this is no workbook that can be read.", "Open it and save it as .xlsx."
        ) from error


def _refuse_endless(file: str, page: Any) -> None:
    if page.max_row > MOST_ROWS or page.max_column > MOST_COLUMNS:
        raise SourceFormatError(
            file,
            f"the sheet {page.title} reaches to row {page.max_row:,} and column "
            f"{page.max_column:,}; a list has at most {MOST_ROWS:,} rows and {MOST_COLUMNS:,} "
            "columns.",
            "Delete what stands far out, and record again.",
        )


def _first_columns() -> list[Column]:
    return [VISIT_COLUMNS[name] for name in _NEEDED["visits"][:2]]


def _values(page: Any, typed: Any) -> list[list[Any]]:
    """Return what stands in the cells; of a formula that no program has worked out, its text."""
    both = zip(page.iter_rows(values_only=True), typed.iter_rows(values_only=True), strict=True)
    return [
        [text if seen is None else seen for seen, text in zip(row, texts, strict=True)]
        for row, texts in both
    ]


def _head(rows: Sequence[Sequence[Any]]) -> int | None:
    """Row of the headings: the first that tells what the rows are."""
    return next((n for n, row in enumerate(rows[:HEAD_ROWS]) if _of(row)), None)


def _of(row: Sequence[Any]) -> Of | None:
    """Tell what rows below these headings are: they have the key and at least two questions."""
    for of, key in KEYS.items():
        names = {name for name, _ in _columns(row, of).values()}
        if key in names and len(names & _FILLED_IN[of]) >= 2:
            return of
    return None


def _refuse_merged(file: str, page: Any, head: int) -> None:
    merged = [str(cells) for cells in page.merged_cells.ranges if cells.max_row > head + 1]
    if merged:
        raise SourceFormatError(
            file,
            f"on the sheet {page.title} cells are merged ({', '.join(sorted(merged)[:5])}), so "
            "that what is in them cannot be told to belong to one row.",
            "Unmerge them, fill in each row, and record again.",
        )


def _headings(column: Column) -> dict[str, str]:
    """Headings that a column may stand under, folded -> unit of what stands there."""
    units = {column.name: column.unit}
    for system in _SYSTEMS:
        units[heading(column, system)] = column.quantity.scale(system).unit
    return {_fold(words): unit for words, unit in units.items()}


def _fold(words: object) -> str:
    return " ".join(str(words).replace("_", " ").lower().split())


def _columns(row: Sequence[Any], of: Of) -> dict[int, tuple[str, str]]:
    """Place -> column and unit, of the headings that are known."""
    known = {words: (c.name, u) for c in ASKED[of].values() for words, u in _headings(c).items()}
    found = {place: known.get(_fold(cell)) for place, cell in enumerate(row) if cell is not None}
    return {place: column for place, column in found.items() if column is not None}


def _titles(columns: Iterable[Column]) -> str:
    """Headings in words; of a number with a unit, both that it may have."""
    titles = [dict.fromkeys(heading(column, system) for system in _SYSTEMS) for column in columns]
    return ", ".join(" or ".join(f"{title!r}" for title in both) for both in titles)


def _put_together(
    path: Path, digest: str, sheets: Sequence[_Sheet], *, run: str = "", county: str = ""
) -> Filled:
    of = sheets[0].of
    if any(sheet.of != of for sheet in sheets):
        raise SourceFormatError(
            path.name, "it holds visits and letters.", "Save them in a file each."
        )
    answers: list[dict[str, Any]] = []
    cells: list[dict[str, str]] = []
    units: dict[str, str] = {}
    for sheet in sheets:
        columns = _columns(sheet.rows[sheet.head], of)
        _refuse_renamed(sheet, [name for name, _ in columns.values()])
        units |= {name: unit for name, unit in columns.values() if unit}
        for number in range(sheet.head + 1, len(sheet.rows)):
            row = sheet.rows[number]
            answers.append({name: row[place] for place, (name, _) in columns.items()})
            cells.append({name: sheet.cell(number, place) for place, (name, _) in columns.items()})
    return Filled(path, digest, _frame(answers, of), _frame(cells, of), units, run, county, of)


def _frame(rows: Sequence[Mapping[str, Any]], of: Of = "visits") -> pd.DataFrame:
    table = pd.DataFrame(list(rows), dtype=object)
    return table.reindex(columns=list(ASKED[of])).astype(object)


def _refuse_renamed(sheet: _Sheet, found: Sequence[str]) -> None:
    """Refuse headings that are missing while another is like them, and those that must be there."""
    where = f"on the sheet {sheet.name} " if sheet.name else ""
    twice = sorted({name for name in found if found.count(name) > 1})
    if twice:
        raise SourceFormatError(
            sheet.file,
            f"{where}the heading {_titles([ASKED[sheet.of][twice[0]]])} stands twice.",
            "Rename or delete one of the two columns, and record again.",
        )
    known = _columns(sheet.rows[sheet.head], sheet.of)
    others = [
        str(cell)
        for place, cell in enumerate(sheet.rows[sheet.head])
        if cell is not None and place not in known
    ]
    for column in ASKED[sheet.of].values():
        if column.name in found:
            continue
        needed = column.name in _NEEDED[sheet.of]
        like = [other for other in others if _fold(other).startswith(_fold(column.label))]
        if needed or like:
            hint = f" Is it {like[0]!r}?" if like else nearest(column.label, others)
            raise SourceFormatError(
                sheet.file,
                f"{where}there is no heading {_titles([column])}.{hint}",
                "Give the column its heading back, and record again.",
            )


def _form(path: Path, digest: str) -> Filled:
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        if content["riskmap"] != FORM:
            raise ValueError(content["riskmap"])
        visits = [dict(visit) for visit in content["visits"]]
    except (ValueError, KeyError, TypeError, UnicodeDecodeError) as error:
        raise SourceFormatError(
            path.name,
            "this is no whole file of the telephone form.",
            "Save it from the form once more.",
        ) from error
    known = set(VISIT_COLUMNS)
    odd = sorted({str(name) for visit in visits for name in visit} - known)
    if odd:
        raise SourceFormatError(
            path.name,
            f"the form's file holds an answer {odd[0]!r} that no question asks for.",
            "Save it from the form once more.",
        )
    cells = [
        {name: f"stop {number}, {VISIT_COLUMNS[name].label}" for name in known}
        for number in range(1, len(visits) + 1)
    ]
    units = {c.name: c.unit for c in VISIT_COLUMNS.values() if c.unit}
    run, county = (str(content.get(name, "")) for name in ("run", "county"))
    return Filled(path, digest, _frame(visits), _frame(cells), units, run, county)


def plain_cell(value: object, column: Column) -> str | None:
    """Write a cell as text that the readers of canonical columns take; None for an empty one.

    Dates come as ISO text; a day number that lost its format is read as the day it stands for.
    """
    if value is None or value != value or (isinstance(value, str) and not value.strip()):
        return None
    if isinstance(value, datetime.datetime | datetime.date):
        return value.isoformat()[:10]
    if column.dtype == "date" and isinstance(value, int | float) and not isinstance(value, bool):
        first, last = EXCEL_DAYS
        if first <= value <= last:
            day: Any = from_excel(value)
            return str(day.date().isoformat())
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()
