"""What a region file says about one layer's source: files, columns, units, code translations.

Readers in ``data_pipelines`` take a :class:`Source` and give a :class:`Reading`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import pandas as pd

DEFECT_COLUMNS: Final = ("layer", "column", "check", "row", "value", "action")
"""Columns of every data-quality table: what is wrong, where, and what was done about it."""


@dataclass(frozen=True)
class ColumnSource:
    """Where a canonical column comes from.

    ``column`` is the source's column name; ``unit`` one of :data:`riskmap.contract.units.FACTORS`
    for the canonical unit (the canonical unit itself if not given); ``values`` translates the
    source's codes into canonical words (a code that is missing there becomes unknown and is
    reported); ``constant`` fills the column with one value instead of reading any.
    """

    column: str | None = None
    unit: str | None = None
    values: Mapping[str, str | bool | float] | None = None
    constant: str | bool | float | None = None
    date_format: str | None = None


@dataclass(frozen=True)
class Source:
    """One layer's source as the region file declares it.

    ``form`` names the distribution form where the file name cannot tell (``rdb``,
    ``quality_portal``, ...; ``auto`` otherwise). ``attributes`` is a second table joined to the
    first by ``join_on`` = (key in the first, key in the second), many-to-one allowed.
    ``x``/``y`` and ``crs`` locate rows of plain tables. ``unit`` is the vertical unit of rasters.
    """

    layer: str
    files: tuple[Path, ...]
    form: str = "auto"
    columns: Mapping[str, ColumnSource] = field(default_factory=dict)
    keep_private: tuple[str, ...] = ()
    table: str | None = None
    attributes: Path | None = None
    join_on: tuple[str, str] | None = None
    x: str | None = None
    y: str | None = None
    second_x: str | None = None
    second_y: str | None = None
    crs: str | None = None
    unit: str | None = None


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
