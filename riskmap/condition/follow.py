"""Follow every lot through its years: the likelihood of what is on file, chances, derivatives."""

from __future__ import annotations

from math import log
from typing import Final, NamedTuple

import numpy as np

from riskmap.condition.backward import Slopes, backward
from riskmap.condition.forward import Track, forward
from riskmap.condition.years import (
    RATES,
    STATES,
    Floats,
    Histories,
    Office,
    Terms,
    common_of,
)
from riskmap.contract.chunks import map_chunks, shares
from riskmap.contract.compiled import compiled


class Followed(NamedTuple):
    """What following the lots gives: (n,) log-likelihoods, slopes, (n, k, states) chances now."""

    log_like: Floats
    slopes: Slopes
    now: Floats


ALL = np.ones(len(STATES))
MOST_LOTS: Final = 4_096
"""Lots followed in one piece."""


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
        file, ones and zeros the likelihood of that and of being in those states.
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

    def work(lots: slice) -> None:
        _follow(
            histories, office, terms, final, ahead, lots.start, lots.stop, log_like, chances, given
        )

    map_chunks(work, shares(n, MOST_LOTS))
    return Followed(log_like, given, chances)


@compiled
def _follow(
    histories: Histories,
    office: Office,
    terms: Terms,
    final: Floats,
    ahead: int,
    start: int,
    stop: int,
    log_like: Floats,
    now: Floats,
    slopes: Slopes,
) -> None:
    k = len(terms.nodes)
    every = len(office.share) + ahead
    common = common_of(office, terms, ahead)
    track = Track(
        np.empty((every, k, 5)),
        np.empty((every, k, 5)),
        np.empty((every, k, 6)),
        np.empty((every, k, 6)),
        np.empty((every, 3)),
        np.empty(every),
        np.empty(every),
        np.empty(every, dtype=np.bool_),
        np.empty(every, dtype=np.int64),
        np.empty(every + 1, dtype=np.int64),
        np.empty(k),
        np.empty((k, 3)),
    )
    x = np.empty((k, 5))
    for i in range(start, stop):
        total = forward(histories, office, terms, common, i, every, x, now, track)
        end = 0.0
        for j in range(k):
            for s in range(5):
                end += final[s] * x[j, s]
        log_like[i] = total + log(end)
        if len(slopes.calls):
            for j in range(k):
                for s in range(5):
                    x[j, s] = final[s] / end
            backward(histories, office, terms, common, i, every, x, track, slopes)
