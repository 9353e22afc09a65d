"""Finds the row that holds the column names, where a title or notes stand above it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from data_pipelines.defect_log import DefectLog

LOOKED_AT: Final = 30
"""Rows that tell how wide a table is."""
MOST_TITLE_ROWS: Final = 10
LEAST_WIDTH: Final = 3
"""In a narrower table a title cannot be told from column names."""


def header_row(rows: Sequence[Sequence[str | None]]) -> int:
    """Place, counted from 0, of the row with the column names: the first, unless it is a title.

    A title fills at most half as many cells as the table is wide. The names are the first row
    below it that fills more than half, and has only different cells with a letter in each.

    >>> header_row([["Export of May", "", ""], ["PIN", "USE", "ACRES"], ["1-2", "R1", "3"]])
    1
    >>> header_row([["PIN", "", ""], ["1-2", "R1", "3"]])
    0
    """
    filled = [[cell.strip() for cell in row if cell and cell.strip()] for row in rows[:LOOKED_AT]]
    width = max(map(len, filled), default=0)
    if width < LEAST_WIDTH or 2 * len(filled[0]) > width:
        return 0
    for place, cells in enumerate(filled[1 : MOST_TITLE_ROWS + 1], start=1):
        if 2 * len(cells) > width:
            return place if _are_names(cells) else 0
    return 0


def _are_names(cells: Sequence[str]) -> bool:
    different = len({cell.casefold() for cell in cells}) == len(cells)
    return different and all(any(letter.isalpha() for letter in cell) for cell in cells)


def tell_titles(log: DefectLog | None, rows: int, *, file: str) -> None:
    """Tell that rows above the column names were passed over."""
    if log is not None and rows:
        log.note("", "title_rows", f"{rows} above the column names", "passed over", row=file)
