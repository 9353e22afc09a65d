"""Back through the years of one lot for exact derivatives, compiled.

For every step that is linear in the chances and in a parameter's number, the slope of the
log-likelihood is (chances before) x (derivative of the step) x (adjoint after).
"""

from __future__ import annotations

from math import expm1
from typing import NamedTuple

import numpy as np

from riskmap.condition.forward import Track
from riskmap.condition.years import (
    CALLS,
    EASE,
    FAIL,
    KEEPS,
    MEND_EARLY,
    MEND_FOUND,
    MEND_HIDDEN,
    REPAIR,
    REST,
    SET_IN,
    SHARE_SHIFT,
    SHELTER,
    SPREAD,
    STEEPNESS,
    WEAR_RENEWED,
    Common,
    Floats,
    Histories,
    Office,
    Terms,
    called,
    chance_to_renew,
    findings,
    renew,
    renewal_of,
    strain_of,
    wear_on,
    weigh,
)
from riskmap.contract.compiled import compiled


class Slopes(NamedTuple):
    """Derivatives of each lot's log-likelihood.

    ``rates``: (n, rates + b + 3 x kinds) by rates, parameters of ``wear`` and logarithms of
    ``signs``; ``calls`` (n,) by ``log_calls``; ``year_wear``, ``year_calls`` (n, window) by the
    last years'; ``hazard`` (systems,) by ``log_hazard``.
    """

    rates: Floats
    calls: Floats
    year_wear: Floats
    year_calls: Floats
    hazard: Floats


@compiled
def backward(
    histories: Histories,
    office: Office,
    terms: Terms,
    common: Common,
    i: int,
    every: int,
    back: Floats,
    track: Track,
    slopes: Slopes,
) -> None:
    """Go back through the years of lot i with the adjoint of the chances, and fill its slopes."""
    k = len(back)
    rates = terms.rates
    years = len(common.share)
    first = histories.first[i]
    system = histories.system[i]
    for r in range(histories.start[i], histories.start[i + 1]):
        system += histories.kind[r] <= REPAIR
    slope = slopes.rates[i]
    kinds_at = len(rates) + terms.wear_by.shape[1]
    opened = years - slopes.year_wear.shape[1]
    fresh = np.empty((k, 5))
    newborn = np.zeros((k, 5))
    later = np.empty(3)
    for t in range(every - 1, first - 1, -1):
        future = t >= years
        factor = common.factor[t]
        scale = track.scale[t]
        for j in range(k):
            for s in range(5):
                back[j, s] *= scale
        year_slope = 0.0
        if not future:
            begin, end = track.record[t], track.record[t + 1]
            renewal = renewal_of(histories, begin, end)
            worn, share = track.worn[t], common.share[t]
            at = MEND_FOUND if track.known[t] else MEND_HIDDEN
            if renewal < end:
                repair = histories.kind[renewal] == REPAIR
                fresh[:] = worn
                renew(
                    fresh,
                    repair,
                    rates[at],
                    rates[MEND_EARLY],
                    share,
                    rates[KEEPS],
                    terms.weight,
                )
                newborn[:, 0] = fresh[:, 0]
                wear_on(fresh, track.fresh[t], True)
                findings(histories, terms, renewal, end, later)
                weigh(fresh, later)
                _count_findings(histories, fresh, back, renewal, end, kinds_at, slope)
                weigh(back, later)
                year_slope += _wear_back(
                    terms, common, system, 0, factor, newborn, track.fresh[t], True, False, back,
                    track, slope, slopes.hazard,
                )  # fmt: skip
                system -= 1
                strain_of(terms, system, track.strain, track.load)
                d_share = _renew_back(terms, worn, repair, at, share, back, slope)
            else:
                d_share = _no_renewal_back(
                    terms, worn, at, share, office.permits[t], t == years - 1, back, slope
                )
            slope[SHARE_SHIFT] += d_share * share * (1 - share)
            _count_findings(histories, worn, back, begin, renewal, kinds_at, slope)
            if office.calls[t] > 0:
                heard = called(histories, begin, end)
                d = _calls_back(common, track.exposure[t], heard, worn, back, slope)
                slopes.calls[i] += d
                if t >= opened:
                    slopes.year_calls[i, t - opened] += d
            weigh(back, track.seen[t])
        year_slope += _wear_back(
            terms, common, system, track.age[t], factor, track.begin[t], track.stay[t],
            t == first, future, back, track, slope, slopes.hazard,
        )  # fmt: skip
        if opened <= t < years:
            slopes.year_wear[i, t - opened] += year_slope


@compiled
def _by_condition(x: Floats, back: Floats, s: int) -> float:
    """Chance of a condition (0 sound, 1 stressed, 2 failed), given all that is on file."""
    total = 0.0
    for j in range(len(x)):
        if s == 0:
            total += x[j, 0] * back[j, 0] + x[j, 1] * back[j, 1]
        elif s == 1:
            total += x[j, 2] * back[j, 2]
        else:
            total += x[j, 3] * back[j, 3] + x[j, 4] * back[j, 4]
    return total


@compiled
def _count_findings(
    histories: Histories, x: Floats, back: Floats, begin: int, end: int, at: int, slope: Floats
) -> None:
    for r in range(begin, end):
        if histories.kind[r] >= 0:
            for s in range(3):
                slope[at + 3 * histories.kind[r] + s] += _by_condition(x, back, s)


@compiled
def _calls_back(
    common: Common, exposure: float, heard: bool, x: Floats, back: Floats, slope: Floats
) -> float:
    """Slopes by the rates of complaint; returns the slope by the logarithm of the exposure."""
    total = 0.0
    for s in range(3):
        rate = common.pace[CALLS + s] * exposure
        d = _by_condition(x, back, s) * (rate / expm1(rate) if heard else -rate)
        slope[CALLS + s] += d
        total += d
    return total


@compiled
def _renew_back(
    terms: Terms,
    x: Floats,
    repair: bool,
    at: int,
    share: float,
    back: Floats,
    slope: Floats,
) -> float:
    """Adjoint of :func:`riskmap.condition.years.renew`; returns the slope by `share`."""
    rates = terms.rates
    mend, early, keeps = rates[at], rates[MEND_EARLY], rates[KEEPS]
    mean = whole = d_share = 0.0
    for j in range(len(x)):
        mean += terms.weight[j] * back[j, 0]
        whole += chance_to_renew(x, j, repair, mend, early, share)
    for j in range(len(x)):
        w = chance_to_renew(x, j, repair, mend, early, share)
        slope[KEEPS] += back[j, 0] * (w - terms.weight[j] * whole)
        b = keeps * back[j, 0] + (1 - keeps) * mean
        if repair:
            fine = x[j, 0] + x[j, 1] + x[j, 2]
            failed = x[j, 3] + x[j, 4]
            slope[MEND_EARLY] += b * share * fine
            slope[at] += b * share * failed
            d_share += b * (early * fine + mend * failed)
        for s in range(5):
            back[j, s] = b
            if repair:
                back[j, s] *= share * (early if s < 3 else mend)
    return d_share


@compiled
def _no_renewal_back(
    terms: Terms,
    x: Floats,
    at: int,
    share: float,
    permits: float,
    last: bool,
    back: Floats,
    slope: Floats,
) -> float:
    """Adjoint of :func:`riskmap.condition.years.no_renewal`; returns the slope by `share`."""
    mend, early = terms.rates[at], terms.rates[MEND_EARLY]
    none = 1 - early * share * permits
    stays = 1 - mend * share * permits if last else 1 - mend
    unseen = 0.0 if last else mend * (1 - share)
    fine = stayed = hidden = 0.0
    for j in range(len(x)):
        fine += x[j, 0] * back[j, 0] + x[j, 1] * back[j, 1] + x[j, 2] * back[j, 2]
        stayed += x[j, 3] * back[j, 3] + x[j, 4] * back[j, 4]
        b = back[j, 1]
        hidden += (x[j, 3] + x[j, 4]) * b
        back[j, 0] *= none
        back[j, 1] *= none
        back[j, 2] *= none
        back[j, 3] = back[j, 3] * stays + b * unseen
        back[j, 4] = back[j, 4] * stays + b * unseen
    slope[MEND_EARLY] -= share * permits * fine
    if last:
        slope[at] -= share * permits * stayed
        return float(-permits * (early * fine + mend * stayed))
    slope[at] += hidden * (1 - share) - stayed
    return float(-early * permits * fine - hidden * mend)


@compiled
def _wear_back(
    terms: Terms,
    common: Common,
    system: int,
    age: int,
    factor: float,
    x: Floats,
    stay: Floats,
    newly: bool,
    ahead: bool,
    back: Floats,
    track: Track,
    slope: Floats,
    hazard: Floats,
) -> float:
    """Adjoint of :func:`riskmap.condition.years.wear_on` at chances `x`; slope by log factor."""
    rates = terms.rates
    strain, load = track.strain, track.load
    wear = terms.wear[age] * factor
    renewed = common.pace[WEAR_RENEWED] * factor
    fail = common.pace[FAIL] * factor
    rest = common.pace[REST] / factor
    ease = 0.0 if ahead else common.pace[EASE] / factor
    set_in = common.pace[SET_IN]
    by_wear = by_renewed = by_fail = by_rest = by_ease = by_lasting = 0.0
    steep = shelter = spread = 0.0
    for j in range(len(x)):
        q0, q1, q2 = stay[j, 0], stay[j, 1], stay[j, 2]
        q3, q4, q5 = stay[j, 3], stay[j, 4], stay[j, 5]
        if newly:
            q3 = q4 = q5 = 1.0
        lasting = x[j, 3] * q5
        sound = x[j, 0] + x[j, 2] * (1 - q3)
        stressed = x[j, 2] * q3 + lasting * (1 - q4)
        stressed += sound * (1 - q0) + x[j, 1] * (1 - q1)
        b2 = back[j, 2] * q2 + back[j, 3] * (1 - q2)
        d2 = -q2 * fail * load[j, 1] * stressed * (back[j, 2] - back[j, 3])
        d0 = -q0 * wear * load[j, 0] * sound * (back[j, 0] - b2)
        d1 = -q1 * renewed * load[j, 0] * x[j, 1] * (back[j, 1] - b2)
        b0 = back[j, 0] * q0 + b2 * (1 - q0)
        b1 = back[j, 1] * q1 + b2 * (1 - q1)
        b3 = back[j, 3]
        d3 = d4 = 0.0
        if not newly:
            d3 = -q3 * rest * load[j, 2] * x[j, 2] * (b2 - b0)
            d4 = -q4 * ease * load[j, 2] * lasting * (b3 - b2)
            b3 = b3 * q4 + b2 * (1 - q4)
            by_lasting -= q5 * x[j, 3] * (b3 - back[j, 4])
            b3 = b3 * q5 + back[j, 4] * (1 - q5)
            b2 = b2 * q3 + b0 * (1 - q3)
        spread += terms.nodes[j] * (d0 + d1 + rates[STEEPNESS] * d2 - rates[SHELTER] * (d3 + d4))
        steep += strain[j] * d2
        shelter -= strain[j] * (d3 + d4)
        by_wear += d0
        by_renewed += d1
        by_fail += d2
        by_rest += d3
        by_ease += d4
        back[j, 0], back[j, 1], back[j, 2], back[j, 3] = b0, b1, b2, b3
    recovers = by_rest + by_ease
    hazard[system] += by_wear + by_renewed + rates[STEEPNESS] * by_fail - rates[SHELTER] * recovers
    slope[SPREAD] += spread
    slope[FAIL] += by_fail
    slope[REST] += by_rest
    slope[EASE] += by_ease
    slope[SET_IN] += set_in * by_lasting
    slope[WEAR_RENEWED] += by_renewed
    slope[STEEPNESS] += steep
    slope[SHELTER] += shelter
    for b in range(terms.wear_by.shape[1]):
        slope[len(rates) + b] += by_wear * terms.wear_by[age, b]
    return by_wear + by_renewed + by_fail - recovers
