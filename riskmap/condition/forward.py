"""Forward through the years of one lot, compiled; what it leaves behind leads back.

The scaled forward recursion of hidden Markov models (Rabiner 1989, Proc. IEEE 77:257-286).
"""

from __future__ import annotations

from math import exp, expm1, log
from typing import NamedTuple

import numpy as np

from riskmap.condition.years import (
    CALLS,
    KEEPS,
    MEND_EARLY,
    MEND_FOUND,
    MEND_HIDDEN,
    REPAIR,
    Flags,
    Floats,
    Histories,
    Ints,
    Office,
    Terms,
    called,
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


@compiled
def forward(  # noqa: C901
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
                hear(histories, office, terms, i, t, record, end, seen)
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
def hear(
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
