"""How the mat grows, when the field will fail, and what would help.

Own formulation. With the load ratio L (flow over long-term capacity), the waste's strength s and
the neglect of the tank e (0 kept, 1 never pumped), after t years::

    maturity m = 1 - exp(-s L t / T)                          T = maturing_yr
    solids   x = solids_gain * e * L * t / T
    resistance = R0 + s (Rm - R0) m + Rm x

The biological part of the mat comes to a balance (m = 1 is the mature mat Rm); solids carried over
from a neglected tank do not decay and add without end. In a pit the mat closes the bottom first and
climbs the wall to the height inlet * m**3. ``maturing_yr`` and ``solids_gain`` are settings of the
``[failure]`` section.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from riskmap.contract.arrays import Floats
from riskmap.failure.clogging import Ponding, Surface, flow_out, pond, surface_parts
from riskmap.failure.root import find_root
from riskmap.failure.settings import USUAL, FailureSettings

STRESS_RESERVE: Final = 0.25
"""Reserve below which a field counts as stressed (own choice)."""
LOOK_AHEAD_YR: Final = 100.0
"""Years are counted up to here; the figure itself means "this long or longer"."""
REST_YR: Final = 1.0
"""Length of a rest (common practice: six months to a year, no source)."""
REST_DECAY_YR: Final = 0.5
"""Time in which a resting mat's biological part falls to 37% (own choice)."""


@dataclass(frozen=True)
class Load:
    """What a field has to take; arrays of shape (n,).

    ``neglect`` is 0 for a tank pumped on time to 1 for one never pumped.
    """

    inflow_m3_d: Floats
    load_ratio: Floats
    neglect: Floats
    strength: Floats


@dataclass(frozen=True)
class Mat:
    """State of the mats of n systems: ``maturity`` 0 to 1, ``solids`` in mature resistances.

    ``mature_d`` is the mature mat's resistance; ``climb_m`` the height the mat climbs to, inf where
    bottom and wall clog together.
    """

    maturity: Floats
    solids: Floats
    mature_d: Floats
    climb_m: Floats


@dataclass(frozen=True)
class Outlook:
    """Today's pond and what is to come; arrays of shape (n,). Years are capped at LOOK_AHEAD_YR."""

    ponding: Ponding
    reserve_frac: Floats
    resistance_d: Floats
    years_to_stressed_yr: Floats
    years_to_failed_yr: Floats
    years_gained_half_flow_yr: Floats
    years_gained_pumping_yr: Floats
    years_gained_resting_yr: Floats
    half_flow_ponding_m: Floats
    rested_ponding_m: Floats


def grown_mat(
    age_yr: Floats,
    load: Load,
    *,
    mature_d: Floats,
    climb_m: Floats,
    physics: FailureSettings = USUAL,
) -> Mat:
    """Grow the mat for `age_yr` years under a constant load.

    Parameters
    ----------
    age_yr
        Years in use (n,).
    load
        Load over all these years.
    mature_d
        Resistance of the mature mat (n,), days.
    climb_m
        Height on the wall that the mat grows to (n,), m; inf: bottom and wall clog together.
    physics
        Pace of growth and gain of solids.
    """
    pace = load.strength * load.load_ratio / physics.maturing_yr
    solids = physics.solids_gain * load.neglect * load.load_ratio * age_yr / physics.maturing_yr
    return Mat(-np.expm1(-pace * age_yr), solids, mature_d, climb_m)


def rested(mat: Mat, *, rest_yr: float = REST_YR) -> Mat:
    """Let the mat rest: its biological part decays, its solids stay."""
    return replace(mat, maturity=mat.maturity * np.exp(-rest_yr / REST_DECAY_YR))


def resistance_and_front(
    mat: Mat, surface: Surface, load: Load, *, physics: FailureSettings = USUAL
) -> tuple[Floats, Floats]:
    """Resistance (days) and height of the mat on the wall (m) of today's mat.

    Parameters
    ----------
    mat, surface, load
        The n mats, the surfaces they lie on, and today's load.
    physics
        Pace of growth and gain of solids.

    Returns
    -------
    tuple
        Both (n,); the height is inf where bottom and wall clog together.
    """
    return _state(_growth(mat, surface, load, physics), np.zeros_like(mat.maturity))


def _growth(mat: Mat, surface: Surface, load: Load, physics: FailureSettings) -> tuple[Floats, ...]:
    pace = load.strength * load.load_ratio / physics.maturing_yr
    solids_pace = physics.solids_gain * load.neglect * load.load_ratio / physics.maturing_yr
    full = load.strength * (mat.mature_d - surface.young_d)
    climb = mat.climb_m
    start = surface.young_d + mat.mature_d * mat.solids
    return mat.maturity, pace, full, start, mat.mature_d * solids_pace, climb


def _state(growth: tuple[Floats, ...], years: Floats) -> tuple[Floats, Floats]:
    maturity, pace, full, start, solids_pace, climb = growth
    grown = 1.0 - (1.0 - maturity) * np.exp(-pace * years)
    front = np.full_like(climb, np.inf)
    np.multiply(climb, grown**3, out=front, where=np.isfinite(climb))
    return start + full * grown + solids_pace * years, front


def years_until(
    head_m: Floats,
    mat: Mat,
    surface: Surface,
    load: Load,
    *,
    physics: FailureSettings = USUAL,
    look_ahead_yr: float = LOOK_AHEAD_YR,
) -> Floats:
    """Years from now until effluent ponds `head_m` deep.

    Parameters
    ----------
    head_m
        Depth on the bottom (n,), m.
    mat, surface, load
        The n mats today, their surfaces, and the load from now on.
    physics
        Pace of growth, gain of solids, exponent of the soil's conductivity.
    look_ahead_yr
        Longest time looked at, years.

    Returns
    -------
    ndarray
        (n,); 0 where the pond is that deep today, `look_ahead_yr` where it will not be within that
        time, NaN where an input is NaN.
    """
    arrays = (
        load.inflow_m3_d,
        head_m,
        *_growth(mat, surface, load, physics),
        *surface_parts(surface),
    )

    def spare(years: Floats, inflow: Floats, head: Floats, *rest: Floats) -> Floats:
        resistance, front = _state(rest[:6], years)
        out = flow_out(head, resistance, front, *rest[6:], alpha_per_m=physics.alpha_per_m)
        return out - inflow

    now = spare(np.zeros_like(head_m), *arrays)
    end = spare(np.full_like(head_m, look_ahead_yr), *arrays)
    years = np.where(now < 0, 0.0, np.where(end >= 0, look_ahead_yr, np.nan))
    years[np.isnan(now)] = np.nan
    between = (now >= 0) & (end < 0)
    if between.any():
        low = np.zeros(int(between.sum()))
        chosen = tuple(a[between] for a in arrays)
        years[between] = find_root(
            spare, low, np.full_like(low, look_ahead_yr), chosen, x_tolerance=1e-9
        )
    return years


def outlook(mat: Mat, surface: Surface, load: Load, *, physics: FailureSettings = USUAL) -> Outlook:
    """Today's pond, the years left, and what half the flow, pumping or a rest would change.

    Parameters
    ----------
    mat, surface, load
        The n mats today, their surfaces, and the load.
    physics
        The settings of the ``[failure]`` section.
    """
    inlet = surface.inlet_m
    stressed = (1.0 - STRESS_RESERVE) * inlet
    half = replace(load, inflow_m3_d=load.inflow_m3_d / 2, load_ratio=load.load_ratio / 2)
    kept = replace(load, neglect=0.0 * load.neglect)
    fresh = rested(mat)

    def left(head: Floats, then: Load, start: Mat) -> Floats:
        return years_until(head, start, surface, then, physics=physics)

    def depth(then: Load, start: Mat) -> Ponding:
        state = resistance_and_front(start, surface, then, physics=physics)
        return pond(then.inflow_m3_d, *state, surface, alpha_per_m=physics.alpha_per_m)

    def gained(then: Load, start: Mat) -> Floats:
        return np.maximum(left(inlet, then, start) - to_failed, 0.0)

    today, to_failed = depth(load, mat), left(inlet, load, mat)
    return Outlook(
        ponding=today,
        reserve_frac=np.clip(1.0 - today.head_m / inlet, 0.0, 1.0),
        resistance_d=resistance_and_front(mat, surface, load, physics=physics)[0],
        years_to_stressed_yr=left(stressed, load, mat),
        years_to_failed_yr=to_failed,
        years_gained_half_flow_yr=gained(half, mat),
        years_gained_pumping_yr=gained(kept, mat),
        years_gained_resting_yr=gained(load, fresh),
        half_flow_ponding_m=depth(half, mat).head_m,
        rested_ponding_m=depth(load, fresh).head_m,
    )
