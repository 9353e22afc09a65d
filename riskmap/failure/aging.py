"""How systems age: survival curves by kind of system and the chance of failing within some years.

Weibull survival, S(t) = exp(-(t / scale)**shape). Defaults are anchored to published service life;
a county's own permits replace them where there are enough failures on record (``fit_aging``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.arrays import Floats
from riskmap.contract.kinds import KINDS, Kind

Interval = tuple[float, float]


@dataclass(frozen=True)
class AgingModel:
    """A survival curve of one kind of system and where it comes from.

    ``fitted`` says whether it was learned from records; ``systems`` and ``events`` count the
    records looked at either way; the intervals are 95% intervals of a fit; ``why`` is one
    sentence.
    """

    kind: str
    shape: float
    scale_yr: float
    fitted: bool = False
    systems: int = 0
    events: int = 0
    shape_interval: Interval | None = None
    scale_interval_yr: Interval | None = None
    log_likelihood: float | None = None
    why: str = ""


def weibull_through(survival_10: float, survival_20: float) -> tuple[float, float]:
    """Shape and scale (yr) of the Weibull curve with these shares serving after 10 and 20 years.

    Examples
    --------
    >>> shape, scale = weibull_through(0.95, 0.80)
    >>> round(shape, 2), round(scale, 1)
    (2.12, 40.6)
    """
    early, late = -np.log(survival_10), -np.log(survival_20)
    shape = float(np.log2(late / early))
    return shape, float(20.0 * late ** (-1.0 / shape))


def _default(kind: Kind) -> AgingModel:
    survival_10, survival_20, why = kind.serving
    shape, scale = weibull_through(survival_10, survival_20)
    return AgingModel(kind.name, shape, scale, why=why)


DEFAULT_AGING: Final[Mapping[str, AgingModel]] = {
    name: _default(kind) for name, kind in KINDS.items()
}
"""Curve of each kind by published service life or judgment."""


def survival_frac(
    age_yr: npt.ArrayLike, *, shape: npt.ArrayLike, scale_yr: npt.ArrayLike
) -> Floats:
    """Share still serving at `age_yr`, by the Weibull curve.

    Parameters
    ----------
    age_yr
        Age, years, 0 or more; the arguments broadcast.
    shape, scale_yr
        Weibull curve: exponent, and the age by which 63% have failed, years.
    """
    return np.asarray(np.exp(-_hazard(age_yr, shape, scale_yr)), float)


def chance_failing_frac(
    kind: npt.ArrayLike,
    age_yr: npt.ArrayLike,
    *,
    within_yr: npt.ArrayLike,
    hazard_multiplier: npt.ArrayLike = 1.0,
    models: Mapping[str, AgingModel] = DEFAULT_AGING,
) -> Floats:
    """Chance of failing within `within_yr` years for systems serving at `age_yr`.

    1 - (S(age + n) / S(age)) ** multiplier: a multiplier of 2 doubles the hazard at every age, so a
    score can act as the logarithm of the multiplier.

    Parameters
    ----------
    kind
        Kind of each system (n,); a kind without a model takes the curve of ``unknown``.
    age_yr
        Age today (n,), years; NaN or negative gives NaN.
    within_yr
        Years ahead, one number or (n,).
    hazard_multiplier
        Factor on the hazard, one number or (n,).
    models
        Curve by kind.

    Examples
    --------
    >>> chance = chance_failing_frac(["trench"], [0.0], within_yr=[10.0])
    >>> chance.round(12).tolist()
    [0.05]
    """
    shape, scale = curve_of_kind(kind, models=models)
    return chance_on_curve_frac(
        age_yr,
        shape=shape,
        scale_yr=scale,
        within_yr=within_yr,
        hazard_multiplier=hazard_multiplier,
    )


def chance_on_curve_frac(
    age_yr: npt.ArrayLike,
    *,
    shape: npt.ArrayLike,
    scale_yr: npt.ArrayLike,
    within_yr: npt.ArrayLike,
    hazard_multiplier: npt.ArrayLike = 1.0,
) -> Floats:
    """:func:`chance_failing_frac` on given Weibull curves.

    Parameters
    ----------
    age_yr, within_yr, hazard_multiplier
        As there.
    shape, scale_yr
        Curve of each system (n,): exponent, and scale in years.
    """
    age = np.asarray(age_yr, float)
    start = np.where(age >= 0, age, np.nan)
    until = start + np.asarray(within_yr, float)
    added = _hazard(until, shape, scale_yr) - _hazard(start, shape, scale_yr)
    return np.asarray(-np.expm1(-np.asarray(hazard_multiplier, float) * added), float)


def curve_of_kind(
    kind: npt.ArrayLike, *, models: Mapping[str, AgingModel] = DEFAULT_AGING
) -> tuple[Floats, Floats]:
    """Shape and scale (yr) for each system's kind."""
    table = {**DEFAULT_AGING, **models}
    kinds = pd.Series(np.asarray(kind, object).ravel(), dtype=object)
    kinds = kinds.where(kinds.isin(list(table)), "unknown")
    shape = kinds.map({name: model.shape for name, model in table.items()})
    scale = kinds.map({name: model.scale_yr for name, model in table.items()})
    return np.asarray(shape, np.float64), np.asarray(scale, np.float64)


def _hazard(age_yr: npt.ArrayLike, shape: npt.ArrayLike, scale_yr: npt.ArrayLike) -> Floats:
    """Cumulative hazard (age / scale) ** shape."""
    age = np.asarray(age_yr, float)
    return np.asarray((age / np.asarray(scale_yr, float)) ** np.asarray(shape, float), float)
