"""Draws of every parcel's score: the compiled kernels of the doubt.

Each (parcel, factor, draw) has one uniform number. It comes from a scrambled Sobol
sequence (Owen 1998) that is turned by a random angle per parcel and factor (Cranley and Patterson
1976) and taken in a random order per parcel. Inside one parcel the draws are therefore spread
evenly over all factors; between parcels they are independent. Angle and order depend on the
parcel's key and the seed alone, so that cutting the county into chunks changes nothing.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from riskmap.contract.arrays import Floats
from riskmap.contract.compiled import compiled
from riskmap.ranking.sequences import mix, normal_quantile, shuffle, uniform

Keys = npt.NDArray[np.uint64]
Order = npt.NDArray[np.int64]
Curve = npt.NDArray[np.float64]

NORMAL: Final = 0
LOGNORMAL: Final = 1
QUANTILES: Final = 64
"""Steps of the table of the county's own distribution of a factor."""

CELLS: Final = 256
"""Cells of the table of limitation by rank of the error, one table per parcel and factor."""

FULL: Final = 65535
"""A score of 100 is held as this whole number: a step is 0.0015 points."""


class Plan(NamedTuple):
    """Everything the kernels need, as flat arrays; n parcels, f factors, d draws.

    ``value, spread, redraw`` (n, f); ``begin, end`` (n, f) point into ``mixture_share`` (running
    sums up to 1) and ``mixture_limit``; ``begin`` is -1 where there is no mixture. ``curve``
    (f, 2, k) of which the first ``size`` (f,) points count; ``shape, common, failure`` (f,), common
    where there is a ``shared`` error; ``county`` (f, 64); ``shared, weight`` (f, d); ``share``
    (d,); ``keys`` (n,). Of the s streams of random numbers, ``points`` (s, d) with ``angle_keys``
    (s,), a factor uses ``stream`` (f,) for its error and ``component_stream`` (f,) for a mixture.
    Of the c scenarios drawn before, ``outcome`` (n, m, c) holds limitations in thousandths;
    ``outcome_of`` (f,) is the factor's place there, -1 where it has none. ``by_chance`` (n, c) are
    priorities, of no columns where the priority is the mean of the two scores; ``by_water``:
    whether the groundwater score, 0..1, multiplies them.
    """

    value: Floats
    spread: Floats
    redraw: Floats
    begin: npt.NDArray[np.int64]
    end: npt.NDArray[np.int64]
    mixture_share: Floats
    mixture_limit: Floats
    shape: npt.NDArray[np.int64]
    curve: Floats
    size: npt.NDArray[np.int64]
    county: Floats
    points: Floats
    stream: Order
    component_stream: Order
    shared: Floats
    common: npt.NDArray[np.bool_]
    weight: Floats
    failure: npt.NDArray[np.bool_]
    share: Floats
    keys: Keys
    angle_keys: Keys
    outcome: npt.NDArray[np.uint16]
    outcome_of: Order
    by_chance: npt.NDArray[np.float32]
    by_water: bool


@compiled
def on_curve(x: float, curve: Curve) -> float:
    """Piecewise linear curve (2, k), level beyond its ends."""
    if x <= curve[0, 0]:
        return float(curve[1, 0])
    for k in range(1, curve.shape[1]):
        if x < curve[0, k]:
            part = (x - curve[0, k - 1]) / (curve[0, k] - curve[0, k - 1])
            return float(curve[1, k - 1] + part * (curve[1, k] - curve[1, k - 1]))
    return float(curve[1, -1])


@compiled
def fill_mixture(
    out: Floats,
    points: Floats,
    order: Order,
    angle: float,
    shares: Floats,
    limits: Floats,
) -> None:
    """Limitations of one parcel and factor where the truth is one of a few, by share.

    Parameters
    ----------
    out
        Limitations 0..1 (d,), written.
    points, order, angle
        Uniform numbers of the stream (d,), the parcel's order of draws (d,), and its turn, 0..1.
    shares, limits
        Running sums of the parts' shares up to 1, and the parts' limitations (parts,).
    """
    last = shares.size - 1
    for draw in range(out.size):
        u = points[order[draw]] + angle
        u -= math.floor(u)
        part = 0
        for k in range(last):
            part += u >= shares[k]
        out[draw] = limits[part]


@compiled
def fill_table(table: Floats, value: float, spread: float, lognormal: bool, curve: Curve) -> None:
    """Limitation at evenly spaced ranks of the error, from the lowest to the highest.

    Parameters
    ----------
    table
        Limitations at the ends of the cells (cells + 1,), written.
    value, spread
        Recorded value and its standard deviation, in the feature's unit (of the logarithm where
        `lognormal`).
    lognormal
        Whether the error multiplies.
    curve
        Values and limitations (2, k), values rising.
    """
    cells = table.size - 1
    for k in range(cells + 1):
        rank = min(max(k / cells, 0.125 / cells), 1.0 - 0.125 / cells)
        error = spread * normal_quantile(rank)
        x = value * math.exp(error) if lognormal else value + error
        table[k] = on_curve(x, curve)


@compiled
def fill_spread(
    out: Floats,
    points: Floats,
    order: Order,
    angle: float,
    redraw: float,
    county: Floats,
    table: Floats,
) -> None:
    """Limitations of one parcel and factor: value with an error, or any of the county's.

    Parameters
    ----------
    out, points, order, angle
        As in :func:`fill_mixture`.
    redraw
        Chance that the limitation is one of `county` instead, 0..1; 1 where the value is unknown.
    county
        Limitations at evenly spaced ranks of the county's own values (QUANTILES,).
    table
        From :func:`fill_table`.
    """
    cells = table.size - 1
    scale = cells / (1.0 - redraw) if redraw < 1.0 else 0.0
    for draw in range(out.size):
        u = points[order[draw]] + angle
        u -= math.floor(u)
        if u < redraw:
            out[draw] = county[min(int(u / redraw * county.size), county.size - 1)]
        else:
            place = (u - redraw) * scale
            k = min(int(place), cells - 1)
            out[draw] = table[k] + (place - k) * (table[k + 1] - table[k])


@compiled
def fill_shared(
    out: Floats,
    points: Floats,
    order: Order,
    angle: float,
    redraw: float,
    county: Floats,
    value: float,
    spread: float,
    shared: Floats,
    lognormal: bool,
    curve: Curve,
) -> None:
    """As :func:`fill_spread`, with a further error in each draw that all parcels share.

    Parameters
    ----------
    out, points, order, angle, redraw, county
        As there.
    value, spread, lognormal, curve
        As in :func:`fill_table`.
    shared
        Error that all parcels share in each draw (d,), in the terms of `spread`.
    """
    for draw in range(out.size):
        u = points[order[draw]] + angle
        u -= math.floor(u)
        if u < redraw:
            out[draw] = county[min(int(u / redraw * county.size), county.size - 1)]
            continue
        error = shared[draw]
        if spread > 0.0:
            error += spread * normal_quantile((u - redraw) / (1.0 - redraw))
        x = value * math.exp(error) if lognormal else value + error
        out[draw] = on_curve(x, curve)


@compiled
def fill_outcome(out: Floats, outcome: npt.NDArray[np.uint16]) -> None:
    """Limitations of one parcel and factor from the scenarios, taken in turn."""
    for draw in range(out.size):
        out[draw] = 0.001 * outcome[draw % outcome.size]


@compiled
def fill_factor(
    out: Floats, order: Order, table: Floats, row: int, f: int, seed: np.uint64, plan: Plan
) -> None:
    """Limitations of one parcel and factor, whatever kind of distribution it has.

    Parameters
    ----------
    out
        Limitations 0..1 (d,), written.
    order
        The parcel's order of draws (d,).
    table
        Scratch space (CELLS + 1,).
    row, f
        Position of the parcel and of the factor.
    seed
        Of the draws.
    plan
        The county's inputs.
    """
    if plan.outcome_of[f] >= 0:
        fill_outcome(out, plan.outcome[row, plan.outcome_of[f]])
        return
    start, stop = plan.begin[row, f], plan.end[row, f]
    stream = plan.component_stream[f] if start >= 0 else plan.stream[f]
    points = plan.points[stream]
    angle = uniform(mix(mix(plan.keys[row] ^ plan.angle_keys[stream]) + seed))
    if start >= 0:
        shares, limits = plan.mixture_share[start:stop], plan.mixture_limit[start:stop]
        fill_mixture(out, points, order, angle, shares, limits)
        return
    value, spread, redraw = plan.value[row, f], plan.spread[row, f], plan.redraw[row, f]
    lognormal = plan.shape[f] == LOGNORMAL
    curve = plan.curve[f, :, : plan.size[f]]
    county = plan.county[f]
    if plan.common[f]:
        shared = plan.shared[f]
        fill_shared(
            out, points, order, angle, redraw, county, value, spread, shared, lognormal, curve
        )
    elif spread == 0.0 and redraw == 0.0:
        out[:] = on_curve(value, curve)
    else:
        fill_table(table, value, spread, lognormal, curve)
        fill_spread(out, points, order, angle, redraw, county, table)


@compiled
def fill_parcel(
    limits: Floats, order: Order, table: Floats, row: int, seed: np.uint64, plan: Plan
) -> None:
    """Limitations of one parcel, all factors and draws, into `limits` (factors, draws).

    Parameters
    ----------
    limits
        Written.
    order, table
        Scratch space (d,) and (CELLS + 1,).
    row
        Position of the parcel.
    seed, plan
        As in :func:`fill_factor`.
    """
    shuffle(order, mix(plan.keys[row] ^ seed))
    for f in range(limits.shape[0]):
        fill_factor(limits[f], order, table, row, f, seed, plan)


@compiled
def score_rows(
    first: int, last: int, seed: np.uint64, out: npt.NDArray[np.uint16], plan: Plan
) -> None:
    """Draw failure, groundwater and priority of rows ``first .. last-1`` into (3, n, draws).

    Parameters
    ----------
    first, last
        Rows to draw; `last` not among them.
    seed
        Of the draws.
    out
        Written in these rows; :data:`FULL` is a score of 100.
    plan
        The county's inputs.
    """
    factors, draws = plan.weight.shape
    limits = np.empty((factors, draws))
    order = np.empty(draws, np.int64)
    table = np.empty(CELLS + 1)
    sums = np.empty((2, draws))
    for row in range(first, last):
        fill_parcel(limits, order, table, row, seed, plan)
        sums[:] = 0.0
        for f in range(factors):
            kind = 0 if plan.failure[f] else 1
            for d in range(draws):
                sums[kind, d] += plan.weight[f, d] * limits[f, d]
        scenarios = plan.by_chance.shape[1]
        for d in range(draws):
            if scenarios > 0:
                both = 0.01 * plan.by_chance[row, d % scenarios]
                both *= sums[1, d] if plan.by_water else 1.0
            else:
                both = plan.share[d] * sums[0, d] + (1.0 - plan.share[d]) * sums[1, d]
            out[0, row, d] = int(sums[0, d] * FULL + 0.5)
            out[1, row, d] = int(sums[1, d] * FULL + 0.5)
            out[2, row, d] = int(both * FULL + 0.5)


@compiled
def limit_rows(
    rows: npt.NDArray[np.int64], seed: np.uint64, out: npt.NDArray[np.float32], plan: Plan
) -> None:
    """Write the limitations of the given rows, shape (rows, factors, draws).

    Parameters
    ----------
    rows
        Positions of the parcels.
    seed
        Of the draws.
    out
        Written, 0..1.
    plan
        The county's inputs.
    """
    factors, draws = plan.weight.shape
    limits = np.empty((factors, draws))
    order = np.empty(draws, np.int64)
    table = np.empty(CELLS + 1)
    for place in range(rows.size):
        fill_parcel(limits, order, table, rows[place], seed, plan)
        out[place] = limits
