"""What a season's stops are chosen for: the one place that names the columns it is told by."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.arrays import Floats
from riskmap.contract.vocabulary import STAGES

CHANCES: Final = ("learned_chance_frac", "chance_failing_frac")
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
    >>> chance_to_find(pd.DataFrame({"chance_failing_frac": [0.25, None]})).tolist()
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
        ``failures``: the chance to find a failure; ``groundwater``: that chance times the
        groundwater score; ``priority``: the priority.
    """
    if aim == "priority":
        return _share(parcels, "priority")
    chance = chance_to_find(parcels)
    return chance * _share(parcels, "groundwater_score") if aim == "groundwater" else chance


def on_file_as_failed(parcels: pd.DataFrame) -> np.ndarray:
    """Flag (n,) systems that the last visit on record found failed, and no later record mends."""
    return parcels["last_stage"].eq(FAILED).fillna(False).to_numpy(dtype=bool)


def _share(parcels: pd.DataFrame, name: str) -> Floats:
    told = parcels[name].to_numpy(dtype=float, na_value=np.nan)
    return np.asarray(np.nan_to_num(told) / 100, dtype=float)
