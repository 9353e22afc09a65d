"""What a region file says about one layer's source: files, columns, units, code translations.

Readers in ``data_pipelines`` take a :class:`Source` and give a :class:`Reading`.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import pandas as pd

from riskmap.contract.settings import Section, setting

DEFECT_COLUMNS: Final = ("layer", "column", "check", "row", "value", "action")
"""Columns of every data-quality table: what is wrong, where, and what was done about it."""

Word = str | bool | float


def _constant(given: object) -> Word:
    if isinstance(given, datetime.date):
        return given.isoformat()
    if isinstance(given, str | bool | int | float):
        return given
    raise ValueError("expected a text, a number, a date, or true or false")


def _translation(given: object) -> Mapping[str, Word]:
    if not isinstance(given, Mapping) or not given:
        raise ValueError("expected a table of code = word")
    return {str(code): _constant(word) for code, word in given.items()}


def _texts(given: object) -> tuple[str, ...]:
    """One text, or a list of them, as a tuple."""
    items = (given,) if isinstance(given, str) else given
    if not isinstance(items, list | tuple) or not all(
        isinstance(item, str) and item for item in items
    ):
        raise ValueError("expected a text or a list of texts")
    return tuple(items)


@dataclass(frozen=True)
class ColumnSource(Section):
    """Where a canonical column comes from."""

    column: str | None = setting(None, "Source column")
    and_columns: tuple[str, ...] = setting(
        (), "More source columns; their text follows that of `column`, with a blank between "
        "(an address in two columns)", read=_texts,
    )  # fmt: skip
    unit: str | None = setting(
        None, "Unit of the source values (`ft`, `gal` ...); the dictionary's own if left out"
    )
    values: Mapping[str, Word] | None = setting(
        None, "Translation of codes into the words of the data dictionary; a code that is missing "
        "becomes unknown and is reported", read=_translation,
    )  # fmt: skip
    constant: Word | None = setting(None, "One value for all rows", read=_constant)
    date_format: tuple[str, ...] = setting(
        (), "Date format in `strptime` letters, or a list of them; a date that two of them read "
        "as different days is missing and reported", read=_texts,
    )  # fmt: skip


@dataclass(frozen=True)
class Source(Section):
    """One layer's source as the region file declares it.

    ``attributes`` is joined by ``join_on``, many-to-one allowed. ``day`` is the day of the run: no
    record can tell of a later one.
    """

    layer: str
    files: tuple[Path, ...]
    columns: Mapping[str, ColumnSource] = field(default_factory=dict)
    attributes: Path | None = None
    day: datetime.date | None = None
    form: str = setting(
        "auto", "Distribution form where the name cannot tell: `rdb`, `quality_portal`, `csv` ..."
    )
    table: str | None = setting(None, "Layer or table inside the file")
    attributes_table: str | None = setting(None, "Layer, table or sheet inside `attributes`")
    join_on: tuple[str, str] | None = setting(
        None, "Key column in `file` and key column in `attributes`"
    )
    x: str | None = setting(None, "Easting or longitude column of a plain table")
    y: str | None = setting(None, "Northing or latitude column of a plain table")
    second_x: str | None = setting(None, "Second pair of coordinates, compared with the first")
    second_y: str | None = setting(None, "Second pair of coordinates, compared with the first")
    crs: str | None = setting(None, "Reference system where the file does not say")
    unit: str | None = setting(None, "Vertical unit of a raster (`m` or `ft`)")
    keep_private: tuple[str, ...] = setting(
        (), "Private columns to keep (`owner`, `mail_address` ...); dropped otherwise"
    )

    @property
    def all_files(self) -> tuple[Path, ...]:
        """Its files, and the second table where one is named."""
        return (*self.files, *([self.attributes] if self.attributes is not None else []))


@dataclass(frozen=True)
class Reading:
    """A canonical layer as read: the table and every defect met on the way.

    ``frame`` is a GeoDataFrame for shapes (in the region CRS) and a DataFrame for tables; rasters
    are described by ``riskmap.contract.grid.Grid`` instead.
    """

    frame: pd.DataFrame
    defects: pd.DataFrame


def no_defects() -> pd.DataFrame:
    """Return an empty defect table.

    >>> list(no_defects().columns)
    ['layer', 'column', 'check', 'row', 'value', 'action']
    """
    return pd.DataFrame({column: pd.Series(dtype=str) for column in DEFECT_COLUMNS})


def defects(
    layer: str, column: str, check: str, rows: pd.Series | pd.Index | list[str], action: str
) -> pd.DataFrame:
    """Make defect rows of one kind.

    Parameters
    ----------
    layer, column, check, action
        Same for all rows made: where, what is wrong, what was done about it.
    rows
        Either a Series (index = row labels, values = offending values) or bare row labels.
    """
    series = rows if isinstance(rows, pd.Series) else pd.Series("", index=pd.Index(rows))
    return pd.DataFrame(
        {
            "layer": layer,
            "column": column,
            "check": check,
            "row": series.index.astype(str),
            "value": series.astype(str).to_numpy(),
            "action": action,
        },
        columns=list(DEFECT_COLUMNS),
    )
