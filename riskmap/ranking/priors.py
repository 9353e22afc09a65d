"""How far a feature may be from the truth, by the evidence behind it.

The table is data: every spread is an assumption that a county can replace, and its basis says so.
A ``normal`` spread is a standard deviation in the feature's own unit, a ``lognormal`` one a
standard deviation of the natural logarithm, a ``word`` one the chance that another of the county's
words is the true one. ``shared`` is an error that all parcels have together (a physical constant
that is off, a survey that reads too wet), in the same terms.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.settings import JUDGED

WORDS: Final = ("measured", "mapped", "inferred", "assumed")
UNDECLARED: Final = "mapped"
"""Evidence of a feature that has no evidence column: it was read from a map or a table."""

VARIES: Final = "order-of-magnitude variation inside map units (common practice, no source)"


@dataclass(frozen=True)
class Prior:
    """Spread of one feature for each kind of evidence, and the basis of these numbers."""

    feature: str
    shape: str
    measured: float
    mapped: float
    inferred: float
    assumed: float
    shared: float = 0.0
    basis: str = JUDGED

    def spread(self, evidence: pd.Series) -> npt.NDArray[np.float64]:
        """Spread of each row; ``unknown`` or missing evidence counts as ``assumed``.

        >>> PRIORS["age_yr"].spread(pd.Series(["measured", "unknown", "mapped"])).tolist()
        [0.5, 15.0, 3.0]
        """
        table = {word: float(getattr(self, word)) for word in WORDS}
        return np.asarray(evidence.map(table).fillna(self.assumed).to_numpy(dtype=float))


_TABLE: Final = (
    Prior("soil_rating", "normal", 0.03, 0.15, 0.2, 0.3),
    Prior("wet_depth_cm", "normal", 10, 30, 40, 60),
    Prior("restriction_cm", "normal", 10, 30, 45, 60),
    Prior("ksat_um_s", "lognormal", 0.5, 1.2, 1.4, 1.8, 0.1, VARIES),
    Prior("clay_pct", "normal", 3, 8, 10, 15),
    Prior("slope_pct", "normal", 1, 2, 3, 5),
    Prior("wetness", "normal", 0.5, 1, 1.5, 2),
    Prior("vulnerability", "normal", 0.05, 0.1, 0.1, 0.15),
    Prior("water_table_m", "lognormal", 0.1, 0.35, 0.5, 0.8, 0.1),
    Prior("well_distance_m", "lognormal", 0.03, 0.15, 0.3, 0.5),
    Prior("age_yr", "normal", 0.5, 3, 8, 15),
    Prior("installed_year", "normal", 0.5, 3, 8, 15),
    Prior("years_since_pumped_yr", "normal", 0.5, 2, 5, 10),
    Prior("occupants", "lognormal", 0.1, 0.3, 0.4, 0.5),
    Prior("field_area_m2", "lognormal", 0.05, 0.2, 0.4, 0.6),
    Prior("drainage_class", "word", 0.05, 0.2, 0.3, 0.5),
    Prior("hydrologic_group", "word", 0.05, 0.2, 0.3, 0.5),
    Prior("flood_zone", "word", 0.02, 0.1, 0.2, 0.4),
    Prior("kind", "word", 0.02, 0.1, 0.3, 0.5),
    Prior("last_stage", "word", 0.05, 0.1, 0.3, 0.5),
    Prior("complaints", "normal", 0, 0, 0.5, 1),
    Prior("repairs", "normal", 0, 0, 0.5, 1),
    Prior("systems_per_km2", "lognormal", 0.05, 0.1, 0.2, 0.3),
)
PRIORS: Final = {prior.feature: prior for prior in _TABLE}

_BY_UNIT: Final = (
    ("_frac", Prior("", "normal", 0.05, 0.15, 0.2, 0.3)),
    ("_pct", Prior("", "normal", 2, 6, 8, 12)),
    ("_yr", Prior("", "normal", 0.5, 3, 6, 12)),
    ("_cm", Prior("", "normal", 5, 25, 35, 50)),
)
_LIMIT: Final = Prior("", "normal", 0.03, 0.15, 0.2, 0.3)
_POSITIVE: Final = Prior("", "lognormal", 0.05, 0.2, 0.35, 0.6)
_WORD: Final = Prior("", "word", 0.03, 0.15, 0.3, 0.5)


def prior_of(feature: str, *, words: bool = False) -> Prior:
    """Return the prior of a feature: its own, or the one for its unit.

    >>> prior_of("flood_frac").assumed, prior_of("lot_m2").shape
    (0.3, 'lognormal')
    """
    if feature in PRIORS:
        own = PRIORS[feature]
        return own if (own.shape == "word") == words else (_WORD if words else _POSITIVE)
    if words:
        return _WORD
    if feature.startswith("limit_"):
        return _LIMIT
    return next((prior for unit, prior in _BY_UNIT if feature.endswith(unit)), _POSITIVE)
