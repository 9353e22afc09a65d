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
    Common,
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
    """What the way forward leaves behind for the way back, by year of one lot.

    ``begin``, ``worn`` (years, k, states): chances at the year's beginning, and before a renewal.
    ``stay``, ``fresh`` (years, k, 6): chances to stay, of the system and of one put in that year.
    ``seen`` (years, 3): likelihood of what was seen before a renewal; ``exposure`` (years,) to
    complaints; ``scale``: one over the chance of the year's records; ``known``: whether the office
    knows of a failure; ``age``; ``record``: the year's first. ``strain``, ``load``: of the system
    at hand.
    """

    begin: Floats
    worn: Floats
    stay: Floats
    fresh: Floats
    seen: Floats
    exposure: Floats
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
    common: Common,
    i: int,
    every: int,
    x: Floats,
    now: Floats,
    track: Track,
) -> float:
    """Go through the years of lot i; leaves the chances after the last one in `x`."""
    k = len(x)
    rates = terms.rates
    years = len(common.share)
    first = histories.first[i]
    system = histories.system[i]
    strain_of(terms, system, track.strain, track.load)
    age = histories.age[i]
    record = histories.start[i]
    found = False
    total = 0.0
    later = np.empty(3)
    x[:] = 0.0
    for j in range(k):
        x[j, 0] = terms.weight[j]
    before = -1.0  # factor of the year whose chances to stay hold still, but for sound systems
    for t in range(first, every):
        future = t >= years
        factor = common.factor[t]
        stay = track.stay[t]
        if factor == before and t != years:
            wear = terms.wear[age] * factor
            for j in range(k):
                stay[j, 0] = exp(-wear * track.load[j, 0])
                for s in range(1, 6):
                    stay[j, s] = track.stay[t - 1, j, s]
        else:
            stay_chances(terms, common.pace, track.load, age, factor, future, stay)
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
            seen = track.seen[t]
            found |= findings(histories, terms, record, renewal, seen)
            if office.calls[t] > 0:
                exposure = exp(terms.log_calls[i] + terms.year_calls[t]) * office.calls[t]
                track.exposure[t] = exposure
                hear(common, exposure, called(histories, record, end), seen)
            weigh(x, seen)
            track.worn[t] = x
            track.known[t] = found
            mend = rates[MEND_FOUND] if found else rates[MEND_HIDDEN]
            early = rates[MEND_EARLY]
            if renewal < end:
                repair = histories.kind[renewal] == REPAIR
                renew(x, repair, mend, early, common.share[t], rates[KEEPS], terms.weight)
                system += 1
                strain_of(terms, system, track.strain, track.load)
                stay_chances(terms, common.pace, track.load, 0, factor, False, track.fresh[t])
                wear_on(x, track.fresh[t], True)
                found = findings(histories, terms, renewal, end, later)
                weigh(x, later)
                age = 0
                before = -1.0
            else:
                no_renewal(x, mend, early, common.share[t], office.permits[t], t == years - 1)
            record = end
        c = 0.0
        for j in range(k):
            c += (x[j, 0] + x[j, 1]) + (x[j, 2] + x[j, 3]) + x[j, 4]
        total += log(c)
        scale = 1.0 / c
        track.scale[t] = scale
        for j in range(k):
            for s in range(5):
                x[j, s] *= scale
        age += 1
        if t == years - 1 and len(now):
            now[i] = x
    track.record[every] = record
    return total


@compiled
def hear(common: Common, exposure: float, heard: bool, likelihood: Floats) -> None:
    """Multiply by the likelihood (3,) of a complaint in the year, or of none."""
    for s in range(3):
        rate = common.pace[CALLS + s] * exposure
        likelihood[s] *= -expm1(-rate) if heard else exp(-rate)
