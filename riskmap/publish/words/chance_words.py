"""Chances in words that people use: "about 1 in 3"; the same on map, lists, sheets and report."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
import pandas as pd

_SAID: Final = (
    (9, 10), (4, 5), (3, 4), (2, 3), (1, 2), (1, 3), (1, 4), (1, 5), (1, 6), (1, 7), (1, 8),
    (1, 10), (1, 12), (1, 15), (1, 20), (1, 25), (1, 30), (1, 40), (1, 50), (1, 70), (1, 100),
)  # fmt: skip
_MORE: Final = (19, 20)
_LESS: Final = (1, 150)


def _middle(high: float, low: float) -> float:
    """Where one is as near as the other: by difference above a half, by ratio below."""
    return (high + low) / 2 if low >= 0.5 else float(np.sqrt(high * low))


def _steps() -> tuple[tuple[float, str], ...]:
    ends = [_middle(a / b, c / d) for (a, b), (c, d) in pairwise(_SAID)]
    named = [f"about {a} in {b}" for a, b in _SAID]
    most, least = _MORE[0] / _MORE[1], _LESS[0] / _LESS[1]
    return (
        (most, f"more than {_MORE[0]} in {_MORE[1]}"),
        *zip((*ends, least), named, strict=True),
        (0.0, f"less than {_LESS[0]} in {_LESS[1]}"),
    )


CHANCE_STEPS: Final = _steps()
"""Least chance and its words, highest first."""


def chance_words(chance: float) -> str:
    """Words for a chance from 0 to 1; empty where it is unknown.

    >>> chance_words(0.35), chance_words(0.78), chance_words(0.001), chance_words(float("nan"))
    ('about 1 in 3', 'about 4 in 5', 'less than 1 in 150', '')
    """
    if pd.isna(chance):
        return ""
    return next(words for least, words in CHANCE_STEPS if chance >= least)


def chance_range(low: float, high: float) -> str:
    """Words for the range of a chance.

    >>> chance_range(0.1, 0.35), chance_range(0.33, 0.34)
    ('about 1 in 10 to about 1 in 3', 'about 1 in 3')
    """
    ends = [chance_words(low), chance_words(high)]
    return " to ".join(dict.fromkeys(ends))
