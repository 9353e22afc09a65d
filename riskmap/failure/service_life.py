"""What a county's own permits show about service life: fits and tables with censoring.

Two things go wrong when records are read plainly. Most systems have not failed yet (right
censoring). And systems that failed and were replaced before records began are missing, so that the
old systems on record are the survivors (delayed entry): a system is followed only from
its age when records began.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from lifelines import CoxPHFitter, WeibullFitter
from lifelines.exceptions import ConvergenceError
from scipy.stats import norm

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.errors import NotEnoughDataError
from riskmap.failure.aging import DEFAULT_AGING, AgingModel

MIN_EVENTS: Final = 30
"""Failures on record below which a fit is not used (own choice; the shape's standard error is then
about 14% of the shape)."""


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
    ages, events, entries = _records(age_yr, failed, entry_age_yr)
    usable = np.isfinite(ages) & (ages > 0) & (entries >= 0) & (entries < ages)
    return {
        name: _fit_kind(
            defaults[name],
            *(column[usable & (kinds == name)] for column in (ages, events, entries)),
            min_events=min_events,
        )
        for name in defaults
    }


def _records(
    age_yr: npt.ArrayLike, failed: npt.ArrayLike, entry_age_yr: npt.ArrayLike
) -> tuple[Floats, Flags, Floats]:
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
    """Fit one Weibull curve by maximum likelihood with censoring and delayed entry (lifelines).

    Parameters
    ----------
    age_yr, failed, entry_age_yr
        As in :func:`fit_aging`, (n,), without the records that it leaves out.
    kind
        Name that the model carries.

    Raises
    ------
    NotEnoughDataError
        If no failure is on record or the fit does not converge.
    """
    ages, events, entries = _records(age_yr, failed, entry_age_yr)
    if not events.any():
        raise NotEnoughDataError("No failure on record: a survival curve cannot be fitted.")
    fitter = WeibullFitter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            fitter.fit(ages, events, entry=entries)
        except (ConvergenceError, ValueError, np.linalg.LinAlgError) as error:
            raise NotEnoughDataError("The survival fit did not converge.") from error
        table = fitter.summary
    low, high = table["coef lower 95%"], table["coef upper 95%"]
    return AgingModel(
        kind,
        shape=float(fitter.rho_),
        scale_yr=float(fitter.lambda_),
        fitted=True,
        systems=int(ages.size),
        events=int(events.sum()),
        shape_interval=(float(low["rho_"]), float(high["rho_"])),
        scale_interval_yr=(float(low["lambda_"]), float(high["lambda_"])),
        log_likelihood=float(fitter.log_likelihood_),
        why=f"fitted to {int(events.sum()):,} failures among {ages.size:,} systems on record",
    )


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
    ages, events, entries = _records(age_yr, failed, entry_age_yr)
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


def hazard_ratios(
    features: pd.DataFrame,
    age_yr: npt.ArrayLike,
    failed: npt.ArrayLike,
    *,
    entry_age_yr: npt.ArrayLike = 0.0,
) -> pd.DataFrame:
    """Find how much each feature multiplies the hazard in the county's records (Cox model, Efron).

    For setting weights from evidence.

    Parameters
    ----------
    features
        Numbers, one row per system; rows with a missing value are left out.
    age_yr, failed, entry_age_yr
        As in :func:`fit_aging`, in the order of `features`.

    Returns
    -------
    DataFrame
        Index: feature; ``log_ratio, se, ratio, ratio_lower, ratio_upper, p_value``.

    Raises
    ------
    NotEnoughDataError
        If the model cannot be fitted: too few failures or features that repeat each other.
    """
    ages, events, entries = _records(age_yr, failed, entry_age_yr)
    data = features.astype(float).reset_index(drop=True)
    names = list(data.columns)
    data = data.assign(_age=ages, _failed=events.astype(float), _entry=entries).dropna()
    fitter = CoxPHFitter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            fitter.fit(data, "_age", "_failed", entry_col="_entry")
        except (ConvergenceError, ValueError, np.linalg.LinAlgError) as error:
            raise NotEnoughDataError("The hazard model could not be fitted.") from error
        table = fitter.summary.loc[names]
    wanted = {
        "log_ratio": "coef",
        "se": "se(coef)",
        "ratio": "exp(coef)",
        "ratio_lower": "exp(coef) lower 95%",
        "ratio_upper": "exp(coef) upper 95%",
        "p_value": "p",
    }
    columns = {name: table[source].to_numpy(float) for name, source in wanted.items()}
    return pd.DataFrame(columns, index=pd.Index(names, name="feature"))
