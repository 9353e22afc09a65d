"""Samples of wells as the prediction takes them: dates, repeats, and results below a limit.

Two samples of one well differ; the difference grows with the years between them. A result below the
laboratory's limit says that nitrate is somewhere below. Such results are taken in by expectation
propagation (Minka 2001, Proc. UAI 17:362-369; Rasmussen and Williams 2006, section 3.6; both from
memory): each is replaced by the normal value that leaves the same mean and variance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy.linalg import cho_factor, cho_solve
from scipy.special import log_ndtr

from riskmap.contract.arrays import Flags, Floats, Whole
from riskmap.contract.settings import JUDGED
from riskmap.contract.units import YEAR_D

WITHIN: Final = (0.2, 10.0, JUDGED)
"""Standard deviation of the logarithm between samples of one well, how many pairs of samples that
guess is worth against the county's own, and its source."""
YEARLY_VARIANCE: Final = 0.002
"""Variance of the logarithm that each year between a sample and today adds (assumption of this
project: after 20 years a fifth up or down)."""
UNDATED_YR: Final = 20.0
LEAST_MG_L: Final = 0.02
"""Results below this count as this: no laboratory sees less."""
MOST_TURNS: Final = 25
SETTLED: Final = 1e-3
KEPT_FRAC: Final = 0.3
"""Share of the value before that each turn keeps, so that turns do not swing."""
LEAST_PRECISION: Final = 1e-8


@dataclass(frozen=True)
class Results:
    """Results of samples, one entry each (r,).

    ``well``: row of the well. ``log_value``: logarithm of mg/L as N, or of the limit where
    ``below``. ``variance``: of the logarithm about what the well would show today.
    ``fresh_variance``: that of a sample taken now.
    """

    well: Whole
    log_value: Floats
    below: Flags
    variance: Floats
    fresh_variance: float = WITHIN[0] ** 2

    def of(self, wells: Whole) -> Results:
        """Those of some wells, counted by their place in ``wells``."""
        place = np.full(int(max(self.well.max(initial=-1), wells.max(initial=-1))) + 1, -1)
        place[wells] = np.arange(len(wells))
        kept = place[self.well] >= 0
        return Results(
            place[self.well[kept]], self.log_value[kept], self.below[kept], self.variance[kept],
            self.fresh_variance,
        )  # fmt: skip


NO_RESULTS: Final = Results(np.empty(0, np.int64), np.empty(0), np.empty(0, bool), np.empty(0))


def results_of(
    samples: pd.DataFrame | None, well_ids: pd.Series, *, today: pd.Timestamp
) -> Results:
    """Read a county's samples.

    Parameters
    ----------
    samples
        ``well_id``, ``nitrate_mg_l`` (the limit where ``nitrate_below_limit``), ``date``; None:
        there are none. Rows of other wells and rows without nitrate are left out.
    well_ids
        Wells, in the order of the prediction.
    today
        Date of the run.
    """
    if samples is None or "nitrate_mg_l" not in samples:
        return NO_RESULTS
    value = samples["nitrate_mg_l"].to_numpy(float, na_value=np.nan)
    well = pd.Index(well_ids).get_indexer(pd.Index(samples["well_id"]))
    used = (well >= 0) & np.isfinite(value)
    logs = np.log(np.maximum(value[used], LEAST_MG_L))
    below = np.zeros(len(logs), bool)
    if "nitrate_below_limit" in samples:
        below = samples["nitrate_below_limit"].fillna(False).to_numpy(bool)[used]
    dates = samples.get("date", pd.Series(pd.NaT, samples.index))
    days = (today - pd.to_datetime(dates)).dt.days.to_numpy(float)[used]
    years = np.where(np.isfinite(days), np.maximum(days, 0.0) / YEAR_D, UNDATED_YR)
    within = within_variance(well[used][~below], logs[~below], years[~below])
    return Results(
        well[used].astype(np.int64), logs, below, within + YEARLY_VARIANCE * years, within
    )


def within_variance(well: Whole, log_value: Floats, years: Floats) -> float:
    """Variance between samples of one well beyond what the years between them add.

    Parameters
    ----------
    well, log_value, years
        Of each result (r,): its well, logarithm, years ago.

    Returns
    -------
    float
        The guess of :data:`WITHIN`, moved by the county's wells that were sampled again.
    """
    guess, worth, _ = WITHIN
    order = np.lexsort((years, well))
    again = np.flatnonzero(np.diff(well[order]) == 0)
    apart = np.diff(log_value[order])[again] ** 2 / 2
    apart = apart - YEARLY_VARIANCE * np.abs(np.diff(years[order])[again]) / 2
    usual = np.clip(apart, 0.0, 1.0).sum()
    return float((worth * guess**2 + usual) / (worth + len(again)))


def pseudo_values(covariance: Floats, mean: Floats, results: Results) -> tuple[Floats, Floats]:
    """All results of each well as one value with a normal error.

    Parameters
    ----------
    covariance, mean
        Of the wells before their samples, (n, n) and (n,).
    results
        Of these wells; each well has one at least.

    Returns
    -------
    Value and variance of each well (n,).
    """
    count, seen, below = len(mean), ~results.below, results.below
    well, limit, noise = results.well[below], results.log_value[below], results.variance[below]
    sure = 1.0 / results.variance[seen]
    precision = summed(results.well[seen], sure, count)
    pull = summed(results.well[seen], sure * results.log_value[seen], count)
    own, own_pull = np.zeros(len(well)), np.zeros(len(well))
    for _ in range(MOST_TURNS if len(well) else 0):
        at = _joined(precision, pull, well, own, own_pull)
        middle, spread = _posterior(covariance, mean, *at, well)
        free = 1.0 / np.maximum(1.0 / spread - own, 1e-6)
        center = free * (middle / spread - own_pull)
        new, new_pull = _site(center, free, limit, noise)
        moved = max(float(np.abs(new - own).max()), float(np.abs(new_pull - own_pull).max()))
        own = KEPT_FRAC * own + (1 - KEPT_FRAC) * new
        own_pull = KEPT_FRAC * own_pull + (1 - KEPT_FRAC) * new_pull
        if moved < SETTLED:
            break
    return _joined(precision, pull, well, own, own_pull)


def _joined(
    precision: Floats, pull: Floats, well: Whole, own: Floats, own_pull: Floats
) -> tuple[Floats, Floats]:
    total = np.maximum(precision + summed(well, own, len(pull)), LEAST_PRECISION)
    return (pull + summed(well, own_pull, len(pull))) / total, 1.0 / total


def summed(well: Whole, values: Floats, count: int) -> Floats:
    """Sum of values by well (count,)."""
    return np.bincount(well, values, count).astype(np.float64)


def _posterior(
    covariance: Floats, mean: Floats, value: Floats, variance: Floats, rows: Whole
) -> tuple[Floats, Floats]:
    """Mean and variance of some wells, given all values."""
    matrix = covariance + np.diag(variance)
    factor = cho_factor(matrix, lower=True, overwrite_a=True, check_finite=False)
    across = covariance[:, rows]
    solved = cho_solve(factor, np.column_stack([value - mean, across]), check_finite=False)
    left = np.diag(covariance)[rows] - np.einsum("ij,ij->j", across, solved[:, 1:])
    return mean[rows] + across.T @ solved[:, 0], np.maximum(left, 1e-9)


def _site(center: Floats, free: Floats, limit: Floats, noise: Floats) -> tuple[Floats, Floats]:
    """Precision, and precision times value, of the normal that stands for "below the limit"."""
    spread = np.sqrt(free + noise)
    z = (limit - center) / spread
    ratio = np.exp(-0.5 * z**2 - 0.5 * np.log(2 * np.pi) - log_ndtr(z))
    mean = center - free / spread * ratio
    variance = free - free**2 / (free + noise) * ratio * (z + ratio)
    precision = np.maximum(1.0 / np.maximum(variance, 1e-9) - 1.0 / free, 1e-6)
    return precision, mean * (precision + 1.0 / free) - center / free
