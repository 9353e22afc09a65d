"""Forward over the years of every lot, and back for exact derivatives, compiled.

The scaled forward and backward recursions of hidden Markov models (Rabiner 1989, Proc. IEEE
77:257-286), with derivatives taken along the way back: for every step that is linear in the chances
and in a parameter's number, the slope of the log-likelihood is (chances before) x (derivative of
the step) x (adjoint after).
"""

from __future__ import annotations

from math import exp, expm1, log
from typing import NamedTuple

import numpy as np

from riskmap.condition.years import (
    CALLS,
    EASE,
    FAIL,
    KEEPS,
    MEND_EARLY,
    MEND_FOUND,
    MEND_HIDDEN,
    RATES,
    REPAIR,
    REST,
    SET_IN,
    SHARE_SHIFT,
    SHELTER,
    SPREAD,
    STATES,
    STEEPNESS,
    WEAR_RENEWED,
    Flags,
    Floats,
    Histories,
    Ints,
    Office,
    Terms,
    called,
    chance_to_renew,
    findings,
    no_renewal,
    renew,
    renewal_of,
    stay_chances,
    strain_of,
    wear_on,
    weigh,
)
from riskmap.contract.compiled import compiled


class Track(NamedTuple):
    """What the way forward leaves behind for the way back, by year of one lot."""

    begin: Floats
    stay: Floats
    fresh: Floats
    scale: Floats
    known: Flags
    age: Ints
    record: Ints
    strain: Floats
    load: Floats


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


class Followed(NamedTuple):
    """What following the lots gives: (n,) log-likelihoods, slopes, (n, k, states) chances now."""

    log_like: Floats
    slopes: Slopes
    now: Floats


ALL = np.ones(len(STATES))


def follow(
    histories: Histories,
    office: Office,
    terms: Terms,
    *,
    final: Floats = ALL,
    ahead: int = 0,
    window: int = 0,
    slopes: bool = False,
    now: bool = False,
) -> Followed:
    """Follow every lot through its years.

    Parameters
    ----------
    histories, office, terms
        See there.
    final
        (states,) weight of each state after the last year; ones give the likelihood of what is on
        file, ones and noughts the likelihood of that and of being in those states.
    ahead
        Years beyond the axis, without records, in which a failed system stays failed.
    window
        Number of the axis's last years that have slopes by year.
    slopes, now
        Whether derivatives and the chances of the last year are wanted; else their arrays are
        empty.
    """
    n, k = len(histories.first), len(terms.nodes)
    m = n if slopes else 0
    wide = len(RATES) + terms.wear_by.shape[1] + 3 * len(terms.signs)
    given = Slopes(
        np.zeros((m, wide)),
        np.zeros(m),
        np.zeros((m, window)),
        np.zeros((m, window)),
        np.zeros(len(terms.log_hazard) if slopes else 0),
    )
    log_like = np.empty(n)
    chances = np.empty((n if now else 0, k, len(STATES)))
    _follow(histories, office, terms, final, ahead, log_like, chances, given)
    return Followed(log_like, given, chances)


@compiled
def _follow(
    histories: Histories,
    office: Office,
    terms: Terms,
    final: Floats,
    ahead: int,
    log_like: Floats,
    now: Floats,
    slopes: Slopes,
) -> None:
    k = len(terms.nodes)
    every = len(office.share) + ahead
    track = Track(
        np.empty((every, k, 5)),
        np.empty((every, k, 6)),
        np.empty((every, k, 6)),
        np.empty(every),
        np.empty(every, dtype=np.bool_),
        np.empty(every, dtype=np.int64),
        np.empty(every + 1, dtype=np.int64),
        np.empty(k),
        np.empty((k, 3)),
    )
    share = np.zeros(len(office.share))
    for t in range(len(share)):
        s = office.share[t]
        if s > 0:
            share[t] = 1.0 / (1.0 + (1.0 - s) / s * exp(-terms.rates[SHARE_SHIFT]))
    x = np.empty((k, 5))
    for i in range(len(histories.first)):
        total = _forward(histories, office, terms, share, i, every, x, now, track)
        end = 0.0
        for j in range(k):
            for s in range(5):
                end += final[s] * x[j, s]
        log_like[i] = total + log(end)
        if len(slopes.calls):
            for j in range(k):
                for s in range(5):
                    x[j, s] = final[s] / end
            _backward(histories, office, terms, share, i, every, x, track, slopes)


@compiled
def _forward(  # noqa: C901
    histories: Histories,
    office: Office,
    terms: Terms,
    share: Floats,
    i: int,
    every: int,
    x: Floats,
    now: Floats,
    track: Track,
) -> float:
    """Go through the years of lot i; leaves the chances after the last one in `x`."""
    k = len(x)
    rates = terms.rates
    years = len(share)
    first = histories.first[i]
    system = histories.system[i]
    strain_of(terms, system, track.strain, track.load)
    age = histories.age[i]
    record = histories.start[i]
    found = False
    total = 0.0
    seen = np.empty(3)
    x[:] = 0.0
    for j in range(k):
        x[j, 0] = terms.weight[j]
    before = -1.0  # factor of the year whose chances to stay hold still, but for sound systems
    for t in range(first, every):
        future = t >= years
        factor = 1.0 if future else exp(terms.year_wear[t])
        stay = track.stay[t]
        if factor == before and t != years:
            wear = terms.wear[age] * factor
            for j in range(k):
                stay[j, 0] = exp(-wear * track.load[j, 0])
                for s in range(1, 6):
                    stay[j, s] = track.stay[t - 1, j, s]
        else:
            stay_chances(terms, track.load, age, factor, future, stay)
        before = factor
        track.begin[t] = x
        track.age[t] = age
        track.record[t] = record
        wear_on(x, stay, t == first)
        if not future:
            end = record
            while end < histories.start[i + 1] and histories.year[end] == t:
                end += 1
            renewal = renewal_of(histories, record, end)
            found |= findings(histories, terms, record, renewal, seen)
            if office.calls[t] > 0:
                _hear(histories, office, terms, i, t, record, end, seen)
            weigh(x, seen)
            track.known[t] = found
            mend = rates[MEND_FOUND] if found else rates[MEND_HIDDEN]
            early = rates[MEND_EARLY]
            if renewal < end:
                repair = histories.kind[renewal] == REPAIR
                renew(x, repair, mend, early, share[t], rates[KEEPS], terms.weight)
                system += 1
                strain_of(terms, system, track.strain, track.load)
                stay_chances(terms, track.load, 0, factor, False, track.fresh[t])
                wear_on(x, track.fresh[t], True)
                found = findings(histories, terms, renewal, end, seen)
                weigh(x, seen)
                age = 0
                before = -1.0
            else:
                no_renewal(x, mend, early, share[t], office.permits[t], t == years - 1)
            record = end
        c = 0.0
        for j in range(k):
            for s in range(5):
                c += x[j, s]
        track.scale[t] = c
        total += log(c)
        for j in range(k):
            for s in range(5):
                x[j, s] /= c
        age += 1
        if t == years - 1 and len(now):
            now[i] = x
    track.record[every] = record
    return total


@compiled
def _hear(
    histories: Histories,
    office: Office,
    terms: Terms,
    i: int,
    t: int,
    begin: int,
    end: int,
    likelihood: Floats,
) -> None:
    """Multiply by the likelihood (3,) of a complaint in the year, or of none."""
    exposure = exp(terms.log_calls[i] + terms.year_calls[t]) * office.calls[t]
    heard = called(histories, begin, end)
    for s in range(3):
        rate = exp(terms.rates[CALLS + s]) * exposure
        likelihood[s] *= -expm1(-rate) if heard else exp(-rate)


@compiled
def _backward(  # noqa: C901
    histories: Histories,
    office: Office,
    terms: Terms,
    share: Floats,
    i: int,
    every: int,
    back: Floats,
    track: Track,
    slopes: Slopes,
) -> None:
    """Go back through the years of lot i with the adjoint of the chances, and fill its slopes."""
    k = len(back)
    rates = terms.rates
    years = len(share)
    first = histories.first[i]
    system = histories.system[i]
    for r in range(histories.start[i], histories.start[i + 1]):
        system += histories.kind[r] <= REPAIR
    slope = slopes.rates[i]
    kinds_at = len(rates) + terms.wear_by.shape[1]
    opened = years - slopes.year_wear.shape[1]
    worn = np.empty((k, 5))
    fresh = np.empty((k, 5))
    newborn = np.zeros((k, 5))
    seen = np.empty(3)
    later = np.empty(3)
    for t in range(every - 1, first - 1, -1):
        future = t >= years
        factor = 1.0 if future else exp(terms.year_wear[t])
        for j in range(k):
            for s in range(5):
                back[j, s] /= track.scale[t]
        year_slope = 0.0
        if not future:
            begin, end = track.record[t], track.record[t + 1]
            renewal = renewal_of(histories, begin, end)
            findings(histories, terms, begin, renewal, seen)
            if office.calls[t] > 0:
                _hear(histories, office, terms, i, t, begin, end, seen)
            worn[:] = track.begin[t]
            wear_on(worn, track.stay[t], t == first)
            weigh(worn, seen)
            at = MEND_FOUND if track.known[t] else MEND_HIDDEN
            if renewal < end:
                repair = histories.kind[renewal] == REPAIR
                fresh[:] = worn
                renew(
                    fresh,
                    repair,
                    rates[at],
                    rates[MEND_EARLY],
                    share[t],
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
                    terms, system, 0, factor, newborn, track.fresh[t], True, False, back, track,
                    slope, slopes.hazard,
                )  # fmt: skip
                system -= 1
                strain_of(terms, system, track.strain, track.load)
                d_share = _renew_back(terms, worn, repair, at, share[t], back, slope)
            else:
                d_share = _no_renewal_back(
                    terms, worn, at, share[t], office.permits[t], t == years - 1, back, slope
                )
            slope[SHARE_SHIFT] += d_share * share[t] * (1 - share[t])
            _count_findings(histories, worn, back, begin, renewal, kinds_at, slope)
            if office.calls[t] > 0:
                d = _calls_back(histories, office, terms, i, t, begin, end, worn, back, slope)
                slopes.calls[i] += d
                if t >= opened:
                    slopes.year_calls[i, t - opened] += d
            weigh(back, seen)
        year_slope += _wear_back(
            terms, system, track.age[t], factor, track.begin[t], track.stay[t], t == first, future,
            back, track, slope, slopes.hazard,
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
    histories: Histories,
    office: Office,
    terms: Terms,
    i: int,
    t: int,
    begin: int,
    end: int,
    x: Floats,
    back: Floats,
    slope: Floats,
) -> float:
    """Slopes by the rates of complaint; returns the slope by the logarithm of the exposure."""
    exposure = exp(terms.log_calls[i] + terms.year_calls[t]) * office.calls[t]
    heard = called(histories, begin, end)
    total = 0.0
    for s in range(3):
        rate = exp(terms.rates[CALLS + s]) * exposure
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
    d_share = 0.0
    for j in range(len(x)):
        fine = x[j, 0] * back[j, 0] + x[j, 1] * back[j, 1] + x[j, 2] * back[j, 2]
        stayed = x[j, 3] * back[j, 3] + x[j, 4] * back[j, 4]
        failed = x[j, 3] + x[j, 4]
        b = back[j, 1]
        slope[MEND_EARLY] -= share * permits * fine
        d_share -= early * permits * fine
        if last:
            slope[at] -= share * permits * stayed
            d_share -= mend * permits * stayed
        else:
            slope[at] += failed * b * (1 - share) - stayed
            d_share -= failed * b * mend
        for s in range(3):
            back[j, s] *= none
        for s in range(3, 5):
            if last:
                back[j, s] *= 1 - mend * share * permits
            else:
                back[j, s] = back[j, s] * (1 - mend) + b * mend * (1 - share)
    return d_share


@compiled
def _wear_back(
    terms: Terms,
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
    renewed = exp(rates[WEAR_RENEWED]) * factor
    fail = exp(rates[FAIL]) * factor
    rest = exp(rates[REST]) / factor
    ease = 0.0 if ahead else exp(rates[EASE]) / factor
    set_in = exp(rates[SET_IN])
    by_wear = by_factor = 0.0
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
            slope[SET_IN] -= q5 * set_in * x[j, 3] * (b3 - back[j, 4])
            b3 = b3 * q5 + back[j, 4] * (1 - q5)
            b2 = b2 * q3 + b0 * (1 - q3)
        d = d0 + d1 + rates[STEEPNESS] * d2 - rates[SHELTER] * (d3 + d4)
        hazard[system] += d
        slope[SPREAD] += terms.nodes[j] * d
        slope[FAIL] += d2
        slope[REST] += d3
        slope[EASE] += d4
        slope[WEAR_RENEWED] += d1
        slope[STEEPNESS] += strain[j] * d2
        slope[SHELTER] -= strain[j] * (d3 + d4)
        by_wear += d0
        by_factor += d0 + d1 + d2 - d3 - d4
        back[j, 0], back[j, 1], back[j, 2], back[j, 3] = b0, b1, b2, b3
    for b in range(terms.wear_by.shape[1]):
        slope[len(rates) + b] += by_wear * terms.wear_by[age, b]
    return by_factor
