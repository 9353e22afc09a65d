"""What a season's stops are chosen for: the one place that names the columns it is told by."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.vocabulary import ON_FILE, STAGES

CHANCES: Final = ("chance_failed_frac", "learned_chance_frac")
"""Columns that tell the chance that a visit finds a failure, the best first."""


FAILED: Final = STAGES[-1]


def chance_to_find(parcels: pd.DataFrame) -> Floats:
    """Chance (n,) that a visit finds each system failed, by the best column that tells it.

    0 where nothing tells: such a system may be visited, but nothing is expected of it.

    Raises
    ------
    ValueError
        If the table has none of :data:`CHANCES`.

    Examples
    --------
    >>> chance_to_find(pd.DataFrame({"chance_failed_frac": [0.25, None]})).tolist()
    [0.25, 0.0]
    """
    known = [name for name in CHANCES if name in parcels]
    if not known:
        raise ValueError(f"the table has none of the columns {', '.join(CHANCES)}")
    chance = np.full(len(parcels), np.nan)
    for name in known:
        told = parcels[name].to_numpy(dtype=float, na_value=np.nan)
        chance = np.where(np.isnan(chance), told, chance)
    return np.asarray(np.nan_to_num(chance), dtype=float)


def worth(parcels: pd.DataFrame, aim: str) -> Floats:
    """Worth of a visit (n,), 0 to 1, for an aim of the ``[season]`` section.

    Parameters
    ----------
    parcels
        Ranked table with the columns that the aim is told by.
    aim
        ``failures``: the chance to find a failure; ``priority``: the priority, which serves the
        aim of the lists.
    """
    if aim == "failures":
        return chance_to_find(parcels)
    told = parcels["priority"].to_numpy(dtype=float, na_value=np.nan)
    return np.asarray(np.nan_to_num(told) / 100, dtype=float)


def on_file_as_failed(parcels: pd.DataFrame) -> Flags:
    """Flag (n,) systems to follow up: found failed, or complained of again and again.

    No later repair is on file of them (:mod:`riskmap.action.on_file`).
    """
    return parcels["worklist"].eq(ON_FILE).fillna(False).to_numpy(dtype=bool)


def share_visits(visits: int, followup_frac: float, on_file: int) -> tuple[int, int]:
    """Part visits between the two lists: to follow up, and to find.

    Parameters
    ----------
    visits
        Visits of a day or a season.
    followup_frac
        Most visits for systems on file, 0..1.
    on_file
        Systems on file.

    >>> share_visits(200, 0.1, 400), share_visits(40, 0.5, 3)
    ((20, 180), (3, 37))
    """
    follow = min(round(followup_frac * visits), on_file)
    return follow, visits - follow


def first_of_lists(ranked: pd.DataFrame, visits: int, followup_frac: float) -> pd.DataFrame:
    """Give the first rows of both lists, as the visits are shared, the most urgent first.

    Parameters
    ----------
    ranked
        Ranked table with ``worklist`` and ``list_rank``.
    visits
        Visits to share; 0 for all.
    followup_frac
        As in :func:`share_visits`.
    """
    rows = ranked[ranked["list_rank"].notna()].sort_values(["list_rank", "worklist"], kind="stable")
    if not visits:
        return rows
    owed = on_file_as_failed(rows)
    follow, find = share_visits(visits, followup_frac, int(owed.sum()))
    place = rows.groupby(owed).cumcount().to_numpy()
    return rows[place < np.where(owed, follow, find)]
