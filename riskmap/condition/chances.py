"""What the fitted model says of every lot today and in the years ahead, with its doubt."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.condition.fit import Fit
from riskmap.condition.model import Point, run
from riskmap.condition.parameters import FINDINGS, SEEN
from riskmap.condition.years import (
    FAILED,
    STRESSED,
    Floats,
    Ints,
    Terms,
    stay_chances,
    strain_of,
    wear_on,
)
from riskmap.contract.compiled import compiled

HORIZON_YR: Final = 5
AGAIN_AT: Final = 0.1
"""Chance of having failed at which a system found sound is looked at again."""
LATEST_YR: Final = 30
"""Years ahead beyond which nothing is said."""
DRAWS: Final = 64
NORMAL_90: Final = 1.6448536269514722
"""Half a 90 % interval of a normal distribution, in standard deviations."""
SURE: Final = 1e-9

CHANCES: Final = ("failed_now", "stressed_now", "fails_within", "visit_sound", "visit_stressed",
                  "visit_failed")  # fmt: skip
LOOK_AGAIN: Final = "look_again_yr"


def chances(
    fit: Fit,
    *,
    rng: np.random.Generator,
    horizon_yr: int = HORIZON_YR,
    again_at: float = AGAIN_AT,
    draws: int = DRAWS,
) -> pd.DataFrame:
    """Chances of every lot's system with 90 % intervals.

    Parameters
    ----------
    fit
        Of :func:`riskmap.condition.fit.fit`.
    rng
        For the draws of the parameters behind the intervals.
    horizon_yr
        Years ahead, at least 1.
    again_at
        Chance of having failed at which a system that is found sound today is looked at again.
    draws
        Parameter vectors drawn, at least 2.

    Returns
    -------
    DataFrame
        Index ``parcel_id``. ``failed_now_frac``, ``stressed_now_frac``; ``fails_within_frac``:
        failed now or at some time within the horizon; ``visit_sound_frac``,
        ``visit_stressed_frac``, ``visit_failed_frac``: what an ordinary visit today would find;
        each with ``_low_frac`` and ``_high_frac``, normal in the log odds. ``look_again_yr`` with
        ``_low`` and ``_high``: whole years from today, :data:`LATEST_YR` for later.
    """
    best = _figures(fit, fit.theta, horizon_yr, again_at)
    drawn = np.stack(
        [_figures(fit, theta, horizon_yr, again_at) for theta in fit.draws(draws, rng)]
    )
    odds = _logit(drawn[:, :, :-1])
    half = NORMAL_90 * odds.std(axis=0, ddof=1)
    middle = _logit(best[:, :-1])
    table = pd.DataFrame(index=fit.model.lots.ids)
    for number, name in enumerate(CHANCES):
        table[f"{name}_frac"] = best[:, number]
        table[f"{name}_low_frac"] = _expit(middle[:, number] - half[:, number])
        table[f"{name}_high_frac"] = _expit(middle[:, number] + half[:, number])
    low, high = np.quantile(drawn[:, :, -1], [0.05, 0.95], axis=0, method="inverted_cdf")
    table[LOOK_AGAIN] = best[:, -1]
    table["look_again_low_yr"] = np.minimum(low, best[:, -1])
    table["look_again_high_yr"] = np.maximum(high, best[:, -1])
    return table


def drawn_chances(fit: Fit, *, rng: np.random.Generator, draws: int = DRAWS) -> Floats:
    """Chance failed now (lots, draws) at drawn parameters, for a Monte Carlo of ranks."""
    return np.column_stack([_failed(_now(fit, theta)[0]) for theta in fit.draws(draws, rng)])


def _now(fit: Fit, theta: Floats) -> tuple[Floats, Point]:
    followed, point = run(fit.model, theta, now=True)
    return followed.now, point


def _failed(now: Floats) -> Floats:
    return np.asarray(now[:, :, FAILED:].sum(axis=(1, 2)))


def _figures(fit: Fit, theta: Floats, horizon_yr: int, again_at: float) -> Floats:
    """Chances and the year to look again (n, chances + 1) at a parameter vector."""
    now, point = _now(fit, theta)
    lots = fit.model.lots
    conditions = np.column_stack(
        [now[:, :, :STRESSED].sum(axis=(1, 2)), now[:, :, STRESSED].sum(axis=1), _failed(now)]
    )
    visit = [FINDINGS.index(f"visit: {stage}") for stage in SEEN]
    found = conditions @ point.terms.signs[visit].T
    system, age = lots.now_system, lots.age_now
    within = look_ahead(point.terms, now, system, age, horizon_yr)[:, -1]
    if_sound = now * _spread(point.terms.signs[visit[0]])
    if_sound /= if_sound.sum(axis=(1, 2), keepdims=True)
    later = look_ahead(point.terms, if_sound, system, age, LATEST_YR)
    reached = later >= again_at
    again = np.where(reached.any(axis=1), 1 + reached.argmax(axis=1), LATEST_YR)
    return np.column_stack([conditions[:, 2], conditions[:, 1], within, found, again])


def _spread(by_condition: Floats) -> Floats:
    """Likelihood by condition (3,) -> by state (states,)."""
    return by_condition[[0, 0, 1, 2, 2]]


def look_ahead(terms: Terms, now: Floats, system: Ints, age: Ints, years: int) -> Floats:
    """Chance (n, years) of having failed by each of the next years.

    Parameters
    ----------
    terms
        The model's numbers.
    now
        (n, k, states) chances today.
    system, age
        (n,) the present system and its age, yr.
    years
        Years ahead.
    """
    ahead = np.empty((len(now), years))
    _look_ahead(terms, now, system, age, ahead)
    return ahead


@compiled
def _look_ahead(terms: Terms, now: Floats, system: Ints, age: Ints, ahead: Floats) -> None:
    k = now.shape[1]
    strain = np.empty(k)
    load = np.empty((k, 3))
    stay = np.empty((k, 6))
    x = np.empty((k, 5))
    for i in range(len(now)):
        strain_of(terms, system[i], strain, load)
        x[:] = now[i]
        for t in range(ahead.shape[1]):
            at = min(age[i] + 1 + t, len(terms.wear) - 1)
            stay_chances(terms, load, at, 1.0, True, stay)
            wear_on(x, stay, False)
            failed = 0.0
            for j in range(k):
                failed += x[j, 3] + x[j, 4]
            ahead[i, t] = failed


def _logit(chance: Floats) -> Floats:
    inside = np.clip(chance, SURE, 1 - SURE)
    return np.asarray(np.log(inside) - np.log1p(-inside))


def _expit(odds: Floats) -> Floats:
    return np.asarray(1.0 / (1.0 + np.exp(-odds)))
