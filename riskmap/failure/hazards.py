"""How much each feature multiplies the hazard of failing, by a county's own records.

Cox's proportional hazards with Efron's way with ties (Efron 1977, J. Am. Stat. Assoc. 72:557; from
memory), fitted by Newton's method on features brought to mean 0 and standard deviation 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.stats import norm

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.errors import NotEnoughDataError
from riskmap.failure.service_life import records_of

STEPS: Final = 50
"""Newton steps at most; features that tell failures apart for certain never come to an end."""
CLOSE: Final = 1e-10
"""Gain of the log-likelihood below which the fit has ended."""
LEAST_CONDITION: Final = 1e-10
"""Features whose information is less even than this repeat each other."""


def hazard_ratios(
    features: pd.DataFrame,
    age_yr: npt.ArrayLike,
    failed: npt.ArrayLike,
    *,
    entry_age_yr: npt.ArrayLike = 0.0,
) -> pd.DataFrame:
    """Find how much each feature multiplies the hazard in the county's records.

    For setting weights from evidence. Rows with a missing feature are left out.

    Parameters
    ----------
    features
        Numbers, one row per system (n, k).
    age_yr, failed, entry_age_yr
        As :func:`riskmap.failure.service_life.fit_aging` takes them, (n,).

    Returns
    -------
    DataFrame
        Index: feature; ``log_ratio, se, ratio, ratio_lower, ratio_upper`` (95%), ``p_value``.

    Raises
    ------
    NotEnoughDataError
        If the model cannot be fitted: too few failures, or features that repeat each other.
    """
    ages, events, entries = records_of(age_yr, failed, entry_age_yr)
    table = features.astype(float).to_numpy()
    whole = np.isfinite(np.column_stack([table, ages, entries])).all(axis=1) & (entries < ages)
    table, ages, events, entries = table[whole], ages[whole], events[whole], entries[whole]
    size = table.std(axis=0) if len(table) else np.zeros(table.shape[1])
    if not events.any() or not (size > 0).all():
        raise NotEnoughDataError(_UNFITTED)
    risk = _AtRisk.of((table - table.mean(axis=0)) / size, ages, events, entries)
    log_ratio, covariance = _fit(risk)
    log_ratio, error = log_ratio / size, np.sqrt(np.diag(covariance)) / size
    half = norm.ppf(0.975) * error
    return pd.DataFrame(
        {
            "log_ratio": log_ratio,
            "se": error,
            "ratio": np.exp(log_ratio),
            "ratio_lower": np.exp(log_ratio - half),
            "ratio_upper": np.exp(log_ratio + half),
            "p_value": 2 * norm.sf(np.abs(log_ratio) / error),
        },
        index=pd.Index(list(features.columns), name="feature"),
    )


_UNFITTED: Final = (
    "The hazard model cannot be fitted: too few failures, or features that repeat each other."
)


@dataclass(frozen=True)
class _AtRisk:
    """Who was at risk at each failure; m failures, k features, rows sorted by age.

    ``left`` and ``come``: at each failure, how many rows had left and how many were yet to come
    (of those sorted by entry, ``by_entry``). ``first`` and ``last``: rows that failed at the same
    age. ``share``: of those, the share that counts as failed before this one.
    """

    features: Floats
    events: Flags
    by_entry: npt.NDArray[np.int64]
    left: npt.NDArray[np.int64]
    come: npt.NDArray[np.int64]
    first: npt.NDArray[np.int64]
    last: npt.NDArray[np.int64]
    share: Floats

    @classmethod
    def of(cls, features: Floats, ages: Floats, events: Flags, entries: Floats) -> _AtRisk:
        order = np.lexsort([~events, ages])
        ages, events, entries = ages[order], events[order], entries[order]
        at = ages[events]
        by_entry = np.argsort(entries, kind="stable")
        first = np.searchsorted(ages, at, side="left")
        _, place, tied = np.unique(at, return_index=True, return_counts=True)
        earlier = np.arange(len(at)) - np.repeat(place, tied)
        ties = np.repeat(tied, tied)
        return cls(
            features=features[order],
            events=events,
            by_entry=by_entry,
            left=first,
            come=np.searchsorted(entries[by_entry], at, side="left"),
            first=first,
            last=first + ties,
            share=earlier / ties,
        )

    def total(self, values: Floats) -> Floats:
        """Sum `values` (n, ...) over those at risk at each failure, less the share of the tied."""
        ending, coming = (_running(rows) for rows in (values, values[self.by_entry]))
        at_risk = (ending[-1] - ending[self.left]) - (coming[-1] - coming[self.come])
        tied = ending[self.last] - ending[self.first]
        share = self.share.reshape(-1, *(1 for _ in values.shape[1:]))
        return np.asarray(at_risk - share * tied)

    def likelihood(self, log_ratio: Floats) -> tuple[float, Floats, Floats]:
        """Log-likelihood, its gradient (k,) and the information (k, k)."""
        x = self.features
        odds = np.exp(x @ log_ratio)
        plain = self.total(odds)
        mean = self.total(odds[:, None] * x) / plain[:, None]
        square = self.total(odds[:, None, None] * x[:, :, None] * x[:, None, :])
        failed = x[self.events]
        value = float((failed @ log_ratio).sum() - np.log(plain).sum())
        information = (square / plain[:, None, None]).sum(axis=0) - mean.T @ mean
        return value, (failed - mean).sum(axis=0), information


def _running(rows: Floats) -> Floats:
    return np.concatenate([np.zeros_like(rows[:1]), np.cumsum(rows, axis=0)])


def _fit(risk: _AtRisk) -> tuple[Floats, Floats]:
    """Find the best logarithms of the ratios (k,) and their covariance (k, k)."""
    best = np.zeros(risk.features.shape[1])
    value, slope, information = risk.likelihood(best)
    for _ in range(STEPS):
        strengths = np.linalg.eigvalsh(information)
        if not strengths[0] > LEAST_CONDITION * max(strengths[-1], 1.0):
            break
        step = np.linalg.solve(information, slope)
        if 0.5 * float(step @ slope) < CLOSE:
            return best, np.asarray(np.linalg.inv(information), float)
        found = risk.likelihood(best + step)
        while not found[0] >= value and np.abs(step).max() > CLOSE:
            step = step / 2
            found = risk.likelihood(best + step)
        best = best + step
        value, slope, information = found
    raise NotEnoughDataError(_UNFITTED)
