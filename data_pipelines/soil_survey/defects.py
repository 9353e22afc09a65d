"""Defects found while reading a soil survey, one row each, for the data-quality table."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, NamedTuple

import pandas as pd

MOST_SHOWN: Final = 80
DEFECT_COLUMNS: Final = ("layer", "column", "check", "row", "value", "action")


class Defect(NamedTuple):
    """One fault in a source: where it is, what it says, and what was done about it."""

    layer: str
    column: str
    check: str
    row: str
    value: str
    action: str


def shown(value: object) -> str:
    """Text of a faulty value, cut where it is too long for a table.

    >>> shown("x" * 1000)[-12:]
    'xxxxxxxx ...'
    """
    text = str(value)
    return text if len(text) <= MOST_SHOWN else f"{text[:MOST_SHOWN]} ..."


def defect_frame(defects: Iterable[Defect]) -> pd.DataFrame:
    """Return `defects` as a table of text columns, in the order found, each fault once."""
    rows = list(dict.fromkeys(defects))
    return pd.DataFrame(rows, columns=list(DEFECT_COLUMNS), dtype=object)
