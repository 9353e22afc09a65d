"""How good a ranking and a chance are: figures with intervals.

Every figure takes the truth (n,) of 0 and 1, a ranking or chance (n,), and weights (n,) that undo
a biased choice of visits, or several sets of weights (k, n) at once: then it gives k values. Ties
are shared evenly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import pandas as pd
from scipy.stats import norm, rankdata

from riskmap.contract.arrays import Floats, Whole

Figure = Callable[[Floats, Floats, Floats], Floats]
TOPS: Final = (0.05, 0.10, 0.20)


@dataclass(frozen=True)
class Interval:
    """An estimate with the bounds of its interval."""

    value: float
    low: float
    high: float


class Draws(NamedTuple):
    """Bootstrap samples of whole blocks: block of each row (n,), how often each is drawn (B, k)."""

    block: Whole
    times: Whole


AT_ONCE: Final = 1 << 20
"""Weights of all rows that are held in memory at once while samples are evaluated."""


def average_precision(truth: Floats, ranking: Floats, weight: Floats) -> Floats:
    """Area under precision against recall by steps; tied rows count as one step.

    Parameters
    ----------
    truth, ranking, weight
        As this module's opening says.

    Returns
    -------
    ndarray
        0..1; NaN where there is no failure.
    """
    order = np.argsort(-ranking, kind="stable")
    last = np.append(np.diff(ranking[order]) != 0, True)
    by = weight[..., order]
    found = np.cumsum(truth[order] * by, axis=-1)[..., last]
    visits = np.cumsum(by, axis=-1)[..., last]
    gain = np.diff(found, prepend=0.0)
    return _share((gain * found / np.maximum(visits, 1e-300)).sum(axis=-1), found[..., -1])


def found_in_top(truth: Floats, ranking: Floats, weight: Floats, share: float) -> Floats:
    """Share of all failures that the top `share` of the ranking holds.

    Parameters
    ----------
    truth, ranking, weight
        As this module's opening says.
    share
        Share of the weights that the top holds, 0..1.

    Returns
    -------
    ndarray
        0..1; NaN where there is no failure.
    """
    order = np.argsort(-ranking, kind="stable")
    first = np.flatnonzero(np.append(True, np.diff(ranking[order]) != 0))
    visits = np.add.reduceat(weight[..., order], first, axis=-1)
    found = np.add.reduceat((truth * weight)[..., order], first, axis=-1)
    room = share * visits.sum(axis=-1, keepdims=True) - (np.cumsum(visits, axis=-1) - visits)
    taken = np.clip(room / np.maximum(visits, 1e-300), 0.0, 1.0)
    return _share((found * taken).sum(axis=-1), found.sum(axis=-1))


def _share(part: Floats, whole: Floats) -> Floats:
    """One divided by the other; NaN where there is nothing to divide by."""
    known = whole > 0
    return np.where(known, part / np.where(known, whole, 1.0), np.nan)[()]


def lift(truth: Floats, ranking: Floats, weight: Floats, share: float) -> Floats:
    """How many times more failures the top `share` holds than a random pick of that size.

    Parameters
    ----------
    truth, ranking, weight, share
        As in :func:`found_in_top`; the share above 0.

    Examples
    --------
    >>> ones = np.ones(4)
    >>> float(lift(np.array([1., 0., 0., 0.]), np.array([9., 5., 4., 1.]), ones, 0.25))
    4.0
    """
    return found_in_top(truth, ranking, weight, share) / share


def found_per_100_visits(truth: Floats, ranking: Floats, weight: Floats, share: float) -> Floats:
    """Failures found per hundred visits if the top `share` is visited.

    Parameters
    ----------
    truth, ranking, weight, share
        As in :func:`found_in_top`; the share above 0.
    """
    total = (truth * weight).sum(axis=-1) / weight.sum(axis=-1)
    return np.asarray(100.0 * total * lift(truth, ranking, weight, share))[()]


def brier(truth: Floats, chance: Floats, weight: Floats) -> Floats:
    """Mean squared difference between chance and outcome (Brier 1950).

    Parameters
    ----------
    truth, chance, weight
        As this module's opening says; chances 0..1.
    """
    return np.asarray(((chance - truth) ** 2 * weight).sum(axis=-1) / weight.sum(axis=-1))[()]


def area_under_roc(truth: Floats, ranking: Floats) -> float:
    """Chance that a failure ranks above a sound system, ties counted half (rank-sum form)."""
    positive = truth > 0
    failures, sound = int(positive.sum()), int((~positive).sum())
    if not failures or not sound:
        return float("nan")
    ranks = rankdata(ranking)
    return float((ranks[positive].sum() - failures * (failures + 1) / 2) / (failures * sound))


def area_error(area: float, failures: int, sound: int) -> float:
    """Return the standard error of the area, exponential approximation (Hanley and McNeil 1982).

    Parameters
    ----------
    area
        Area under the ROC curve, 0..1.
    failures, sound
        Systems failed and sound, each above 0.
    """
    q1 = area / (2 - area)
    q2 = 2 * area**2 / (1 + area)
    variance = (
        area * (1 - area) + (failures - 1) * (q1 - area**2) + (sound - 1) * (q2 - area**2)
    ) / (failures * sound)
    return float(np.sqrt(variance))


def area_error_from_counts(sound: Floats, failed: Floats) -> float:
    """Return the standard error of the area from counts per rating class, lowest class first.

    The distribution-free form of Hanley and McNeil (1982), table II: Q1 and Q2 are counted.
    """
    higher_failed = failed[::-1].cumsum()[::-1] - failed
    lower_sound = sound.cumsum() - sound
    area = (sound * (higher_failed + failed / 2)).sum() / (sound.sum() * failed.sum())
    q2 = (failed * (lower_sound**2 + lower_sound * sound + sound**2 / 3)).sum()
    q1 = (sound * (higher_failed**2 + higher_failed * failed + failed**2 / 3)).sum()
    q2 /= failed.sum() * sound.sum() ** 2
    q1 /= sound.sum() * failed.sum() ** 2
    n, m = failed.sum(), sound.sum()
    variance = (area * (1 - area) + (n - 1) * (q1 - area**2) + (m - 1) * (q2 - area**2)) / (n * m)
    return float(np.sqrt(variance))


def reliability(
    truth: Floats, chance: Floats, weight: Floats, *, classes: int = 10
) -> pd.DataFrame:
    """Predicted chance against share found, in classes of equal numbers.

    Parameters
    ----------
    truth, chance, weight
        As this module's opening says; chances 0..1.
    classes
        Number of classes.

    Returns
    -------
    DataFrame
        Columns ``said`` (mean chance), ``found`` (share failed), ``visits``; one row per class that
        has rows.
    """
    place = (rankdata(chance, method="ordinal") - 1) * classes // len(chance)
    table = pd.DataFrame(
        {"place": place, "said": chance * weight, "found": truth * weight, "weight": weight}
    )
    sums = table.groupby("place").agg(
        said=("said", "sum"),
        found=("found", "sum"),
        weight=("weight", "sum"),
        visits=("weight", "size"),
    )
    sums[["said", "found"]] = sums[["said", "found"]].div(sums["weight"], axis=0)
    return sums[["said", "found", "visits"]].reset_index(drop=True)


def ranking_figures() -> dict[str, Figure]:
    """Return the figures of a ranking by name: precision, lifts, failures per 100 visits."""
    figures: dict[str, Figure] = {"average_precision": average_precision}
    for share in TOPS:
        figures[f"lift_{share:.0%}"] = _at(lift, share)
    figures["found_per_100_visits"] = _at(found_per_100_visits, TOPS[1])
    return figures


def _at(figure: Callable[[Floats, Floats, Floats, float], Floats], share: float) -> Figure:
    def of(truth: Floats, ranking: Floats, weight: Floats) -> Floats:
        return figure(truth, ranking, weight, share)

    return of


def block_draws(blocks: Whole, *, resamples: int, seed: int) -> Draws:
    """Draw bootstrap samples of whole blocks, since neighbors are alike.

    Parameters
    ----------
    blocks
        Block of each row (n,).
    resamples
        Number of samples.
    seed
        Of the draws.
    """
    rng = np.random.default_rng(seed)
    names, block = np.unique(blocks, return_inverse=True)
    count = len(names)
    drawn = [np.bincount(rng.integers(0, count, count), minlength=count) for _ in range(resamples)]
    return Draws(block, np.array(drawn, dtype=np.int64).reshape(resamples, count))


def block_resamples(blocks: Whole, *, resamples: int, seed: int) -> list[Whole]:
    """Rows of bootstrap samples that draw whole blocks, for figures that take no weights.

    Parameters
    ----------
    blocks, resamples, seed
        As in :func:`block_draws`.

    Returns
    -------
    list
        Positions of the rows of each sample, in order; their number varies.
    """
    draws = block_draws(blocks, resamples=resamples, seed=seed)
    rows = np.arange(len(blocks))
    return [np.repeat(rows, times[draws.block]) for times in draws.times]


def bootstrap(
    figure: Figure, truth: Floats, ranking: Floats, weight: Floats, draws: Draws
) -> Floats:
    """Evaluate a figure in every bootstrap sample.

    Parameters
    ----------
    figure
        Function of truth, ranking and weight.
    truth, ranking, weight
        As this module's opening says; one set of weights.
    draws
        From :func:`block_draws`.

    Returns
    -------
    ndarray
        (B,), one value a sample. A row drawn twice counts as one of twice the weight.
    """
    step = max(1, AT_ONCE // max(1, len(truth)))
    parts = [
        figure(truth, ranking, draws.times[start : start + step, draws.block] * weight)
        for start in range(0, len(draws.times), step)
    ]
    return np.concatenate(parts)


def interval(value: float, drawn: Floats, *, level: float = 0.90) -> Interval:
    """Percentile interval of bootstrap draws around an estimate.

    Parameters
    ----------
    value
        The estimate.
    drawn
        Bootstrap draws of it; NaN are left out.
    level
        Share of the draws inside, 0..1.

    Returns
    -------
    Interval
        Bounds NaN where no draw is left.
    """
    kept = drawn[~np.isnan(drawn)]
    if not len(kept):
        return Interval(value, float("nan"), float("nan"))
    low, high = np.quantile(kept, [(1 - level) / 2, (1 + level) / 2])
    return Interval(value, float(low), float(high))


def bias_corrected_interval(
    value: float, drawn: Floats, *, level: float = 0.90, acceleration: float = 0.0
) -> Interval:
    """Bias-corrected percentile interval of bootstrap draws around an estimate (Efron 1987).

    Where more than half of the draws lie below the estimate, both bounds move up, and the other way
    round. As :func:`interval` where half of the draws lie on either side and nothing accelerates.

    Parameters
    ----------
    value, drawn, level
        As in :func:`interval`.
    acceleration
        How the spread of the estimate changes with its value; see :func:`acceleration_of`.
    """
    kept = drawn[~np.isnan(drawn)]
    if not len(kept):
        return Interval(value, float("nan"), float("nan"))
    below = ((kept < value).sum() + 0.5 * (kept == value).sum()) / len(kept)
    bias = norm.ppf(np.clip(below, 0.5 / len(kept), 1 - 0.5 / len(kept)))
    steps = bias + norm.ppf([(1 - level) / 2, (1 + level) / 2])
    ends = norm.cdf(bias + steps / (1 - acceleration * steps))
    low, high = np.quantile(kept, ends)
    return Interval(value, float(low), float(high))


def without_each(draws: Draws) -> Draws:
    """Return samples that leave out one block each, for :func:`acceleration_of`."""
    count = draws.times.shape[1]
    return Draws(draws.block, 1 - np.eye(count, dtype=np.int64))


def acceleration_of(without: Floats) -> float:
    """Acceleration of an estimate, from its values with one block left out each (Efron 1987).

    0 where they are all the same; NaN are left out.

    >>> acceleration_of(np.array([1.0, 2.0, 3.0]))
    0.0
    """
    off = np.nanmean(without) - without[~np.isnan(without)]
    squares = float((off**2).sum())
    return float((off**3).sum() / (6 * squares**1.5)) if squares > 0 else 0.0
