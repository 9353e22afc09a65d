"""The county's own records of each system, and which of them call for following up.

A system is to be followed up where a visit found it failed, or people complained of it at least
twice, and no later repair or new system is on file and no later visit found it sound. Records are
those that the condition model reads, in its order (:mod:`riskmap.condition.records`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.condition.records import COMPLAINT, RENEWALS, record_words
from riskmap.contract.vocabulary import STAGES

SOUND, FAILED = STAGES[0], STAGES[-1]
REPEATED: Final = 2
"""Complaints that count as repeated (own choice)."""
MOST_TOLD: Final = 5
"""Records of a system that are told one by one; older ones are counted."""
NO_REPAIR: Final = "no later repair on file"


def open_cases(records: pd.DataFrame) -> pd.DataFrame:
    """Find the systems to follow up, with what is on file and since when.

    Parameters
    ----------
    records
        Records that count, of :func:`riskmap.condition.records.records_on_file`, in its order.

    Returns
    -------
    DataFrame
        Index ``parcel_id``: ``on_file`` (words) and ``on_file_year``.
    """
    kind = records["kind"].astype(str)
    found = kind.str.extract(r": (\w+)$", expand=False)
    table = records.assign(found=found, complaint=kind.eq(COMPLAINT), renews=kind.isin(RENEWALS))
    open_since = _after_last(table["renews"] | table["found"].eq(SOUND), table["parcel_id"])
    failed = _failed(table[open_since & table["found"].eq(FAILED)])
    calls = _complaints(table[open_since & table["complaint"]])
    both = failed.join(calls, how="outer", lsuffix="_failed", rsuffix="_calls")
    words = [
        "; ".join(part for part in parts if isinstance(part, str))
        for parts in both[["words_failed", "words_calls"]].itertuples(index=False)
    ]
    return pd.DataFrame(
        {
            "on_file": pd.Series([f"{text}; {NO_REPAIR}" for text in words], both.index, dtype=str),
            "on_file_year": both[["year_failed", "year_calls"]].min(axis=1).astype(float),
        }
    )


def told_records(records: pd.DataFrame) -> pd.Series:
    """Tell the records of each system in words, the latest first; index ``parcel_id``."""
    if records.empty:
        return pd.Series(dtype="string", index=pd.Index([], name="parcel_id"))
    latest = records.iloc[::-1]
    words = pd.Series(
        [record_words(*one) for one in zip(latest["kind"], latest["date"], strict=True)],
        index=latest.index,
    )
    place = latest.groupby("parcel_id", sort=False).cumcount()
    told = words[place < MOST_TOLD].groupby(latest["parcel_id"]).agg("; ".join)
    more = latest.groupby("parcel_id").size() - MOST_TOLD
    older = more.reindex(told.index)
    return told.where(older <= 0, told + "; " + older.astype(str) + " older")


def follow_up_order(cases: pd.DataFrame, groundwater_score: pd.Series) -> pd.Index:
    """Order the systems to follow up: the oldest case first, in a year the most harmful.

    Parameters
    ----------
    cases
        Of :func:`open_cases`.
    groundwater_score
        By parcel: what reaches wells and water; unknown counts as the worst.
    """
    harm = groundwater_score.reindex(cases.index).fillna(100.0).to_numpy(float)
    names = cases.index.astype(str).to_numpy()
    return cases.index[np.lexsort([names, -harm, cases["on_file_year"].to_numpy(float)])]


def _after_last(marks: pd.Series, lot: pd.Series) -> pd.Series:
    """Rows after the last marked one of their lot; all where none is marked."""
    left = marks[::-1].groupby(lot[::-1]).cumsum()[::-1]
    return left.eq(0)


def _failed(seen: pd.DataFrame) -> pd.DataFrame:
    """Words and year of the first of the findings of failed."""
    first = seen.groupby("parcel_id")[["kind", "date"]].first()
    words = [record_words(*one) for one in zip(first["kind"], first["date"], strict=True)]
    return pd.DataFrame(
        {"words": pd.Series(words, first.index, dtype=object), "year": first["date"].dt.year}
    )


def _complaints(calls: pd.DataFrame) -> pd.DataFrame:
    """Words and first year of repeated complaints."""
    grouped = calls.groupby("parcel_id")["date"]
    count, first = grouped.size(), grouped.min().dt.year
    many = count[count >= REPEATED].index
    words = [f"{count[lot]} complaints since {first[lot]}" for lot in many]
    return pd.DataFrame({"words": pd.Series(words, many, dtype=object), "year": first[many]})
