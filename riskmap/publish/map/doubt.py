"""The chance that a system has failed, and the doubt of it, as the map's card shows them."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from riskmap.contract.features import FAILED_TODAY
from riskmap.publish.map.packing import Package, pack_numbers
from riskmap.publish.words.chance_words import CHANCE_STEPS
from riskmap.publish.words.doubt_words import RANGE_MEANING

DOUBT_COLUMNS: Final = (*(column.name for column in FAILED_TODAY), "top_chance")
"""Shares that the card's section on the chance needs."""
DECIMALS: Final = 3


def has_chance(rows: pd.DataFrame) -> bool:
    """Whether the table says how likely systems have failed."""
    return "chance_failed_frac" in rows and bool(rows["chance_failed_frac"].notna().any())


def pack_doubt(package: Package, rows: pd.DataFrame) -> dict[str, Any]:
    """Add the chance, its range, and the chance to be among the first, to `package`."""
    if not has_chance(rows):
        return {}
    return {
        f"said:{name}": pack_numbers(
            package, pd.to_numeric(rows[name], errors="coerce"), decimals=DECIMALS
        )
        for name in DOUBT_COLUMNS
        if name in rows
    }


def doubt_plan(rows: pd.DataFrame, *, top: int | None) -> dict[str, Any] | None:
    """Words and limits for the page; None where the run gave no chances."""
    if not has_chance(rows):
        return None
    sure = "top_chance" in rows and bool(rows["top_chance"].notna().any())
    return {
        "top": top if sure else None,
        "words": [list(step) for step in CHANCE_STEPS],
        "meaning": RANGE_MEANING,
    }
