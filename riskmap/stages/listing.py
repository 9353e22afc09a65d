"""The order of the inspection list: by priority, or by the chance to be truly among the first."""

from __future__ import annotations

import numpy as np
import pandas as pd

from riskmap.contract.vocabulary import CONDITION_SPOKE
from riskmap.region.sections import Region


def in_list_order(parcels: pd.DataFrame, order: str) -> pd.DataFrame:
    """Return the ranked table with ``rank`` as the list is to show it.

    Parameters
    ----------
    parcels
        Ranked table; ``top_chance`` is NaN where no doubt was carried.
    order
        ``priority``: as it is. ``chance``: the highest chance to be truly among the first comes
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


def list_length(parcels: pd.DataFrame, region: Region) -> int:
    """Rows of the inspection list: as the region file says, at most half of the ranked systems."""
    ranked = int(parcels["rank"].notna().sum())
    return min(region.lists.inspections or ranked, max(1, ranked // 2))


def as_listed(parcels: pd.DataFrame, order: str) -> pd.DataFrame:
    """Return the table for lists: in order, silent on who spoke where the condition model did."""
    listed = in_list_order(parcels, order)
    if "spoke" in listed and listed["spoke"].eq(CONDITION_SPOKE).all():
        return listed.drop(columns="spoke")
    return listed
