"""From a feature's value to its limitation, 0 (none) to 1 (worst)."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from riskmap.ranking.model import Factor


def limitation(factor: Factor, values: pd.Series) -> NDArray[np.float64]:
    """Limitation of each value.

    Parameters
    ----------
    factor
        The factor whose curve or table is used.
    values
        (n,) feature values; NaN or NA where unknown.

    Returns
    -------
    array
        (n,) floats 0..1; NaN where the value is unknown, or is a word the table does not have.

    >>> f = Factor("age", "failure", "age_yr", "Age", 1, 0, 2, 0.5, "", "", curve=((0, 0), (40, 1)))
    >>> limitation(f, pd.Series([10.0, 80.0, None])).tolist()
    [0.25, 1.0, nan]
    """
    if factor.table:
        words = values.astype("string").str.lower()
        found = words.map({word.lower(): y for word, y in factor.table})
        return np.asarray(found.astype("Float64").to_numpy(dtype=float, na_value=np.nan))
    x, y = np.array(factor.curve).T
    numbers = values.astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    return np.asarray(np.interp(numbers, x, y))
