"""Sheets of workbooks to tables of text cells; the row of column names is looked for.

Workbooks of the old binary form (.xls) are read by ``python-calamine``. The others stay with the
library that reads map layers: a cell far off, as people leave one, would have calamine ask for more
memory than there is, which the form of .xls (65,536 rows of 256 cells) cannot.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, time
from functools import lru_cache
from pathlib import Path
from typing import Final

import pandas as pd

from data_pipelines.defect_log import DefectLog
from data_pipelines.delimited import unique_names
from data_pipelines.files import (
    FETCH_AGAIN,
    LARGEST_WORKBOOK,
    WORKBOOKS,
    demand_file,
    head_of,
    refuse_disguise,
)
from data_pipelines.headers import header_row, tell_titles
from data_pipelines.values import as_text
from data_pipelines.vector_files import list_tables, open_table, read_rows
from riskmap.contract.errors import LayerError, SourceFormatError

OLD_WORKBOOK: Final = ".xls"
_OLD_MARK: Final = b"\xd0\xcf\x11\xe0"
Cells = list[list[str | None]]


def is_workbook(path: Path) -> bool:
    """Whether a file is a workbook by its suffix."""
    return path.suffix.lower() in (*WORKBOOKS, OLD_WORKBOOK)


def list_sheets(path: Path, *, layer: str) -> list[str]:
    """Names of a workbook's sheets; errors as those of :func:`read_sheet`."""
    if path.suffix.lower() == OLD_WORKBOOK:
        return list(_old_sheets(path, layer))
    return [name for name, _ in list_tables(path, layer=layer)]


def read_sheet(
    path: Path,
    *,
    layer: str,
    table: str | None = None,
    columns: Sequence[str] | None = None,
    log: DefectLog | None = None,
) -> pd.DataFrame:
    """Read one sheet of a workbook as text cells.

    Parameters
    ----------
    table
        Name of the sheet; needed where several hold cells.
    columns
        Only these are kept.
    log
        Tells rows above the column names.

    Raises
    ------
    SourceMissingError, SourceFormatError
        If the file is absent, damaged or no workbook.
    LayerError
        If several sheets hold cells and none is named.
    """
    cells = _cells(path, layer, table, log)
    start = header_row(cells)
    tell_titles(log, start, file=path.name)
    if not cells:
        raise SourceFormatError(layer, f"the sheet of {path.name} is empty.", "Name another sheet.")
    names = unique_names([(cell or "").strip() for cell in cells[start]])
    rows = [row for row in cells[start + 1 :] if any(row)]
    index = pd.Index(range(1, len(rows) + 1), name="row").astype(str)
    kept = [place for place, name in enumerate(names) if columns is None or name in columns]
    data = {names[place]: [row[place] for row in rows] for place in kept}
    return pd.DataFrame(data, index=index, columns=[names[place] for place in kept], dtype=object)


def sheet_names(path: Path, *, layer: str, table: str | None = None) -> list[str]:
    """Column names of a sheet."""
    return list(read_sheet(path, layer=layer, table=table).columns)


def _cells(path: Path, layer: str, table: str | None, log: DefectLog | None) -> Cells:
    if path.suffix.lower() == OLD_WORKBOOK:
        return _chosen(_old_sheets(path, layer), table, path, layer)
    opened = open_table(path, layer=layer, table=table, kind="table", log=log)
    state = path.stat()
    return _new_cells(path, layer, opened.name, state.st_mtime_ns, state.st_size)


@lru_cache(maxsize=2)
def _new_cells(path: Path, layer: str, table: str, *_state: int) -> Cells:
    """Cells of a sheet; remembered, because its names and its rows are asked for one by one."""
    opened = open_table(path, layer=layer, table=table, kind="table")
    rows = read_rows(opened, shapes=False)
    columns = [as_text_or_none(pd.Series(column)) for column in rows.values.values()]
    return [list(row) for row in zip(*columns, strict=True)]


def as_text_or_none(column: pd.Series) -> list[str | None]:
    """Cells as text, None where there is nothing."""
    text = as_text(column) if column.dtype != object else column.astype("string")
    return [None if cell is pd.NA else str(cell) for cell in text.astype(object)]


def _chosen(sheets: dict[str, Cells], table: str | None, path: Path, layer: str) -> Cells:
    listed = ", ".join(sheets) or "none"
    if table is not None:
        named = [name for name in sheets if name.casefold() == table.casefold()]
        if not named:
            raise SourceFormatError(
                layer, f"{path.name} has no sheet {table!r}.", f"It has {listed}."
            )
        return sheets[named[0]]
    if len(sheets) != 1:
        raise LayerError(
            layer,
            f"{path.name} has several sheets with cells: {listed}.",
            'Name one with table = "..." in the region file.',
        )
    return next(iter(sheets.values()))


def _old_sheets(path: Path, layer: str) -> dict[str, Cells]:
    """Sheets of an old workbook that hold cells."""
    from python_calamine import CalamineWorkbook, SheetTypeEnum

    demand_file(path, layer)
    head = head_of(path)
    if not head.startswith(_OLD_MARK):
        refuse_disguise(head, path.name, layer)
        said = "but a newer workbook" if head.startswith(b"PK") else "likely text"
        cure = "Name it .xlsx." if head.startswith(b"PK") else "If it is text, name it .csv."
        raise SourceFormatError(layer, f"{path.name} is no old workbook, {said}.", cure)
    if path.stat().st_size > LARGEST_WORKBOOK:
        raise SourceFormatError(
            layer,
            f"{path.name} is larger than {LARGEST_WORKBOOK // 1024**2} MB.",
            "Save its sheet as CSV in UTF-8.",
        )
    try:
        with CalamineWorkbook.from_path(path) as book:
            kinds = {one.name: one.typ for one in book.sheets_metadata}
            names = [n for n in book.sheet_names if kinds[n] == SheetTypeEnum.WorkSheet]
            read = {name: book.get_sheet_by_name(name).to_python() for name in names}
    except BaseException as error:  # the library panics with an exception outside Exception
        if isinstance(error, KeyboardInterrupt | SystemExit | MemoryError):
            raise
        raise SourceFormatError(
            layer, f"{path.name} is no whole workbook ({str(error)[:100]}).", FETCH_AGAIN
        ) from error
    return {name: [list(map(_text, row)) for row in rows] for name, rows in read.items() if rows}


def _text(cell: object) -> str | None:
    """Text of a typed cell: dates year first, whole numbers without a point."""
    if isinstance(cell, bool):
        return str(cell).lower()
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 2**53:
        return str(int(cell))
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(" ")
    return str(cell) or None
