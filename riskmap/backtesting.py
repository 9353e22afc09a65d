"""``riskmap backtest``: what the list of some years ago would have found, by the visits since."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

import pandas as pd

from riskmap.action.hindsight import HEADS, first_visits, hindsight, not_known_then, words_of
from riskmap.contract.errors import NotEnoughDataError
from riskmap.publish.report.backtest import write_backtest
from riskmap.region.sections import Region
from riskmap.results.swap import result_folder
from riskmap.running import open_region, open_result
from riskmap.stages.as_of import parcels_as_of
from riskmap.stages.kept_backtest import KeptBacktest
from riskmap.stages.progress import Progress

KIND: Final = "backtest 1"
"""What the mark of the folder says it is."""


@dataclass(frozen=True)
class Backtest:
    """A list of an earlier day held against what visits found since.

    ``table`` of :func:`riskmap.action.hindsight.hindsight`; ``words`` say what it shows; ``listed``
    the parcels as ranked on that day; ``unlisted`` the visited systems that were on no list then.
    """

    region: Region
    day: date
    table: pd.DataFrame
    words: tuple[str, ...]
    listed: pd.DataFrame
    unlisted: int


def backtest(
    region: Region | Path | str, *, years: float, progress: Progress | None = None
) -> Backtest:
    """Hide the records of the last years, rank as of then, and look what visits found since.

    Parameters
    ----------
    region
        From :func:`riskmap.open_region`, or the path of a region file.
    years
        Years before the day of the run.
    progress
        Shows what is going on; quiet by default.

    Raises
    ------
    NotEnoughDataError
        If no visit of those years says what it found.
    """
    region, progress = open_region(region), progress or Progress()
    result = open_result(region, progress)
    today = pd.Timestamp(region.county.date)
    then = today - pd.DateOffset(months=round(12 * years))
    visits = result.county.tables.get("inspections")
    found = pd.DataFrame() if visits is None else first_visits(visits, then, today)
    if found.empty:
        raise NotEnoughDataError(
            f"No visit from {then.date()} to {today.date()} says what it found: there is nothing "
            "to hold a list against. Take more years, or record visits."
        )
    listed = parcels_as_of(result, then.date(), progress)
    table = hindsight(listed, found)
    words = (
        f"The county was ranked as of {then.date()}, with every later visit, permit and water "
        f"sample hidden; soil, terrain, houses and wells are those of today. Since then "
        f"{len(found):,} systems were visited; the first visit to each counts.",
        *words_of(table, head=HEADS[-1]),
    )
    unlisted = not_known_then(listed, found)
    return Backtest(region, then.date(), table, words, listed, unlisted)


def write(done: Backtest, out: Path, progress: Progress) -> None:
    """Write a backtest as a page and as a table into a folder, whole or not at all."""
    with result_folder(out, kind=KIND, tell=progress.tell) as folder:
        write_backtest(folder, done.region, KeptBacktest(done.words, done.table, done.unlisted))
