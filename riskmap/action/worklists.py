"""The two lists of a season: what is on file, to follow up, and what is to be found."""

from __future__ import annotations

import numpy as np
import pandas as pd

from riskmap.action.aims import on_file_as_failed, share_visits
from riskmap.action.on_file import follow_up_order
from riskmap.contract.features.ranks import SCORES
from riskmap.contract.quantities import POINTS
from riskmap.contract.vocabulary import ON_FILE, TO_FIND
from riskmap.ranking.classes import classify


def part_lists(
    ranked: pd.DataFrame,
    cases: pd.DataFrame,
    *,
    visits: int,
    followup_frac: float,
    order: pd.Series | None = None,
) -> pd.DataFrame:
    """Part the ranked systems into the two lists, and class every score by what seasons reach.

    Parameters
    ----------
    ranked
        Scores and ``rank`` (NA where not ranked); index ``parcel_id``.
    cases
        Of :func:`riskmap.action.on_file.open_cases`.
    visits
        Visits that a season holds.
    followup_frac
        Most of them for systems on file, 0..1.
    order
        Order of those that are to be found, 1 first; None: by ``rank``.

    Returns
    -------
    DataFrame
        Index of `ranked`: ``worklist, list_rank, on_file, on_file_year`` and a class of each score.
    """
    has_rank = ranked["rank"].notna().to_numpy(bool)
    cases = cases[cases.index.isin(ranked.index[has_rank])]
    owed = ranked.index.isin(cases.index)
    table = pd.DataFrame(index=ranked.index)
    words = np.where(owed, ON_FILE, TO_FIND).astype(object)
    table["worklist"] = pd.Series(words, ranked.index).where(has_rank).astype("string")
    queue = (ranked["rank"] if order is None else order).astype("float64")
    follow = follow_up_order(cases, ranked["groundwater_score"])
    places = pd.Series(np.nan, ranked.index)
    places[~owed] = queue[~owed].rank(method="first")
    places[follow] = pd.Series(np.arange(1.0, len(follow) + 1), follow)
    table["list_rank"] = places.astype("Int64")
    table["on_file"] = cases["on_file"].reindex(ranked.index).astype("string")
    table["on_file_year"] = cases["on_file_year"].reindex(ranked.index).astype("float64")
    _, find = share_visits(visits, followup_frac, len(cases))
    filed = on_file_as_failed(table)
    for score in (column.name for column in SCORES if column.quantity is POINTS):
        own = filed if score == "priority" else np.zeros(len(table), dtype=bool)
        classes = classify(ranked[score], has_rank, find, own)
        table[f"{score.removesuffix('_score')}_class"] = classes.astype("string")
    return table
