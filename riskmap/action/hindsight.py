"""What a list of an earlier day would have found, by the visits that were made since.

Of each system the first visit after that day tells what a visit to it would have found. Visits were
not drawn at random: they tell of the systems that somebody had a reason to visit. So shares are
given by reason, and for the reasons that no complaint prompted; with intervals by Clopper and
Pearson (:func:`riskmap.action.season_figures.share_of`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pandas as pd

from riskmap.action.aims import FAILED
from riskmap.action.season_figures import share_of
from riskmap.contract.vocabulary import INSPECTION_REASONS, ON_FILE, TO_FIND

HEADS: Final = (50, 100, 200)
"""So many of the first of the list are looked at."""
UNPROMPTED: Final = ("audit", "sale", "routine")
"""Reasons of visits that no trouble prompted."""
ALL_REASONS: Final = "all reasons"
NO_TROUBLE: Final = "no complaint or repair"
COLUMNS: Final = (
    "systems", "reason", "listed", "visited", "failed", "share", "low", "high", "expected",
)  # fmt: skip
EVERYBODY: Final = "all on the list"


def first_visits(inspections: pd.DataFrame, after: pd.Timestamp, to: pd.Timestamp) -> pd.DataFrame:
    """First visit of each system after a day up to another, that says what it found.

    Visits for a repair see the work, not the system, and are left out.

    Parameters
    ----------
    inspections
        Canonical visits: ``parcel_id, date, reason, stage``.
    after, to
        The days.

    Returns
    -------
    DataFrame
        Index ``parcel_id``: ``reason``, ``failed``. Of several visits on one day the one that found
        most amiss.
    """
    told = inspections.assign(reason=inspections["reason"].fillna("unknown"))
    told = told[told["stage"].notna() & told["reason"].ne("repair")]
    told = told[(told["date"] > after) & (told["date"] <= to)]
    told = told.assign(failed=told["stage"].eq(FAILED))
    told = told.sort_values(["date", "failed"], ascending=[True, False], kind="stable")
    first: pd.DataFrame = told.groupby("parcel_id")[["reason", "failed"]].first()
    return first.astype({"failed": bool})


def hindsight(then: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    """Hold a list against what visits found later.

    Parameters
    ----------
    then
        Ranked table of the earlier day: ``worklist, list_rank, chance_failed_frac``; index
        ``parcel_id``.
    found
        Of :func:`first_visits`.

    Returns
    -------
    DataFrame
        A row for each part of the list and reason: ``systems`` (which part), ``reason``,
        ``listed`` (systems in the part), ``visited`` and ``failed`` of them, ``share`` with its
        95% interval ``low, high`` (NaN without visits), ``expected`` failed among the visited by
        the chances of that day.
    """
    rows = []
    for name, part in _parts(then):
        told = found.join(part[["chance_failed_frac"]], how="inner")
        for reason, chosen in _by_reason(told):
            share = share_of(chosen["failed"].to_numpy(bool))
            expected = float(chosen["chance_failed_frac"].sum())
            rows.append(
                (name, reason, len(part), len(chosen), int(chosen["failed"].sum()),
                 share.share, share.low, share.high, expected)
            )  # fmt: skip
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _parts(then: pd.DataFrame) -> list[tuple[str, pd.DataFrame]]:
    """Parts of the list: the first so many to find, those on file, and everybody."""
    find = then[then["worklist"].eq(TO_FIND).fillna(False)].sort_values("list_rank")
    heads = [(f"first {head} to find", find.head(head)) for head in HEADS]
    filed = then[then["worklist"].eq(ON_FILE).fillna(False)]
    listed = then[then["list_rank"].notna()]
    return [*heads, (f"{ON_FILE} then", filed), (EVERYBODY, listed)]


def _by_reason(told: pd.DataFrame) -> list[tuple[str, pd.DataFrame]]:
    reasons = [reason for reason in INSPECTION_REASONS if reason != "repair"]
    parts = [(reason, told[told["reason"] == reason]) for reason in reasons]
    return [
        (ALL_REASONS, told),
        (NO_TROUBLE, told[told["reason"].isin(UNPROMPTED)]),
        *((reason, part) for reason, part in parts if len(part)),
    ]


def words_of(table: pd.DataFrame, *, head: int) -> list[str]:
    """Say what the comparison shows, and how few visits it rests on.

    Parameters
    ----------
    table
        Of :func:`hindsight`.
    head
        One of :data:`HEADS`.
    """
    rows = {(row["systems"], row["reason"]): row for row in table.to_dict("records")}
    return [
        _compared(rows[f"first {head} to find", reason], rows[EVERYBODY, reason], words, head)
        for reason, words in (
            (NO_TROUBLE, "that no complaint prompted"),
            (ALL_REASONS, "of any kind"),
        )
    ]


def _compared(first: Mapping[Any, Any], every: Mapping[Any, Any], words: str, head: int) -> str:
    """Set what visits found among the first beside what they found of all on the list."""
    if not every["visited"]:
        return f"No visit {words} was made since to a system on the list."
    base = f"{every['failed']} of {every['visited']} ({every['share']:.0%})"
    if not first["visited"]:
        return (
            f"None of the first {head} to find had a visit {words}; of all on the list such visits "
            f"found {base} failed."
        )
    sure = "It is surely more." if first["low"] > every["share"] else "This may be chance."
    return (
        f"Visits {words} to the first {head} to find found {first['failed']} of "
        f"{first['visited']} failed ({first['share']:.0%}; 95% interval {first['low']:.0%} to "
        f"{first['high']:.0%}), about {100 * first['share']:.0f} per 100 visits; all the county's "
        f"visits {words} found {base}. It rests on {first['visited']} visits. {sure}"
    )


def not_known_then(then: pd.DataFrame, found: pd.DataFrame) -> int:
    """Count the visited systems that were on no list of the earlier day."""
    listed = then.index[then["list_rank"].notna()]
    return int(np.sum(~found.index.isin(listed)))
