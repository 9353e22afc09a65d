"""Evidence marks: every derived value says how it is known.

A column that carries a mark has a companion ``<name>_evidence`` with one of :data:`EVIDENCE`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from riskmap.contract.arrays import Floats, Objects

EVIDENCE_MEANINGS: Final = {
    "measured": "from a permit, an inspection or a well log",
    "mapped": "from a survey or a grid",
    "inferred": "from neighbors or a model",
    "assumed": "a stated default: nothing is known",
    "unknown": "no value",
}
"""Mark -> what it means, from the surest to none at all."""

EVIDENCE: Final = tuple(EVIDENCE_MEANINGS)

KNOWN_FROM: Final = {
    "measured": "record",
    "mapped": "map",
    "inferred": "estimate",
    "assumed": "assumed",
}
"""Mark -> one word for a narrow column."""

MEASURED, MAPPED, INFERRED, ASSUMED, UNKNOWN = range(len(EVIDENCE))
Codes = NDArray[np.int8]
_WORDS: Final = np.array(EVIDENCE, dtype=object)
_CODE: Final = {word: code for code, word in enumerate(EVIDENCE)}


def mark_of(name: str) -> str:
    """Name of the column that says how `name` is known."""
    return f"{name}_evidence"


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
        One of :data:`EVIDENCE`, for all rows or one per row.
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
            table[mark_of(name)] = np.where(table[name].isna(), "unknown", mark)
    return table


def codes(words: Any, size: int) -> Codes:
    """Turn words (or None) of length `size` into codes; anything else counts as unknown."""
    if words is None:
        return np.full(size, MEASURED, np.int8)
    found = pd.Series(np.asarray(words, object), dtype=object).map(_CODE)
    return np.asarray(found.fillna(UNKNOWN), np.int8)


def words(marks: Codes) -> Objects:
    """Turn codes into words."""
    return np.asarray(_WORDS[marks])


def derived(values: Floats, *parts: Codes) -> Codes:
    """Mark a computed value: its weakest input's mark, at best inferred; unknown where NaN."""
    weakest = np.full(values.shape, INFERRED, np.int8)
    for part in parts:
        weakest = np.maximum(weakest, np.minimum(part, ASSUMED))
    return np.where(np.isnan(values), np.int8(UNKNOWN), weakest)
