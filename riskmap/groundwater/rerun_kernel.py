"""One pair of a system and a well under changed numbers, compiled: the plume's formulas as scalars.

The same formulas as :mod:`riskmap.groundwater.plume`, :mod:`riskmap.groundwater.slabs` and
:mod:`riskmap.groundwater.arrival`, in a form that costs a fraction of a microsecond a pair. The
spread between the water table and the aquifer's bottom is summed over reflections while it is
narrow and over the cosine series of the same solution once it is wide (Carslaw and Jaeger 1959,
from memory); both are the same function. Pairs that cannot reach the least addition are left early
by bounds that hold for the whole formula.
"""

from __future__ import annotations

from math import cos, erfc, exp, pi, sin, sqrt
from typing import Final, NamedTuple

from riskmap.contract.arrays import Floats
from riskmap.contract.compiled import compiled
from riskmap.groundwater.plume import REACH_SIGMAS
from riskmap.groundwater.slabs import MIXED_SIGMA, NARROW

ROW: Final = 10
"""Columns of a pair: offset, share of the way from the point before the foot to the one behind it;
then at both points: distance, base travel time, width ratio, spread per dispersivity across."""
SERIES_FROM: Final = 0.12
"""Spread over thickness from which the cosine series is used."""
_FAR: Final = 8.5
_FADED: Final = 1e-13
_ROOT_2PI: Final = sqrt(2 * pi)
_ROOT_HALF: Final = sqrt(0.5)


class Scenario(NamedTuple):
    """Numbers that all pairs of one re-run share."""

    time_scale: float
    max_time_d: float
    along_m: float
    across_m: float
    down_m: float
    doubt: float
    thickness_m: float
    dive_1_d: float
    decay_1_d: float
    least_mg_l: float


class PlumeSource(NamedTuple):
    """One system's plume at its start.

    ``strength`` is its load over the flux of groundwater; ``turn_cos`` and ``turn_sin`` are of its
    depth as a half turn over the aquifer's thickness.
    """

    strength: float
    width_m: float
    depth_m: float
    age_d: float
    turn_cos: float
    turn_sin: float


class Window(NamedTuple):
    """One well's screen in the aquifer, half its width of draw, and how far it is looked for."""

    top_m: float
    bottom_m: float
    half_m: float
    search_m: float
    top_cos: float
    top_sin: float
    bottom_cos: float
    bottom_sin: float


@compiled
def _below(z: float) -> float:
    """Give the standard normal distribution function."""
    return 0.5 * erfc(-z * _ROOT_HALF)


@compiled
def _integral(z: float) -> float:
    if z > _FAR:
        return z
    if z < -_FAR:
        return 0.0
    return z * _below(z) + exp(-0.5 * z * z) / _ROOT_2PI


@compiled
def _simpson(z: float, step: float) -> float:
    """Mean of the normal distribution function over z - step .. z + step by Simpson's rule.

    For the short steps it is used for, by the rule's own series, which costs one value.
    """
    if abs(z) > 6 or step > 0.11:
        return (_below(z - step) + 4 * _below(z) + _below(z + step)) / 6
    q, s = z * z, step * step
    series = 1 + s / 12 * (q - 3) + s * s / 360 * (15 + q * (q - 10))
    series += s * s * s / 20160 * (-105 + q * (105 + q * (q - 21)))
    return _below(z) - z * exp(-0.5 * q) / _ROOT_2PI * s / 6 * series


@compiled
def window_mean_of(lower: float, upper: float, low: float, high: float, sigma: float) -> float:
    """:func:`riskmap.groundwater.slabs.window_mean` of one window.

    Parameters
    ----------
    lower, upper
        Window, m.
    low, high
        Slab before it spreads, m.
    sigma
        Spread, one standard deviation, m.
    """
    spread, width = max(sigma, 1e-9), upper - lower
    if lower - high > _FAR * spread or low - upper > _FAR * spread:
        return 0.0
    if width < NARROW * spread:
        # differences of the smaller tails lose no digits
        middle, step = 0.5 * (lower + upper), 0.5 * width / spread
        a, b = (middle - low) / spread, (middle - high) / spread
        if b > 0:
            return (_simpson(-b, step) - _simpson(-a, step)) / (high - low)
        return (_simpson(a, step) - _simpson(b, step)) / (high - low)
    total = _integral((upper - low) / spread) - _integral((lower - low) / spread)
    total += _integral((lower - high) / spread) - _integral((upper - high) / spread)
    return max(spread * total / (high - low) / width, 0.0)


@compiled
def _layer_series(w: Window, slab: float, s: PlumeSource, sigma: float, b: float) -> float:
    """Cosine series of a slab between two reflecting planes, averaged over the window."""
    length = w.bottom_m - w.top_m
    narrow = length < NARROW * sigma
    middle = 0.5 * pi * (w.top_m + w.bottom_m) / b
    mc1, ms1 = (cos(middle), sin(middle)) if narrow else (1.0, 0.0)
    pc1, ps1 = cos(pi * slab / b), sin(pi * slab / b)
    ec1, es1 = pc1 * s.turn_cos - ps1 * s.turn_sin, ps1 * s.turn_cos + pc1 * s.turn_sin
    tc, ts, bc, bs = w.top_cos, w.top_sin, w.bottom_cos, w.bottom_sin
    mc, ms, pc, ps, ec, es = mc1, ms1, pc1, ps1, ec1, es1
    decay = exp(-0.5 * (pi * sigma / b) ** 2)
    fade, step, total, k = decay, decay**3, 0.5, 1
    while fade > _FADED:
        turn = k * pi / b
        share = (tc + 4 * mc + bc) / 6 if narrow else (bs - ts) / (turn * length)
        total += fade * share * (es - ps) / (turn * s.depth_m)
        fade, step, k = fade * step, step * decay * decay, k + 1
        tc, ts = tc * w.top_cos - ts * w.top_sin, ts * w.top_cos + tc * w.top_sin
        bc, bs = bc * w.bottom_cos - bs * w.bottom_sin, bs * w.bottom_cos + bc * w.bottom_sin
        if narrow:
            mc, ms = mc * mc1 - ms * ms1, ms * mc1 + mc * ms1
        pc, ps = pc * pc1 - ps * ps1, ps * pc1 + pc * ps1
        ec, es = ec * ec1 - es * es1, es * ec1 + ec * es1
    return 2 * total / b


@compiled
def layer_mean_of(w: Window, slab: float, s: PlumeSource, sigma: float, b: float) -> float:
    """:func:`riskmap.groundwater.slabs.layer_mean` of one window, per m.

    Parameters
    ----------
    w
        Screen of the well.
    slab
        Depth of the slab's top below the water table, m.
    s
        Source, for the depth of the slab.
    sigma
        Spread downwards, one standard deviation, m.
    b
        Thickness of the aquifer, m.
    """
    if sigma > MIXED_SIGMA * b:
        return 1.0 / b
    if sigma > SERIES_FROM * b and w.bottom_m > w.top_m:
        return max(_layer_series(w, slab, s, sigma, b), 0.0)
    low, high = slab, slab + s.depth_m
    total = window_mean_of(w.top_m, w.bottom_m, low, high, sigma)
    for image in range(-1, 2):
        shift = 2 * image * b
        if image != 0:
            total += window_mean_of(w.top_m, w.bottom_m, low + shift, high + shift, sigma)
        total += window_mean_of(w.top_m, w.bottom_m, shift - high, shift - low, sigma)
    return total


@compiled
def scaled_erfc(z: float) -> float:
    """exp(z^2) erfc(z) for z >= 0."""
    if z < 10.0:
        return exp(z * z) * erfc(z)
    term, total = 1.0, 1.0
    for k in range(1, 9):
        term *= -(2 * k - 1) / (2 * z * z)
        total += term
    return total / (z * sqrt(pi))


@compiled
def arrived_of(distance: float, time: float, age: float, along: float) -> float:
    """:func:`riskmap.groundwater.arrival.arrived_frac` of one pair.

    Parameters
    ----------
    distance, time
        Distance along the path, m, and advective travel time, days.
    age
        Time since the release began, days; NaN or negative: arrived long ago.
    along
        Dispersivity along the flow, m.
    """
    if not (age >= 0 and distance > 0 and time > 0):
        return 1.0
    moved = age * distance / time
    spread = 2 * sqrt(along * max(moved, 1e-12))
    ahead, behind = (distance - moved) / spread, (distance + moved) / spread
    if ahead < -6.5:
        return 1.0
    if ahead > 12.0:
        return 0.0
    second = exp(distance / along - behind * behind) * scaled_erfc(behind)
    return min(max(0.5 * erfc(ahead) + 0.5 * second, 0.0), 1.0)


@compiled
def left_of(distance: float, time: float, decay: float, along: float) -> float:
    """:func:`riskmap.groundwater.plume.left_after` of one point.

    Parameters
    ----------
    distance, time
        Distance along the path, m, and travel time, days.
    decay
        Rate of first-order decay, 1/day.
    along
        Dispersivity along the flow, m.
    """
    if decay == 0 or distance <= 0:
        return 1.0
    root = sqrt(1 + 4 * decay * along * time / distance)
    return exp(distance / (2 * along) * (1 - root))


@compiled
def _slab_top(time: float, depth: float, c: Scenario) -> float:
    return min(c.thickness_m * (1 - exp(-c.dive_1_d * time)), c.thickness_m - depth)


@compiled
def at_most(peak: float, gap: float, side: float, sigma: float, deep: float) -> float:
    """Bound on the addition: never above the slab's own density, nor above the tail's.

    Parameters
    ----------
    peak
        Load over flux, widened or narrowed by the streamtube, g/m2.
    gap
        Distance from the edge of the slab to the window that the well draws from, m, 0 or more.
    side, sigma
        Half the slab's width and its spread sideways, m.
    deep
        Bound on the vertical mean, 1/m.

    Returns
    -------
    float
        mg/L; the true addition is never more.
    """
    tail = exp(-0.5 * (gap / sigma) ** 2) / (sigma * _ROOT_2PI)
    return 1.0001 * peak * min(tail, 0.5 / side) * deep


@compiled
def pair_addition(row: Floats, w: Window, s: PlumeSource, c: Scenario) -> tuple[float, float]:
    """Nitrate added at one well, mg/L (0 below the least), and the travel time, d.

    Parameters
    ----------
    row
        What is kept of the pair (10,), see :data:`ROW`.
    w, s, c
        Its well, its source, and the numbers that all pairs share.
    """
    t, one = row[1], 1.0 - row[1]
    before, behind = row[4] * c.time_scale, row[5] * c.time_scale
    time, distance = before * one + behind * t, row[2] * one + row[3] * t
    if time > c.max_time_d * (1 + 1e-9):
        return 0.0, time
    first = sqrt(row[8] * c.across_m + (row[2] * c.doubt) ** 2)
    second = sqrt(row[9] * c.across_m + (row[3] * c.doubt) ** 2)
    reach = 0.5 * s.width_m * row[6] + REACH_SIGMAS * first
    reach = max(reach, 0.5 * s.width_m * row[7] + REACH_SIGMAS * second) + w.search_m
    offset = abs(row[0])
    if offset > reach:
        return 0.0, time
    sigma = max(first * one + second * t, 1e-9)
    down = sqrt(2 * c.down_m * row[2]) * one + sqrt(2 * c.down_m * row[3]) * t
    ratio = row[6] * one + row[7] * t
    side, peak = 0.5 * s.width_m * ratio, s.strength * ratio
    gap = max(offset - w.half_m - side, 0.0)
    # downwards: the slab's own density, or the greatest sum of the cosine series
    deep = min(1 / s.depth_m, 1 / c.thickness_m + 0.8 / max(down, 1e-9))
    if not (at_most(peak, gap, side, sigma, deep) >= c.least_mg_l):
        return 0.0, time
    slab = _slab_top(before, s.depth_m, c) * one + _slab_top(behind, s.depth_m, c) * t
    above = max(max(w.top_m - slab - s.depth_m, slab - w.bottom_m), 0.0) / max(down, 1e-9)
    if at_most(peak, gap, side, sigma, deep * exp(-0.5 * above * above)) < c.least_mg_l:
        return 0.0, time
    peak *= left_of(row[2], before, c.decay_1_d, c.along_m) * one + t * left_of(
        row[3], behind, c.decay_1_d, c.along_m
    )
    peak *= arrived_of(distance, time, s.age_d, c.along_m)
    if peak == 0:
        return 0.0, time
    peak *= window_mean_of(offset - w.half_m, offset + w.half_m, -side, side, sigma)
    if 1.0001 * peak * deep < c.least_mg_l:
        return 0.0, time
    added = peak * layer_mean_of(w, slab, s, down, c.thickness_m)
    return (added if added >= c.least_mg_l else 0.0), time
