"""The order of the inspection list: by priority, or by the chance of belonging among the first."""

from __future__ import annotations

import numpy as np
import pandas as pd

from riskmap.action.aims import on_file_as_failed, share_visits
from riskmap.contract.vocabulary import DECIDED_BY_CONDITION
from riskmap.region.sections import ListSettings, Region


def in_list_order(parcels: pd.DataFrame, order: str) -> pd.DataFrame:
    """Return the ranked table with ``rank`` as the list is to show it.

    Parameters
    ----------
    parcels
        Ranked table; ``top_chance`` is NaN where no doubt was carried.
    order
        ``priority``: as it is. ``chance``: the highest chance to be belonging among the first comes
        first, equal chances by priority; the rank by priority moves to ``priority_rank``.

    >>> table = pd.DataFrame({"rank": [1, 2, 3], "top_chance": [0.5, 0.9, 0.5]})
    >>> in_list_order(table, "chance")["rank"].tolist()
    [2, 1, 3]
    """
    if order != "chance" or "top_chance" not in parcels or parcels["top_chance"].isna().all():
        return parcels
    rows = np.flatnonzero(parcels["rank"].notna())
    ranks = parcels["rank"].iloc[rows].to_numpy(int)
    chance = parcels["top_chance"].iloc[rows].to_numpy(float)
    places = np.lexsort([ranks, -np.nan_to_num(chance, nan=-1.0)])
    listed = pd.Series(pd.NA, index=parcels.index, dtype="Int64")
    listed.iloc[rows[places]] = np.arange(1, len(rows) + 1)
    return parcels.assign(rank=listed, priority_rank=parcels["rank"])


def list_length(parcels: pd.DataFrame, lists: ListSettings) -> int:
    """Rows of the inspection list of a ranked table."""
    return lists.length(int(parcels["rank"].notna().sum()))


def find_visits(parcels: pd.DataFrame, region: Region) -> int:
    """Visits of a season to systems that are to be found: what the classes are counted by."""
    on_file = int(on_file_as_failed(parcels).sum())
    length = list_length(parcels, region.lists)
    return share_visits(length, region.season.followup_frac, on_file)[1]


def as_listed(parcels: pd.DataFrame, order: str) -> pd.DataFrame:
    """Return the table for lists: in order; ``decided_by`` only where learning decided."""
    listed = in_list_order(parcels, order)
    if "decided_by" in listed and listed["decided_by"].eq(DECIDED_BY_CONDITION).all():
        return listed.drop(columns="decided_by")
    return listed
