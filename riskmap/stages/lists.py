"""The two lists of a season: what is on file, to follow up, and what is to be found."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.action.aims import on_file_as_failed
from riskmap.action.on_file import follow_up_order, open_cases, told_records
from riskmap.condition.fit import Fit
from riskmap.condition.ledger import COLUMNS, ledger, strongest_parts
from riskmap.contract.features import LISTS
from riskmap.contract.vocabulary import ON_FILE, TO_FIND
from riskmap.ranking.classes import classify
from riskmap.ranking.model import Model
from riskmap.stages.county import County
from riskmap.stages.listing import find_visits, in_list_order, list_length

MOST_TOLD: Final = 2000
"""Systems of each list at most whose chance is told term by term: a few seconds."""
SCORES: Final = {
    "priority": "priority_class",
    "failure_score": "failure_class",
    "groundwater_score": "groundwater_class",
}
"""Score -> its class."""


def make_lists(
    county: County,
    ranked: pd.DataFrame,
    doubted: pd.DataFrame,
    condition_fit: Fit | None,
    model: Model,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Part the ranked systems into the two lists, and class every score by what seasons reach.

    Parameters
    ----------
    county
        Gives the order and the length of the lists and the share of each.
    ranked, doubted
        Ranks and scores; the chance to be among the first. Index ``parcel_id``.
    condition_fit
        Gives the records and the ledgers; None where nobody has a system.
    model
        Gives the words of the factors.

    Returns
    -------
    Columns of :data:`riskmap.contract.features.LISTS`, and the ledgers of the systems on the
    season's lists: ``parcel_id`` and the other columns of :mod:`riskmap.condition.ledger`.
    """
    lists = county.region.lists
    order = in_list_order(ranked[["rank"]].join(doubted), lists.order)["rank"]
    table = pd.DataFrame(index=ranked.index, columns=[one.name for one in LISTS], dtype=object)
    cases = pd.DataFrame({"on_file": [], "on_file_year": []})
    if condition_fit is not None:
        records = condition_fit.model.lots.records
        counted = records[records["unused"].isna()]
        table["county_records"] = told_records(counted).reindex(table.index)
        cases = open_cases(counted)
    has_rank = ranked["rank"].notna()
    cases = cases[cases.index.isin(ranked.index[has_rank])]
    table["on_file"] = cases["on_file"].reindex(table.index)
    table["on_file_year"] = cases["on_file_year"].reindex(table.index)
    owed = pd.Series(table.index.isin(cases.index), table.index)
    table.loc[has_rank, "worklist"] = TO_FIND
    table.loc[owed, "worklist"] = ON_FILE
    table["list_rank"] = _places(order, owed, follow_up_order(cases, ranked["groundwater_score"]))
    find = find_visits(ranked.assign(worklist=table["worklist"]), county.region)
    follow = on_file_as_failed(table)
    for score, name in SCORES.items():
        of_line = follow if score == "priority" else np.zeros(len(table), dtype=bool)
        table[name] = classify(ranked[score], has_rank.to_numpy(bool), find, of_line)
    ledgers = _ledgers(table, condition_fit, model, list_length(ranked, lists))
    table["chance_reasons"] = strongest_parts(ledgers).reindex(table.index)
    return _typed(table), ledgers


def _places(order: pd.Series, owed: pd.Series, follow: pd.Index) -> pd.Series:
    """Place on its list: those on file in their own order, all others in that of the ranks."""
    places = order[~owed].astype("float64").rank(method="first")
    owed_places = pd.Series(np.arange(1.0, len(follow) + 1), follow)
    every: pd.Series = pd.concat([places, owed_places]).reindex(order.index)
    return every


def _ledgers(table: pd.DataFrame, fit: Fit | None, model: Model, most: int) -> pd.DataFrame:
    """Ledgers of the first systems of both lists."""
    told = table.index[(table["list_rank"] <= min(most, MOST_TOLD)).to_numpy(bool)]
    if fit is None or not len(told):
        return pd.DataFrame(columns=list(COLUMNS))
    labels = {factor.name: factor.label for factor in model.of("failure")}
    return ledger(fit, told, [labels[name] for name in fit.model.lots.factors])


def _typed(table: pd.DataFrame) -> pd.DataFrame:
    kinds = {
        one.name: "string" if one.dtype == "text" else "float64"
        for one in LISTS
        if one.name != "list_rank"
    }
    return table.astype({**kinds, "list_rank": "Int64"})
