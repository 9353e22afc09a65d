"""Evidence marks as arrays: how sure we are of a value, and what a derived value inherits."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.layers import EVIDENCE

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Marks = npt.NDArray[Any]

MEASURED, MAPPED, INFERRED, ASSUMED, UNKNOWN = range(len(EVIDENCE))
_WORDS: Final = np.array(EVIDENCE, dtype=object)
_CODE: Final = {word: code for code, word in enumerate(EVIDENCE)}


def codes(words: Any, size: int) -> npt.NDArray[np.int8]:
    """Turn words (or None) of length `size` into codes; anything else counts as unknown."""
    if words is None:
        return np.full(size, MEASURED, np.int8)
    found = pd.Series(np.asarray(words, object), dtype=object).map(_CODE)
    return np.asarray(found.fillna(UNKNOWN), np.int8)


def words(marks: npt.NDArray[np.int8]) -> Marks:
    """Turn codes into words."""
    return np.asarray(_WORDS[marks])


def derived(values: Floats, *parts: npt.NDArray[np.int8]) -> npt.NDArray[np.int8]:
    """Mark a computed value: its weakest input's mark, at best inferred; unknown where NaN."""
    weakest = np.full(values.shape, INFERRED, np.int8)
    for part in parts:
        weakest = np.maximum(weakest, np.minimum(part, ASSUMED))
    return np.where(np.isnan(values), np.int8(UNKNOWN), weakest)
