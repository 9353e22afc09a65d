"""Visits that rankings are judged on: figures, their intervals, and how much one ranking gains."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from riskmap.contract.arrays import Floats
from riskmap.ranking.metrics import (
    Draws,
    Figure,
    Interval,
    acceleration_of,
    average_precision,
    bias_corrected_interval,
    bootstrap,
    interval,
    without_each,
)

LEVEL: Final = 0.90
"""Of the intervals of figures."""


class Judged(NamedTuple):
    """Visits that figures are taken on: outcome and weight (n,), bootstrap samples of places."""

    truth: Floats
    weight: Floats
    samples: Draws

    def value(self, figure: Figure, predicted: Floats) -> float:
        """Mean of a figure over the repeats; `predicted` is (repeats, n)."""
        return float(np.mean([figure(self.truth, one, self.weight) for one in predicted]))

    def drawn(self, figure: Figure, predicted: Floats, samples: Draws | None = None) -> Floats:
        """Mean of a figure over the repeats in every sample (B,)."""
        samples = self.samples if samples is None else samples
        drawn = [bootstrap(figure, self.truth, one, self.weight, samples) for one in predicted]
        return np.asarray(np.mean(drawn, axis=0))


def range_of(figure: Figure, predicted: Floats, judged: Judged) -> Interval:
    """Return a figure, mean over the repeats, with its percentile interval."""
    value, drawn = judged.value(figure, predicted), judged.drawn(figure, predicted)
    return interval(value, drawn, level=LEVEL)


def least_gain(
    ranking: Floats, base: Floats, judged: Judged, *, may_err: float, samples: Draws | None = None
) -> float:
    """Lower bound of how much greater a ranking's average precision is than another's.

    Parameters
    ----------
    ranking, base
        Held-out rankings (repeats, n) of the same visits.
    judged
        The visits.
    may_err
        Chance that the bound lies above the true difference.
    samples
        Bootstrap samples to use in place of those of `judged`.
    """

    def gain(by: Draws | None) -> Floats:
        return judged.drawn(average_precision, ranking, by) - judged.drawn(
            average_precision, base, by
        )

    value = judged.value(average_precision, ranking) - judged.value(average_precision, base)
    return bias_corrected_interval(
        value,
        gain(samples),
        level=1 - 2 * may_err,
        acceleration=acceleration_of(gain(without_each(judged.samples))),
    ).low
