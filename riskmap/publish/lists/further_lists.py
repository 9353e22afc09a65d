"""Lists of what a comparison with an earlier run and learning from visits add."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from riskmap.publish.words.text_safety import csv_text
from riskmap.ranking.explanations import Explanation
from riskmap.stages.result import Result


def changes_list(folder: Path, result: Result) -> None:
    """Write ``lists/changes.csv`` of a run that was compared with an earlier one."""
    if result.drift is not None:
        _write_csv(folder / "lists" / "changes.csv", result.drift.changes.reset_index())


def learned_reasons_list(folder: Path, result: Result) -> None:
    """Write ``lists/learned_reasons.csv`` of a run that ranks by what it learned."""
    if result.learned_reasons is not None:
        table = learned_reasons_table(result.parcels, result.learned_reasons)
        _write_csv(folder / "lists" / "learned_reasons.csv", table)


def learned_reasons_table(parcels: pd.DataFrame, told: Explanation) -> pd.DataFrame:
    """Share of each feature in the learned log-odds of the listed systems.

    ``base`` and the shares of a row add up to ``log_odds``, to the last of the six decimals that
    are written.
    """
    shares = told.shares.round(6)
    table = parcels.loc[shares.index, ["rank", "learned_chance_frac"]].assign(
        base=round(told.base, 6)
    )
    table = table.join(shares)
    table["log_odds"] = (table["base"] + shares.sum(axis=1)).round(6)
    return table.sort_values("rank", kind="stable").reset_index(names="parcel_id")


def _write_csv(path: Path, table: pd.DataFrame) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(csv_text(table).encode("utf-8"))
