"""How far a column may be from the truth, by the evidence behind it.

Columns declare their spread (:class:`riskmap.contract.columns.Spread`); one that does not has that
of its quantity. All are assumptions of this project, no source.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.arrays import Floats
from riskmap.contract.columns import Spread, lognormal, normal, other_word
from riskmap.contract.features import column
from riskmap.contract.quantities import DEPTH, PERCENT, SHARE, TIME, YEARS, Quantity

UNDECLARED: Final = "mapped"
"""Evidence of a feature that has no evidence column: it was read from a map or a table."""

_BY_QUANTITY: Final[tuple[tuple[Quantity, Spread], ...]] = (
    (SHARE, normal(0.05, 0.15, 0.2, 0.3)),
    (PERCENT, normal(2, 6, 8, 12)),
    (YEARS, normal(0.5, 3, 6, 12)),
    (TIME, normal(0.5, 3, 6, 12)),
    (DEPTH, normal(5, 25, 35, 50)),
)
_POSITIVE: Final = lognormal(0.05, 0.2, 0.35, 0.6)
_WORD: Final = other_word(0.03, 0.15, 0.3, 0.5)


def spread_of(name: str, *, words: bool = False) -> Spread:
    """Return the spread of a column: its own, or the one of its quantity.

    `words` says that the scoring model takes it as words.

    >>> spread_of("flood_frac").assumed, spread_of("lot_m2").shape
    (0.3, 'lognormal')
    """
    declared = column(name)
    own = declared.spread
    if own is not None and (own.shape == "word") == words:
        return own
    if words:
        return _WORD
    if own is not None:
        return _POSITIVE
    return next((s for quantity, s in _BY_QUANTITY if quantity == declared.quantity), _POSITIVE)


def sizes(spread: Spread, evidence: pd.Series) -> Floats:
    """Size of the spread of each row (n,); unknown or missing evidence counts as assumed.

    >>> sizes(spread_of("age_yr"), pd.Series(["measured", "unknown", "mapped"])).tolist()
    [0.5, 15.0, 3.0]
    """
    table = {mark: float(getattr(spread, mark)) for mark in ("measured", "mapped", "inferred")}
    found = evidence.map(table).fillna(spread.assumed)
    return np.asarray(found.to_numpy(dtype=float))
