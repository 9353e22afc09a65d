"""Collects the defects a reader meets, so that readers stay short."""

from __future__ import annotations

import pandas as pd

from riskmap.contract.sources import defects, no_defects


class DefectLog:
    """Defects of one layer, in the order they were met.

    Examples
    --------
    >>> log = DefectLog("wells")
    >>> log.add("depth_m", "depth_over_200_m", pd.Series([380.0], index=["7"]), "kept")
    >>> log.table()[["row", "value"]].to_numpy().tolist()
    [['7', '380.0']]
    """

    def __init__(self, layer: str) -> None:
        self.layer = layer
        self._parts: list[pd.DataFrame] = []

    def add(self, column: str, check: str, rows: pd.Series | pd.Index, action: str) -> None:
        """Add one defect per row; nothing happens when `rows` is empty.

        Parameters
        ----------
        column
            Canonical column; empty: the whole layer.
        check
            Name of the check, see ``docs/layers/sources.md``.
        rows
            Index: labels of the rows; values, if a Series, are shown with them.
        action
            What was done, in words.
        """
        if len(rows):
            self._parts.append(defects(self.layer, column, check, rows, action))

    def note(self, column: str, check: str, value: str, action: str, *, row: str = "(all)") -> None:
        """Add one defect that concerns the whole source, or the one named row.

        Parameters
        ----------
        column, check, action
            As in :meth:`add`.
        value
            Shown with the defect.
        row
            Label of the row, or of a file.
        """
        self.add(column, check, pd.Series([value], index=[row]), action)

    def extend(self, table: pd.DataFrame) -> None:
        """Add the rows of another defect table."""
        if len(table):
            self._parts.append(table)

    def table(self) -> pd.DataFrame:
        """All defects so far in one table."""
        if not self._parts:
            return no_defects()
        return pd.concat(self._parts, ignore_index=True)
