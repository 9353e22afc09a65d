"""What the fitted model says of every lot today and in the years ahead, with its doubt.

The doubt of a chance comes from the parameters': the log odds are taken as linear in the parameters
around the likeliest ones (delta method), with the exact slopes that the way back gives.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy import sparse

from riskmap.condition.fit import Fit
from riskmap.condition.follow import ALL, Followed
from riskmap.condition.model import Point, lot_slopes, run
from riskmap.condition.parameters import FINDINGS, SEEN
from riskmap.condition.years import (
    FAILED,
    STATES,
    STRESSED,
    Floats,
    Ints,
    Terms,
    pace_of,
    stay_chances,
    strain_of,
    wear_on,
)
from riskmap.contract.compiled import compiled

AGAIN_AT: Final = 0.1
"""Chance of having failed at which a system found sound is looked at again (own choice)."""
LATEST_YR: Final = 30
"""Years ahead beyond which nothing is said."""
NORMAL_90: Final = 1.6448536269514722
"""Half a 90% interval of a normal distribution, in standard deviations."""
SURE: Final = 1e-9
ROWS: Final = 20_000
"""Lots whose standard deviations are worked out at a time."""
IF_FAILED: Final = np.array([float(place >= FAILED) for place in range(len(STATES))])
IF_STRESSED: Final = np.array([float(place == STRESSED) for place in range(len(STATES))])
"""Weight of each state in the chance of having failed, and of being stressed."""


@dataclass(frozen=True)
class Odds:
    """Log odds (n,) of an event for every lot, and how they move.

    ``by_parameter`` (n, p): slopes by the parameter vector; ``by_hazard`` (n,): by the logarithm of
    the present system's own hazard.
    """

    middle: Floats
    by_parameter: sparse.csr_array
    by_hazard: Floats

    @property
    def chance(self) -> Floats:
        """Return the chances (n,)."""
        return expit(self.middle)

    def sd(self, factor: Floats) -> Floats:
        """Return standard deviations (n,); `factor` (p, p) is a root of the covariance."""
        parts = [
            np.sqrt(((self.by_parameter[row : row + ROWS] @ factor) ** 2).sum(axis=1))
            for row in range(0, len(self.middle), ROWS)
        ]
        return np.concatenate(parts)

    def ends(self, factor: Floats) -> tuple[Floats, Floats]:
        """Return the lower and upper end (n,) of the 90% range of the chance."""
        half = NORMAL_90 * self.sd(factor)
        return expit(self.middle - half), expit(self.middle + half)


def chance_of(fit: Fit, states: Floats) -> Floats:
    """Return the chance (n,) that a system is in some states today, without a range.

    Parameters
    ----------
    fit
        Of :func:`riskmap.condition.fit.fit`.
    states
        :data:`IF_FAILED` or :data:`IF_STRESSED`.
    """
    of_all, _ = run(fit.model, fit.theta)
    of_event, _ = run(fit.model, fit.theta, final=states)
    return np.clip(np.exp(of_event.log_like - of_all.log_like), SURE, 1 - SURE)


def odds_of(fit: Fit, states: Floats, *, within_yr: int = 0) -> Odds:
    """Return log odds that a system is in some states today, or after some years.

    Parameters
    ----------
    fit
        Of :func:`riskmap.condition.fit.fit`.
    states
        :data:`IF_FAILED` or :data:`IF_STRESSED`.
    within_yr
        Years ahead; a system that has failed by then counts as failed, mended or not.
    """
    of_all, point = run(fit.model, fit.theta, final=ALL, ahead=within_yr, slopes=True)
    of_event, _ = run(fit.model, fit.theta, final=states, ahead=within_yr, slopes=True)
    chance = np.clip(np.exp(of_event.log_like - of_all.log_like), SURE, 1 - SURE)
    apart = lot_slopes(fit.model, of_event, point) - lot_slopes(fit.model, of_all, point)
    present = fit.model.lots.now_system
    hazard = (of_event.slopes.hazard - of_all.slopes.hazard)[present]
    return Odds(
        logit(chance),
        sparse.csr_array(sparse.diags_array(1 / (1 - chance)) @ apart),
        hazard / (1 - chance),
    )


def chances(fit: Fit, *, failed: Odds, within: Odds, again_at: float = AGAIN_AT) -> pd.DataFrame:
    """Chances of every lot's system.

    Parameters
    ----------
    fit
        Of :func:`riskmap.condition.fit.fit`.
    failed, within
        Of :func:`odds_of`, failed today and within the horizon.
    again_at
        Chance of having failed at which a system that is found sound today is looked at again.

    Returns
    -------
    DataFrame
        Index ``parcel_id``. ``failed``, with ``failed_low`` and ``failed_high``, the 90% range;
        ``stressed``; ``failing``: failed today or within the horizon; ``visit_sound``,
        ``visit_stressed``, ``visit_failed``: what an ordinary visit today would find;
        ``again_in``: whole years until a system found sound today is looked at again,
        :data:`LATEST_YR` for later.
    """
    followed, point = run(fit.model, fit.theta, now=True)
    low, high = failed.ends(fit.factor)
    conditions = by_condition(followed)
    visit = [FINDINGS.index(f"visit: {stage}") for stage in SEEN]
    found = conditions @ point.terms.signs[visit].T
    table = pd.DataFrame(
        {
            "failed": failed.chance,
            "failed_low": low,
            "failed_high": high,
            "stressed": conditions[:, 1],
            "failing": np.maximum(within.chance, failed.chance),
            **{f"visit_{stage}": found[:, place] for place, stage in enumerate(SEEN)},
            "again_in": _again_in(fit, followed, point, again_at),
        },
        index=fit.model.lots.ids,
    )
    return table


def by_condition(followed: Followed) -> Floats:
    """Chances today (n, 3): sound, stressed, failed."""
    now = followed.now.sum(axis=1)
    return np.column_stack(
        [now[:, :STRESSED].sum(axis=1), now[:, STRESSED], now[:, FAILED:].sum(axis=1)]
    )


def _again_in(fit: Fit, followed: Followed, point: Point, again_at: float) -> Floats:
    """Years until a system found sound today may have failed with a given chance."""
    sound = point.terms.signs[FINDINGS.index("visit: sound")]
    if_sound = followed.now * sound[[0, 0, 1, 2, 2]]
    if_sound /= if_sound.sum(axis=(1, 2), keepdims=True)
    lots = fit.model.lots
    later = look_ahead(point.terms, if_sound, lots.now_system, lots.age_now, LATEST_YR)
    reached = later >= again_at
    return np.where(reached.any(axis=1), 1.0 + reached.argmax(axis=1), float(LATEST_YR))


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
    pace = pace_of(terms)
    for i in range(len(now)):
        strain_of(terms, system[i], strain, load)
        x[:] = now[i]
        for t in range(ahead.shape[1]):
            at = min(age[i] + 1 + t, len(terms.wear) - 1)
            stay_chances(terms, pace, load, at, 1.0, True, stay)
            wear_on(x, stay, False)
            failed = 0.0
            for j in range(k):
                failed += x[j, 3] + x[j, 4]
            ahead[i, t] = failed


def logit(chance: Floats) -> Floats:
    """Logarithm of the odds, of chances kept off 0 and 1."""
    inside = np.clip(chance, SURE, 1 - SURE)
    return np.asarray(np.log(inside) - np.log1p(-inside))


def expit(odds: Floats) -> Floats:
    """Chance of log odds."""
    return np.asarray(1.0 / (1.0 + np.exp(-odds)))
