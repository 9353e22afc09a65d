"""A backtest of the county that was kept, to stand in the report."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pandas as pd

from riskmap.action.hindsight import COLUMNS
from riskmap.contract.errors import RegionError
from riskmap.stages.county import County

FILE: Final = "backtest.json"
"""File of a backtest's folder that holds all of it."""
_NOT_ONE: Final = (OSError, ValueError, KeyError, TypeError, AttributeError)


@dataclass(frozen=True)
class KeptBacktest:
    """Words and table of a backtest (:func:`riskmap.action.hindsight.hindsight`).

    ``unlisted``: systems visited since that were on no list then.
    """

    words: tuple[str, ...]
    table: pd.DataFrame
    unlisted: int

    def text(self) -> str:
        """Write it as the text of :data:`FILE`."""
        rows = json.loads(self.table.to_json(orient="records", double_precision=15))
        content = {"words": list(self.words), "table": rows, "unlisted": self.unlisted}
        return json.dumps(content, indent=1) + "\n"


def read_kept_backtest(county: County) -> KeptBacktest | None:
    """Read the backtest that the region names; None where it names none.

    Raises
    ------
    RegionError
        If the folder holds no backtest.
    """
    folder = county.region.backtest
    return None if folder is None else _read(folder)


def _read(folder: Path) -> KeptBacktest:
    try:
        content = json.loads((folder / FILE).read_text(encoding="utf-8"))
        table = pd.DataFrame(content["table"], columns=list(COLUMNS))
        numbers = table.columns.drop(["systems", "reason"])
        table[numbers] = table[numbers].astype(float)
        return KeptBacktest(tuple(map(str, content["words"])), table, int(content["unlisted"]))
    except _NOT_ONE as error:
        raise RegionError(
            f"[run] backtest: {folder} holds no backtest that can be read ({error}). Name a folder "
            "that `riskmap backtest --out` wrote, or leave it out."
        ) from error
