"""What a county's own permits show about service life: fits and tables with censoring.

Two things go wrong when records are read plainly. Most systems have not failed yet (right
censoring). And systems that failed and were replaced before records began are missing, so that the
old systems on record are the survivors (delayed entry): a system is followed only from
its age when records began.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.optimize import brentq
from scipy.stats import norm

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.errors import NotEnoughDataError
from riskmap.failure.aging import DEFAULT_AGING, AgingModel, Interval

MIN_EVENTS: Final = 30
"""Failures on record below which a fit is not used (own choice; the shape's standard error is then
about 14% of the shape)."""

LOG_SHAPES: Final = (-4.0, 4.0)
"""Natural logarithms of the shapes among which the best is looked for."""


def fit_aging(
    kind: npt.ArrayLike,
    age_yr: npt.ArrayLike,
    failed: npt.ArrayLike,
    *,
    entry_age_yr: npt.ArrayLike = 0.0,
    min_events: int = MIN_EVENTS,
    defaults: Mapping[str, AgingModel] = DEFAULT_AGING,
) -> dict[str, AgingModel]:
    """Fit a Weibull curve per kind where there are enough failures, else keep the default.

    Parameters
    ----------
    kind
        Kind of each system, shape (n,).
    age_yr
        Age at failure, or at the end of the records for systems still serving, years.
    failed
        Whether the system had failed at that age.
    entry_age_yr
        Age when the records began, years: 0 if the system was installed after that, else its age on
        that day. Rows with an unknown age, or that the records never followed, are left out.
    min_events
        Failures needed.

    Returns
    -------
    One model per kind of `defaults`, each saying whether it was fitted, on how much, and why not.
    """
    kinds = np.asarray(kind, object)
    ages, events, entries = records_of(age_yr, failed, entry_age_yr)
    usable = np.isfinite(ages) & (ages > 0) & (entries >= 0) & (entries < ages)
    return {
        name: _fit_kind(
            defaults[name],
            *(column[usable & (kinds == name)] for column in (ages, events, entries)),
            min_events=min_events,
        )
        for name in defaults
    }


def records_of(
    age_yr: npt.ArrayLike, failed: npt.ArrayLike, entry_age_yr: npt.ArrayLike
) -> tuple[Floats, Flags, Floats]:
    """Read ages, failures and ages at entry as arrays of one shape.

    Parameters
    ----------
    age_yr, failed, entry_age_yr
        Shape (n,); one age at entry may be given for all.
    """
    ages = np.asarray(age_yr, float)
    entries = np.broadcast_to(np.asarray(entry_age_yr, float), ages.shape)
    return ages, np.asarray(failed, bool), entries


def _fit_kind(
    default: AgingModel, ages: Floats, events: Flags, entries: Floats, *, min_events: int
) -> AgingModel:
    count = int(events.sum())
    seen = replace(default, systems=int(ages.size), events=count)
    if count < max(min_events, 1):
        why = f"{count:,} failures on record, {min_events} needed; default kept: {default.why}"
        return replace(seen, why=why)
    try:
        return fit_weibull(ages, events, entry_age_yr=entries, kind=default.kind)
    except NotEnoughDataError as error:
        return replace(seen, why=f"{error} Default kept: {default.why}")


def fit_weibull(
    age_yr: npt.ArrayLike,
    failed: npt.ArrayLike,
    *,
    entry_age_yr: npt.ArrayLike = 0.0,
    kind: str = "",
) -> AgingModel:
    """Fit one Weibull curve by maximum likelihood with censoring and delayed entry.

    With a given shape the best scale is known, scale**shape = sum of (age**shape - entry**shape)
    over the failures, so that one equation in the shape is left (Klein and Moeschberger 2003,
    Survival Analysis, ch. 12; from memory). Intervals are 95% by the observed information.

    Parameters
    ----------
    age_yr, failed, entry_age_yr
        As :func:`fit_aging` takes them, (n,): every age above 0 and above the age at entry.
    kind
        Name of the kind, for the answer.

    Returns
    -------
    The curve, its intervals and what it rests on.

    Raises
    ------
    NotEnoughDataError
        If no failure is on record, or no curve fits best.
    """
    ages, events, entries = records_of(age_yr, failed, entry_age_yr)
    if not events.any():
        raise NotEnoughDataError("No failure on record: a survival curve cannot be fitted.")
    if not ((ages > entries) & (entries >= 0) & np.isfinite(ages)).all():
        raise NotEnoughDataError("A survival curve needs ages above 0 and above those at entry.")
    count, unit = int(events.sum()), float(ages.max())
    log_ages, spent = float(np.log(ages[events] / unit).sum()), _Spent(ages / unit, entries / unit)

    def slope(log_shape: float) -> float:
        shape = float(np.exp(log_shape))
        return count / shape + log_ages - count * spent.sum(shape, 1) / spent.sum(shape, 0)

    try:
        shape = float(np.exp(brentq(slope, *LOG_SHAPES, xtol=1e-13)))
    except ValueError as error:
        raise NotEnoughDataError("No survival curve fits the failures on record best.") from error
    scale = float((spent.sum(shape, 0) / count) ** (1 / shape))
    error_of_scale, error_of_shape = _Spent(ages / unit / scale, entries / unit / scale).errors(
        shape, count
    )
    return AgingModel(
        kind,
        shape=shape,
        scale_yr=scale * unit,
        fitted=True,
        systems=int(ages.size),
        events=count,
        shape_interval=_interval(shape, error_of_shape),
        scale_interval_yr=_interval(scale * unit, error_of_scale * scale * unit),
        log_likelihood=count * (np.log(shape / unit) - shape * np.log(scale) - 1)
        + (shape - 1) * log_ages,
        why=f"fitted to {count:,} failures among {ages.size:,} systems on record",
    )


@dataclass(frozen=True)
class _Spent:
    """Sums over the systems, of what their watched years add to the likelihood; ages by a unit."""

    ages: Floats
    entries: Floats

    def sum(self, shape: float, power: int) -> float:
        """Sum of age**shape log(age)**power, less the same at entry."""
        begun = self.entries[self.entries > 0]
        at_end, at_entry = (
            float((times**shape * np.log(times) ** power).sum()) for times in (self.ages, begun)
        )
        return at_end - at_entry

    def errors(self, shape: float, failures: int) -> tuple[float, float]:
        """Give the standard errors of scale (as a share of it) and shape; the unit is the scale."""
        plain, once, twice = (self.sum(shape, power) for power in (0, 1, 2))
        by_scale = shape * ((shape + 1) * plain - failures)
        by_shape = failures / shape**2 + twice
        both = failures - plain - shape * once
        determinant = by_scale * by_shape - both**2
        if determinant <= 0:
            raise NotEnoughDataError("No survival curve fits the failures on record best.")
        return float(np.sqrt(by_shape / determinant)), float(np.sqrt(by_scale / determinant))


def _interval(value: float, error: float) -> Interval:
    half = float(norm.ppf(0.975)) * error
    return value - half, value + half


def survival_table(
    age_yr: npt.ArrayLike,
    failed: npt.ArrayLike,
    *,
    entry_age_yr: npt.ArrayLike = 0.0,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Kaplan-Meier table with delayed entry and Greenwood errors.

    A system is at risk at age t if its records began before t and it left at t or later.

    Parameters
    ----------
    age_yr, failed, entry_age_yr
        As in :func:`fit_aging`.
    confidence
        Level of the interval, 0..1. It is symmetric on the log scale, S exp(+-z se / S), cut at 1.

    Returns
    -------
    DataFrame
        One row per age with a failure: ``age_yr, at_risk, failures, survival_frac, se_frac,
        lower_frac, upper_frac``. Empty if nothing failed.
    """
    ages, events, entries = records_of(age_yr, failed, entry_age_yr)
    watched = np.isfinite(ages) & (entries < ages)
    ages, events, entries = ages[watched], events[watched], entries[watched]
    times, failures = np.unique(ages[events], return_counts=True)
    left = np.searchsorted(np.sort(ages), times, side="left")
    come = np.searchsorted(np.sort(entries), times, side="left")
    at_risk = come - left
    survival = np.cumprod(1.0 - failures / at_risk)
    room = np.where(at_risk > failures, at_risk - failures, np.nan)
    spread = np.sqrt(np.cumsum(failures / (at_risk * room)))
    z = float(norm.ppf(0.5 + confidence / 2))
    return pd.DataFrame(
        {
            "age_yr": times,
            "at_risk": at_risk,
            "failures": failures,
            "survival_frac": survival,
            "se_frac": survival * spread,
            "lower_frac": survival * np.exp(-z * spread),
            "upper_frac": np.minimum(survival * np.exp(z * spread), 1.0),
        }
    )
