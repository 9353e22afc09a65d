"""A record of every system as a distribution.

It is known with an error, guessed with the county's own misses, or unknown and like any of the
county's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from riskmap.contract.arrays import Flags, Floats
from riskmap.ranking.inputs import ENOUGH_KNOWN

QUANTILES: Final = 256


@dataclass(frozen=True)
class UncertainRecord:
    """What is known of one record of n systems.

    Where ``guessed`` (n,) the truth misses ``value`` by one of ``misses``; where ``value`` is NaN
    it is one of ``county``; elsewhere it is ``value`` with an error of size ``spread`` (n,), a
    standard deviation, or of the logarithm where ``log``; None for none. ``misses`` and ``county``
    are quantiles at evenly spaced ranks, or empty where too little is known to learn from: then the
    spread holds for guesses, and the unknown stays unknown. The truth is never below ``least``.
    """

    value: Floats
    spread: Floats | None = None
    log: bool = False
    guessed: Flags | None = None
    misses: Floats | None = None
    county: Floats | None = None
    least: float = 0.0

    def of(self, rows: Flags) -> UncertainRecord:
        """Return the record of some of the systems."""
        return replace(
            self,
            value=self.value[rows],
            spread=None if self.spread is None else self.spread[rows],
            guessed=None if self.guessed is None else self.guessed[rows],
        )

    def at(self, uniform: Floats) -> Floats:
        """Draw the record of every system at uniform numbers (n,)."""
        miss = np.zeros(len(uniform)) if self.spread is None else self.spread * ndtri(uniform)
        if self.guessed is not None and self.misses is not None and len(self.misses):
            miss = np.where(self.guessed, pick(self.misses, uniform), miss)
        drawn = self.value * np.exp(miss) if self.log else self.value + miss
        if self.county is not None and len(self.county):
            drawn = np.where(np.isnan(self.value), pick(self.county, uniform), drawn)
        return np.asarray(np.maximum(drawn, self.least))


def pick(quantiles: Floats, uniform: Floats) -> Floats:
    """Value at each uniform number of a distribution given by evenly spaced quantiles.

    >>> pick(np.array([1.0, 2.0]), np.array([0.1, 0.9])).tolist()
    [1.0, 2.0]
    """
    place = np.minimum((uniform * len(quantiles)).astype(np.int64), len(quantiles) - 1)
    return np.asarray(quantiles[place])


def learned(sample: Floats) -> Floats:
    """Quantiles of the known values of `sample`; none where fewer than `ENOUGH_KNOWN` are known.

    >>> len(learned(np.array([1.0, np.nan]))), learned(np.arange(20.0))[[0, -1]].tolist()
    (0, [0.0, 19.0])
    """
    known = sample[np.isfinite(sample)]
    if len(known) < ENOUGH_KNOWN:
        return np.empty(0)
    ranks = (np.arange(QUANTILES) + 0.5) / QUANTILES
    return np.asarray(np.quantile(known, ranks, method="inverted_cdf"))


@dataclass(frozen=True)
class UncertainWord:
    """A record in words, as codes from 0: with chance ``redraw`` (n,) it is any of the county's.

    Where ``code`` (n,) is below 0 nothing is known, and it always is. ``county`` holds codes at
    evenly spaced ranks; where it is empty the unknown stays below 0.
    """

    code: npt.NDArray[np.int64]
    redraw: Floats
    county: npt.NDArray[np.int64]

    @classmethod
    def of(cls, code: npt.NDArray[np.int64], redraw: Floats) -> UncertainWord:
        """Learn the county's words from the known ones."""
        return cls(code, redraw, learned(code[code >= 0].astype(float)).astype(np.int64))

    def at(self, uniform: Floats) -> npt.NDArray[np.int64]:
        """Draw the word of every system at uniform numbers (n,).

        >>> word = UncertainWord(np.array([3, -1]), np.array([0.1, 0.1]), np.array([0, 1]))
        >>> word.at(np.array([0.5, 0.9])).tolist()
        [3, 1]
        """
        if not len(self.county):
            return self.code
        chance = np.where(self.code < 0, 1.0, self.redraw)
        inside = np.minimum(uniform / np.maximum(chance, 1e-12), 1.0)
        other = self.county[
            np.minimum((inside * len(self.county)).astype(np.int64), len(self.county) - 1)
        ]
        return np.asarray(np.where(uniform < chance, other, self.code))
