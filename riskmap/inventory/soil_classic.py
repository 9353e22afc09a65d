"""The classic slight / moderate / severe table for absorption fields: a second rule.

It judges the soil between 24 and 60 in under a trench bottom at 24 in. The worst property decides.
It is independent of the national rule and serves to check it. Sources: USDA-SCS, National Soils
Handbook, guide for septic tank absorption fields; the same criteria are in EPA 625/1-80-012
(1980), table 3-2.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.units import FOOT_M, INCH_CM, INCH_PER_HOUR_UM_S

CLASSIC_CLASSES: Final = ("slight", "moderate", "severe")
_SLACK: Final = 1e-9
_FOOT_CM: Final = 100 * FOOT_M


@dataclass(frozen=True)
class ClassicLimit:
    """One row of the table.

    `moderate` and `severe` are the two borders, in units of the table; `factor` turns those units
    into the SI units of `feature`. A value on a border is moderate. Without
    `moderate` the row knows slight and severe only.
    """

    feature: str
    reason: str
    severe: float
    moderate: float | None = None
    factor: float = 1.0
    low_is_worse: bool = False


CLASSIC_LIMITS: Final = (
    ClassicLimit("subsidence_cm", "subsides", severe=24, factor=INCH_CM),
    ClassicLimit("bedrock_cm", "depth to rock", 40, 72, INCH_CM, low_is_worse=True),
    ClassicLimit("cemented_pan_cm", "cemented pan", 40, 72, INCH_CM, low_is_worse=True),
    ClassicLimit("wet_top_cm", "wetness", 4, 6, _FOOT_CM, low_is_worse=True),
    ClassicLimit("slope_pct", "slope", severe=15, moderate=8),
    ClassicLimit("large_stones_pct", "large stones", severe=50, moderate=25),
)
SLOW_BORDERS_IN_HR: Final = (0.6, 2.0)
FAST_BORDER_IN_HR: Final = 6.0
FLOODING_CLASSES: Final[Mapping[str, int]] = {
    "none": 0,
    "very rare": 1,
    "rare": 1,
    "occasional": 2,
    "frequent": 2,
    "very frequent": 2,
}
"""``very rare`` is younger than the table; it is read as the table's ``rare``."""


def classic_limits(described: pd.DataFrame) -> pd.DataFrame:
    """Judge components by the classic table.

    Parameters
    ----------
    described
        Columns ``slope_pct, flooding_frequency, is_ponded, bedrock_cm, cemented_pan_cm, wet_top_cm,
        ksat_min_um_s, ksat_filter_um_s, subsidence_cm, large_stones_pct, permafrost_rating``, as
        :func:`riskmap.inventory.soil_limits.component_properties` makes them. A missing depth means
        that there is no such layer.

    Returns
    -------
    pandas.DataFrame
        One column per restrictive feature with ``slight``, ``moderate``, ``severe``, missing where
        the property is unknown, and ``classic_class``, the worst of them.

    Notes
    -----
    A value on a border counts as moderate, conductivity of 0.6 to just under 2.0 in/h too.
    """
    grades = {limit.reason: _grade(described[limit.feature], limit) for limit in CLASSIC_LIMITS}
    grades["flooding"] = described["flooding_frequency"].map(dict(FLOODING_CLASSES)).astype(float)
    grades["ponding"] = described["is_ponded"].astype(float) * 2
    grades["permafrost"] = described["permafrost_rating"].fillna(0).gt(0).astype(float) * 2
    grades["percs slowly"] = _percs_slowly(described["ksat_min_um_s"])
    fast = described["ksat_filter_um_s"] > FAST_BORDER_IN_HR * INCH_PER_HOUR_UM_S + _SLACK
    grades["poor filter"] = fast.astype(float) * 2
    table = pd.DataFrame(grades, index=described.index)
    table["classic_class"] = table.max(axis=1)
    names = dict(enumerate(CLASSIC_CLASSES))
    named = {column: table[column].map(names).astype("string") for column in table}
    return pd.DataFrame(named)


def _grade(values: pd.Series, limit: ClassicLimit) -> pd.Series:
    numbers = values.astype(float)
    if limit.low_is_worse:
        numbers = numbers.fillna(np.inf)
    sign = -1.0 if limit.low_is_worse else 1.0
    badness = sign * numbers / limit.factor
    beyond = (badness > sign * limit.severe + _SLACK).to_numpy(float)
    grade = 2.0 * beyond
    if limit.moderate is not None:
        grade = np.maximum(grade, (badness >= sign * limit.moderate - _SLACK).to_numpy(float))
    return pd.Series(grade, index=values.index).where(numbers.notna())


def _percs_slowly(ksat_um_s: pd.Series) -> pd.Series:
    rate_in_hr = ksat_um_s / INCH_PER_HOUR_UM_S
    severe, moderate = SLOW_BORDERS_IN_HR
    grade = (rate_in_hr < moderate - _SLACK).astype(float)
    grade += (rate_in_hr < severe - _SLACK).astype(float)
    return grade.where(rate_in_hr.notna())
