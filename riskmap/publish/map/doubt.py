"""The doubt of each rank as the map's card shows it."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from riskmap.contract.features import DOUBT
from riskmap.publish.map.packing import Package, pack_numbers
from riskmap.publish.words.doubt_words import LIKELIHOOD, RANGE_MEANING, WIDE_MEANING, rough_rank

DOUBT_COLUMNS: Final = tuple(column.name for column in DOUBT if column.listed)
"""Columns of the result that the card's section on doubt needs."""


def has_doubt(rows: pd.DataFrame) -> bool:
    """Whether the table carries doubt: the columns are there and not all empty."""
    return all(name in rows for name in DOUBT_COLUMNS) and bool(rows["rank_low"].notna().any())


def pack_doubt(package: Package, rows: pd.DataFrame) -> dict[str, Any]:
    """Add ranges (whole points, ranks to two digits) and the chance (percent) to `package`."""
    if not has_doubt(rows):
        return {}
    columns = {
        name: pack_numbers(package, pd.to_numeric(rows[name], errors="coerce"))
        for name in ("priority_low", "priority_high")
    }
    for name in ("rank_low", "rank_high"):
        columns[name] = pack_numbers(package, rough_rank(rows[name]))
    chance = pd.to_numeric(rows["top_chance"], errors="coerce") * 100
    return columns | {"top_chance": pack_numbers(package, chance)}


def doubt_plan(rows: pd.DataFrame, *, top: int | None) -> dict[str, Any] | None:
    """Words and limits for the page; None where the run carried no doubt."""
    if not has_doubt(rows):
        return None
    return {
        "top": top if rows["top_chance"].notna().any() else None,
        "words": [[round(100 * least), words] for least, words in LIKELIHOOD],
        "meaning": f"{RANGE_MEANING} {WIDE_MEANING}",
    }
