"""The two lists of a season, with what the county's own records say of each system."""

from __future__ import annotations

from typing import Final

import pandas as pd

from riskmap.action.on_file import open_cases, told_records
from riskmap.action.worklists import part_lists
from riskmap.condition.fit import Fit
from riskmap.condition.ledger import COLUMNS, ledger, strongest_parts
from riskmap.contract.features import LISTS
from riskmap.ranking.model import Model
from riskmap.stages.county import County
from riskmap.stages.listing import in_list_order, list_length

MOST_TOLD: Final = 2000
"""Systems of each list at most whose chance is told term by term: about ten seconds."""


def make_lists(
    county: County,
    ranked: pd.DataFrame,
    doubted: pd.DataFrame,
    condition_fit: Fit | None,
    model: Model,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Make the two lists, and tell of each system what is on record.

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
    region = county.region
    length = list_length(ranked, region.lists)
    records = _records(condition_fit)
    table = part_lists(
        ranked,
        open_cases(records),
        visits=length,
        followup_frac=region.season.followup_frac,
        order=in_list_order(ranked[["rank"]].join(doubted), region.lists.order)["rank"],
    )
    told = table.index[(table["list_rank"] <= min(length, MOST_TOLD)).fillna(False).to_numpy(bool)]
    ledgers = pd.DataFrame(columns=list(COLUMNS))
    if condition_fit is not None and len(told):
        ledgers = ledger(condition_fit, told, factor_words(condition_fit, model))
    table["county_records"] = told_records(records).reindex(table.index).astype("string")
    table["chance_reasons"] = strongest_parts(ledgers).reindex(table.index).astype("string")
    return table[[column.name for column in LISTS]], ledgers


def factor_words(fit: Fit, model: Model) -> list[str]:
    """Words for each factor of the condition model, in its order."""
    labels = {factor.name: factor.label for factor in model.of("failure")}
    return [labels[name] for name in fit.model.lots.factors]


def _records(fit: Fit | None) -> pd.DataFrame:
    """Return the records that count; none where nobody has a system."""
    if fit is None:
        return pd.DataFrame({"parcel_id": [], "date": pd.to_datetime([]), "kind": []})
    records = fit.model.lots.records
    return records[records["unused"].isna()]
