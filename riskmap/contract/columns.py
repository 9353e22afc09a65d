"""The forms in which layers and their columns are declared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

Dtype = Literal["text", "number", "whole", "flag", "date"]
Kind = Literal["polygon", "line", "point", "table", "raster"]


@dataclass(frozen=True)
class Column:
    """One column of a layer.

    ``low`` and ``high`` bound what is physically possible, not what is usual. ``private`` columns
    are dropped on reading unless the region file asks for them.
    """

    name: str
    dtype: Dtype
    meaning: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    domain: tuple[str, ...] = ()
    nullable: bool = True
    private: bool = False


@dataclass(frozen=True)
class Layer:
    """One canonical layer: its shape kind, key column and columns."""

    name: str
    kind: Kind
    meaning: str
    columns: tuple[Column, ...]
    key: str | None = None
    required: bool = False

    @property
    def column_names(self) -> list[str]:
        """Names of all declared columns, in order."""
        return [column.name for column in self.columns]

    def column(self, name: str) -> Column:
        """Return the declared column called `name`; KeyError if there is none."""
        return {column.name: column for column in self.columns}[name]


PANDAS_DTYPE: Final[Mapping[Dtype, Any]] = {
    "text": "string",
    "number": "float64",
    "whole": "Int64",
    "flag": "boolean",
    "date": "datetime64[ns]",
}
"""How a column is held in a table."""

FIRST_YEAR: Final = 1850.0
LAST_YEAR: Final = 2100.0
"""Years outside are refused as impossible: no record of an onsite system is older."""


def text(name: str, meaning: str, domain: tuple[str, ...] = ()) -> Column:
    """Make a text column."""
    return Column(name, "text", meaning, domain=domain)


def number(name: str, meaning: str, unit: str, low: float, high: float) -> Column:
    """Make a number column."""
    return Column(name, "number", meaning, unit, low, high)


def year(name: str, meaning: str) -> Column:
    """Make a year column."""
    return Column(name, "number", meaning, "calendar year", FIRST_YEAR, LAST_YEAR)


def key(name: str, meaning: str) -> Column:
    """Make a key column."""
    return Column(name, "text", meaning, nullable=False)


def date(name: str, meaning: str) -> Column:
    """Make a date column."""
    return Column(name, "date", meaning)


def flag(name: str, meaning: str) -> Column:
    """Make a flag column."""
    return Column(name, "flag", meaning)


def percent(name: str, meaning: str) -> Column:
    """Make a percent column."""
    return number(name, meaning, "%", 0, 100)


def private(name: str, meaning: str) -> Column:
    """Make a private column."""
    return Column(name, "text", meaning, private=True)
