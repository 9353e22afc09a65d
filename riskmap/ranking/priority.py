"""Priority: the one number that orders the systems, by the county's aim.

Each aim is one formula of published columns. Of the formulas tried on the hidden truth of invented
counties (``docs/methods/state_model.md``) the best simple one was kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal, get_args

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.arrays import Floats

Aim = Literal["find failures", "save stressed fields", "least harm to wells and water"]
AIMS: Final[tuple[Aim, ...]] = get_args(Aim)
FIND, SAVE, HARM = AIMS

FORMULAS: Final[Mapping[str, str]] = {
    FIND: "100 x chance failed today",
    SAVE: "100 x chance stressed today x (chance failed within the horizon - chance failed today) "
    "/ (1 - chance failed today)",
    HARM: "chance failed today x groundwater score",
}
"""Aim -> its formula in words; every term is a published column."""
CHANCES: Final = ("chance_failed_frac", "chance_stressed_frac", "chance_failing_frac")
"""Columns that the formulas read."""
DIGITS: Final = 3


def chance_part(
    aim: str, failed: npt.ArrayLike, stressed: npt.ArrayLike, failing: npt.ArrayLike
) -> Floats:
    """Part of the priority that the chances make, 0..1.

    Parameters
    ----------
    aim
        One of :data:`AIMS`.
    failed, stressed, failing
        (n,) chances: failed today, stressed today, failed today or within the horizon.
    """
    now, soon = np.asarray(failed, float), np.asarray(failing, float)
    if aim != SAVE:
        return now
    with np.errstate(divide="ignore", invalid="ignore"):
        to_come = np.where(now >= 1.0, 0.0, (soon - now) / (1.0 - now))
    return np.asarray(np.asarray(stressed, float) * np.clip(to_come, 0.0, 1.0))


def reaches_water(aim: str) -> bool:
    """Whether the groundwater score multiplies the chance."""
    return aim == HARM


def priority(aim: str, chances: pd.DataFrame, groundwater_score: npt.ArrayLike) -> Floats:
    """Priority (n,), 0 to 100; NaN where a chance or the groundwater score is.

    Parameters
    ----------
    aim
        One of :data:`AIMS`.
    chances
        Columns ``chance_failed_frac, chance_stressed_frac, chance_failing_frac``.
    groundwater_score
        (n,) 0 to 100.

    Examples
    --------
    >>> one = pd.DataFrame(dict(zip(CHANCES, [[0.2], [0.5], [0.6]])))
    >>> [priority(aim, one, [40.0]).tolist() for aim in AIMS]
    [[20.0], [25.0], [8.0]]
    """
    water = np.asarray(groundwater_score, float)
    times = water if reaches_water(aim) else np.where(np.isnan(water), np.nan, 100.0)
    failed, stressed, failing = (chances[name].to_numpy(float) for name in CHANCES)
    return np.asarray(np.round(chance_part(aim, failed, stressed, failing) * times, DIGITS))
