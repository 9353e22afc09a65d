"""Evidence marks: every derived value says how we know it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray


def marked(
    columns: Mapping[str, Any],
    mark: str | NDArray[np.object_] | pd.Series,
    index: pd.Index,
    *,
    names: Sequence[str] | None = None,
) -> pd.DataFrame:
    """Table of columns, each followed by its evidence: `mark` where known, ``unknown`` elsewhere.

    Parameters
    ----------
    columns
        Name to values, in order.
    mark
        One of :data:`riskmap.contract.layers.EVIDENCE`, for all rows or one per row.
    index
        Parcels.
    names
        Columns that carry a companion; all if not given.

    >>> marked({"slope_pct": [3.0, np.nan]}, "mapped", pd.Index(["a", "b"]))
       slope_pct slope_pct_evidence
    a        3.0             mapped
    b        NaN            unknown
    """
    table = pd.DataFrame(index=index)
    for name, values in columns.items():
        table[name] = values
        if names is None or name in names:
            table[f"{name}_evidence"] = np.where(table[name].isna(), "unknown", mark)
    return table
