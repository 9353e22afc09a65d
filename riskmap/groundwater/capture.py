"""Where a well's water comes from: fixed radius, and the zone in a uniform flow.

Sources: volumetric radius r = sqrt(Q t / (pi n H)) (35 Ill. Adm. Code 671, App. A); uniform flow
(Todd 1980, as in 35 IAC 671 App. C): stagnation point X = Q / (2 pi K b i) down-gradient, greatest
width Y = Q / (K b i), bounding curve x = -y / tan(2 pi K b i y / Q). Travel time on the axis: Bear
and Jacobs (1965, J. Hydrol. 3:37-57), from memory. All are screening zones: a delineation for
regulation needs a licensed hydrogeologist and local data.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from riskmap.contract.arrays import Floats

SIDE_POINTS: Final = 40
"""Points on each side of a zone: half round the well, half along the rest."""
_NEAR: Final = 3.0
_BISECTIONS: Final = 60


def fixed_radius_m(
    pumping_m3_d: ArrayLike, *, time_d: ArrayLike, porosity_frac: ArrayLike, thickness_m: ArrayLike
) -> Floats:
    """Radius of the cylinder that holds the water pumped in ``time_d``, m.

    Parameters
    ----------
    pumping_m3_d
        Pumping rate, m3/day; one number or one per well, as are the others.
    time_d
        Time of pumping, days.
    porosity_frac
        Effective porosity, above 0 and at most 1.
    thickness_m
        Length of the open interval or thickness of the aquifer that is drawn on, m.

    Examples
    --------
    >>> round(float(fixed_radius_m(19250, time_d=5*365, porosity_frac=.21, thickness_m=50)))
    1032
    """
    volume = np.asarray(pumping_m3_d, float) * np.asarray(time_d, float)
    pores = np.pi * np.asarray(porosity_frac, float) * np.asarray(thickness_m, float)
    return np.asarray(np.sqrt(volume / pores), float)


def stagnation_m(pumping_m3_d: ArrayLike, *, flux_m_d: ArrayLike, thickness_m: ArrayLike) -> Floats:
    """Distance down-gradient to the stagnation point, m.

    Parameters
    ----------
    pumping_m3_d, flux_m_d, thickness_m
        As in :func:`capture_width_m`, whose width this is over 2 pi; NaN where that is NaN.
    """
    return capture_width_m(pumping_m3_d, flux_m_d=flux_m_d, thickness_m=thickness_m) / (2 * np.pi)


def capture_width_m(
    pumping_m3_d: ArrayLike, *, flux_m_d: ArrayLike, thickness_m: ArrayLike
) -> Floats:
    """Greatest width of the capture zone far up-gradient, m; at the well it is half of that.

    Parameters
    ----------
    pumping_m3_d
        Pumping rate, m3/day.
    flux_m_d
        Darcy flux of the regional flow (K i), m/day.
    thickness_m
        Saturated thickness drawn on, m.

    Returns
    -------
    ndarray
        Q / (K b i); NaN where the flux or the thickness is not positive.
    """
    through = np.asarray(flux_m_d, float) * np.asarray(thickness_m, float)
    pumped = np.asarray(pumping_m3_d, float)
    return np.where(through > 0, pumped / np.where(through > 0, through, 1.0), np.nan)


def travel_time_on_axis_d(
    distance_m: ArrayLike, *, flux_m_d: ArrayLike, porosity_frac: ArrayLike, stagnation: ArrayLike
) -> Floats:
    """Time from a point ``distance_m`` up-gradient to the pumped well, d.

    Parameters
    ----------
    distance_m
        Distance up-gradient of the well, m, 0 or more.
    flux_m_d
        Darcy flux of the regional flow, m/day.
    porosity_frac
        Effective porosity, above 0 and at most 1.
    stagnation
        Distance to the stagnation point, m, from :func:`stagnation_m`; above 0.
    """
    x, x0 = np.asarray(distance_m, float), np.asarray(stagnation, float)
    velocity = np.asarray(flux_m_d, float) / np.asarray(porosity_frac, float)
    return np.asarray((x - x0 * np.log1p(x / x0)) / velocity, float)


def upgradient_length_m(
    time_d: ArrayLike, *, flux_m_d: ArrayLike, porosity_frac: ArrayLike, stagnation: ArrayLike
) -> Floats:
    """Distance on the axis from which water needs ``time_d`` to reach the well, m.

    Parameters
    ----------
    time_d
        Travel time, days.
    flux_m_d, porosity_frac, stagnation
        As in :func:`travel_time_on_axis_d`, which this inverts by bisection.
    """
    x0, velocity = np.asarray(stagnation, float), np.asarray(flux_m_d, float) / porosity_frac
    goal = np.asarray(time_d, float) * velocity
    low, high = np.zeros(np.shape(goal + x0)), goal + 4 * x0 + 2 * np.sqrt(goal * x0)
    high = high + x0 * np.log1p(high / x0)
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        short = middle - x0 * np.log1p(middle / x0) < goal
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.asarray(0.5 * (low + high), float)


def _angle_at(length: Floats, x0: Floats) -> Floats:
    """Solve -a / tan(a) = length / x0 for a in (0, pi)."""
    low, high = np.full(length.shape, 1e-9), np.full(length.shape, np.pi * (1 - 1e-12))
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        short = -middle / np.tan(middle) < length / x0
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.asarray(0.5 * (low + high), float)


def bounding_curve(
    length_m: ArrayLike, stagnation: ArrayLike, *, points: int = SIDE_POINTS
) -> tuple[Floats, Floats]:
    """Trace one side of the zone from the stagnation point to ``length_m`` up-gradient.

    Parameters
    ----------
    length_m
        Length of each zone up-gradient of its well (n,), m.
    stagnation
        Distance to the stagnation point (n,), m, from :func:`stagnation_m`.
    points
        Points on the side; the first half lies round the well, where the curve bends most.

    Returns
    -------
    tuple
        Up-gradient distance (negative below the well) and half-width, each (n, points), m.
    """
    length, x0 = np.atleast_1d(length_m).astype(float), np.atleast_1d(stagnation).astype(float)
    near = np.minimum(_NEAR * x0, length)
    head, tail = points // 2, points - points // 2
    angle = _angle_at(near, x0)[:, None] * np.linspace(0, 1, head)[None, :]
    far = near[:, None] + (length - near)[:, None] * np.linspace(0, 1, tail + 1)[None, 1:]
    angle = np.concatenate([angle, _angle_at(far, x0[:, None])], axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        along = np.where(angle > 0, -angle / np.tan(angle), -1.0) * x0[:, None]
    along[:, head:] = far
    return along, angle * x0[:, None]
