"""How doubt is put into words, the same on the map and on the lists.

Chances are worded by the calibrated scale of the Intergovernmental Panel on Climate Change
(Mastrandrea et al. 2010, Guidance Note for Lead Authors on Consistent Treatment of Uncertainties,
table 1; from memory), the only widely published one; the number is always given with the word.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

LIKELIHOOD: Final = (
    (0.99, "virtually certain"),
    (0.90, "very likely"),
    (0.66, "likely"),
    (0.33, "about as likely as not"),
    (0.10, "unlikely"),
    (0.01, "very unlikely"),
    (0.0, "exceptionally unlikely"),
)
"""Least chance and its words, highest first."""

RANGE_MEANING: Final = (
    "Every record that is unknown or estimated, the mixture of soils under the lot and the rough "
    "numbers of the models were drawn again many times; nine draws in ten fall inside the range. "
    "The weights were not drawn."
)
WIDE_MEANING: Final = "A wide range says: find the records first."


def chance_word(chance: float) -> str:
    """Words for a chance from 0 to 1.

    >>> chance_word(0.95), chance_word(0.5), chance_word(0.0)
    ('very likely', 'about as likely as not', 'exceptionally unlikely')
    """
    return next(words for least, words in LIKELIHOOD if chance >= least)


def rough_rank(ranks: pd.Series) -> pd.Series:
    """Ranks to two significant digits: the range is no better known than that.

    >>> rough_rank(pd.Series([7.2, 96.4, 217.0, 12_345.0])).tolist()
    [7.0, 96.0, 220.0, 12000.0]
    """
    number = pd.to_numeric(ranks, errors="coerce").astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        digits = np.floor(np.log10(np.maximum(number.to_numpy(), 1.0))) - 1
    step = 10.0 ** np.maximum(np.where(np.isfinite(digits), digits, 0.0), 0.0)
    return (number / step).round() * step
