"""The years of a lot's systems: states, records, and the steps of one year, compiled.

A system is in one of :data:`STATES` each year. What single systems differ in beyond their factors
is a frailty that takes one of k values. The vector of chances x (k, states) goes through the year
in steps that are linear in x:

1. :func:`wear_on`: failed systems recover, or their failure sets in for good; stressed ones
   recover; sound ones become stressed, stressed ones fail.
2. :func:`weigh`: complaint or none, and findings before a renewal, multiply by their likelihoods.
3. :func:`renew` puts a new system in where a repair is on file, or :func:`no_renewal`: none is on
   file, though one may have been made. A new system wears for its first year at once.

Step 1 is a product of bidiagonal stochastic matrices and so totally positive: a worse state never
makes a better one likelier a year later (Karlin 1968, Total Positivity, from memory).
"""

from __future__ import annotations

from math import exp
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from riskmap.contract.compiled import compiled

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

STATES: Final = (
    "sound",
    "sound, renewed off the record",
    "stressed",
    "failed, may recover",
    "failed for good",
)
SOUND: Final = 0
STRESSED: Final = 2
FAILED: Final = 3

COMPLAINT: Final = -1
REPAIR: Final = -2
REPLACED: Final = -3
"""Kinds of record that are no finding; findings count from 0, as the rows of ``Terms.signs``."""

RATES: Final = (
    "fail",
    "rest",
    "ease",
    "set_in",
    "wear_renewed",
    "steepness",
    "shelter",
    "spread",
    "keeps",
    "mend_hidden",
    "mend_found",
    "mend_early",
    "share_shift",
    "call_sound",
    "call_stressed",
    "call_failed",
)
"""Numbers that all systems share, in the order of ``Terms.rates``.

Logarithms of yearly rates: ``fail`` stressed to failed, ``rest`` stressed to sound, ``ease`` failed
to stressed, ``set_in`` failed to failed for good, ``wear_renewed`` a system renewed off the record
to stressed, ``call_`` complaints by condition. Exponents of a system's own hazard: ``steepness`` on
``fail``, ``shelter`` against recovery. ``spread`` of the frailty (log hazard), the chance that a
renewal ``keeps`` it. Chances a year that a failure is mended, hidden or found, and that a system is
renewed without having failed. ``share_shift``: of the logit of the share of repairs put on file.
"""
FAIL: Final = 0
REST: Final = 1
EASE: Final = 2
SET_IN: Final = 3
WEAR_RENEWED: Final = 4
STEEPNESS: Final = 5
SHELTER: Final = 6
SPREAD: Final = 7
KEEPS: Final = 8
MEND_HIDDEN: Final = 9
MEND_FOUND: Final = 10
MEND_EARLY: Final = 11
SHARE_SHIFT: Final = 12
CALLS: Final = 13


class Histories(NamedTuple):
    """What is on file of n lots, on an axis of years that ends with the year of the run.

    ``first`` (n,): place of the first year on the axis; ``age`` (n,): age then, above 0 where the
    axis starts later than the house. Records of lot i are ``start[i]`` to ``start[i + 1]`` in order
    of time: place of the year, kind; at most one a year renews, and that one parts the findings
    before and after it. Every renewal puts another system in; those of lot i are numbered from
    ``system[i]`` on.
    """

    first: Ints
    age: Ints
    system: Ints
    start: Ints
    year: Ints
    kind: Ints


class Office(NamedTuple):
    """What the office keeps, by year of the axis.

    ``share``: of repairs put on file. ``calls``: of the year in which complaints were kept, 0 for
    none. ``permits``: of the year in which a permit would be on file by now.
    """

    share: Floats
    calls: Floats
    permits: Floats


class Terms(NamedTuple):
    """Numbers of the model.

    ``log_hazard`` (systems,) beside the county's, ``log_calls`` (n,) the same for complaints;
    ``wear`` (ages,): yearly hazard of sound to stressed; ``wear_by`` (ages, b): derivatives of its
    logarithm by the b parameters behind it; ``year_wear``, ``year_calls`` (years,): logarithms by
    year; ``rates``: :data:`RATES`; ``signs`` (kinds, 3): chance of each finding if sound, stressed,
    failed; ``tells`` (kinds,): whether the office knows of a failure from then on; ``nodes``,
    ``weight`` (k,): frailty in standard deviations and its chance.
    """

    log_hazard: Floats
    log_calls: Floats
    wear: Floats
    wear_by: Floats
    year_wear: Floats
    year_calls: Floats
    rates: Floats
    signs: Floats
    tells: Flags
    nodes: Floats
    weight: Floats


class Common(NamedTuple):
    """What is the same for every lot, worked out once.

    ``share`` (years,): of repairs put on file. ``factor`` (years and those ahead,): on wear;
    ``pace``: see :func:`pace_of`.
    """

    share: Floats
    factor: Floats
    pace: Floats


@compiled
def common_of(office: Office, terms: Terms, ahead: int) -> Common:
    """Work out what is the same for every lot."""
    years = len(office.share)
    share = np.zeros(years)
    factor = np.ones(years + ahead)
    for t in range(years):
        s = office.share[t]
        if s > 0:
            share[t] = 1.0 / (1.0 + (1.0 - s) / s * exp(-terms.rates[SHARE_SHIFT]))
        factor[t] = exp(terms.year_wear[t])
    return Common(share, factor, pace_of(terms))


@compiled
def pace_of(terms: Terms) -> Floats:
    """Exponentials (rates,) of the rates."""
    pace = np.empty(len(terms.rates))
    for r in range(len(pace)):
        pace[r] = exp(terms.rates[r])
    return pace


@compiled
def strain_of(terms: Terms, system: int, strain: Floats, load: Floats) -> None:
    """Log hazard at each frailty (k,), and its factors (k, 3) on wear, failing and recovery."""
    rates = terms.rates
    for j in range(len(strain)):
        u = terms.log_hazard[system] + rates[SPREAD] * terms.nodes[j]
        strain[j] = u
        load[j, 0] = exp(u)
        load[j, 1] = exp(rates[STEEPNESS] * u)
        load[j, 2] = exp(-rates[SHELTER] * u)


@compiled
def stay_chances(
    terms: Terms,
    pace: Floats,
    load: Floats,
    age: int,
    factor: float,
    ahead: bool,
    stay: Floats,
) -> None:
    """Chance (k, 6) of not going on this year.

    Not from sound, from renewed, from stressed to worse; not from stressed, from failed to better;
    not from failed to failed for good. In years `ahead` failed systems stay failed.
    """
    wear = terms.wear[age] * factor
    renewed = pace[WEAR_RENEWED] * factor
    fail = pace[FAIL] * factor
    rest = pace[REST] / factor
    ease = 0.0 if ahead else pace[EASE] / factor
    lasting = exp(-pace[SET_IN])
    for j in range(len(load)):
        stay[j, 0] = exp(-wear * load[j, 0])
        stay[j, 1] = exp(-renewed * load[j, 0])
        stay[j, 2] = exp(-fail * load[j, 1])
        stay[j, 3] = exp(-rest * load[j, 2])
        stay[j, 4] = exp(-ease * load[j, 2])
        stay[j, 5] = lasting


@compiled
def wear_on(x: Floats, stay: Floats, newly: bool) -> None:
    """Recover and wear for a year; a system put in this year only wears."""
    for j in range(len(x)):
        if not newly:
            rests = x[j, 2] * (1 - stay[j, 3])
            sets_in = x[j, 3] * (1 - stay[j, 5])
            eases = (x[j, 3] - sets_in) * (1 - stay[j, 4])
            x[j, 0] += rests
            x[j, 2] += eases - rests
            x[j, 3] -= sets_in + eases
            x[j, 4] += sets_in
        stressed = x[j, 2] + x[j, 0] * (1 - stay[j, 0]) + x[j, 1] * (1 - stay[j, 1])
        x[j, 0] *= stay[j, 0]
        x[j, 1] *= stay[j, 1]
        x[j, 2] = stressed * stay[j, 2]
        x[j, 3] += stressed * (1 - stay[j, 2])


@compiled
def weigh(x: Floats, likelihood: Floats) -> None:
    """Multiply by the likelihood (3,) of what was seen in each condition."""
    for j in range(len(x)):
        x[j, 0] *= likelihood[0]
        x[j, 1] *= likelihood[0]
        x[j, 2] *= likelihood[1]
        x[j, 3] *= likelihood[2]
        x[j, 4] *= likelihood[2]


@compiled
def chance_to_renew(
    x: Floats, j: int, repair: bool, mend: float, early: float, share: float
) -> float:
    """Chance of frailty j and of the renewal on file."""
    fine = x[j, 0] + x[j, 1] + x[j, 2]
    failed = x[j, 3] + x[j, 4]
    if repair:
        return float(share * (early * fine + mend * failed))
    return float(fine + failed)


@compiled
def renew(
    x: Floats,
    repair: bool,
    mend: float,
    early: float,
    share: float,
    keeps: float,
    weight: Floats,
) -> None:
    """Put a new, sound system in; it keeps the lot's frailty or draws it anew."""
    whole = 0.0
    for j in range(len(x)):
        x[j, 0] = chance_to_renew(x, j, repair, mend, early, share)
        whole += x[j, 0]
    for j in range(len(x)):
        x[j, 0] = keeps * x[j, 0] + (1 - keeps) * weight[j] * whole
        for s in range(1, 5):
            x[j, s] = 0.0


@compiled
def no_renewal(
    x: Floats, mend: float, early: float, share: float, permits: float, last: bool
) -> None:
    """No repair is on file: none was made, or one that was not put on file.

    In the last year the state of today is wanted, before a repair that nobody would know of.
    """
    none = 1 - early * share * permits
    unseen = 0.0 if last else mend * (1 - share)
    stays = 1 - mend * share * permits if last else 1 - mend
    for j in range(len(x)):
        failed = x[j, 3] + x[j, 4]
        x[j, 0] *= none
        x[j, 1] = x[j, 1] * none + failed * unseen
        x[j, 2] *= none
        x[j, 3] *= stays
        x[j, 4] *= stays


@compiled
def findings(histories: Histories, terms: Terms, begin: int, end: int, likelihood: Floats) -> bool:
    """Multiply up the likelihood (3,) of some records' findings; whether one tells of a failure."""
    likelihood[:] = 1.0
    told = False
    for r in range(begin, end):
        kind = histories.kind[r]
        if kind >= 0:
            told |= terms.tells[kind]
            for s in range(3):
                likelihood[s] *= terms.signs[kind, s]
    return told


@compiled
def called(histories: Histories, begin: int, end: int) -> bool:
    """Whether a complaint is among some records."""
    heard = False
    for r in range(begin, end):
        heard |= histories.kind[r] == COMPLAINT
    return heard


@compiled
def renewal_of(histories: Histories, begin: int, end: int) -> int:
    """Place of the record that renews, or `end`."""
    for r in range(begin, end):
        if histories.kind[r] <= REPAIR:
            return r
    return end
