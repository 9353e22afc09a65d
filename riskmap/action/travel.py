"""How far it is between places: by straight lines, longer by a published circuity."""

from __future__ import annotations

from dataclasses import dataclass

from scipy.spatial.distance import cdist

from riskmap.contract.arrays import Floats


@dataclass(frozen=True)
class Travel:
    """Way between places, (n, n): ``way_m`` in meters and ``minutes``. ``by`` says how known."""

    way_m: Floats
    minutes: Floats
    by: str


def straight(points: Floats, *, circuity: float, speed_km_h: float) -> Travel:
    """Way by straight lines times a circuity.

    Parameters
    ----------
    points
        (n, 2) easting and northing, m.
    circuity
        Road over straight line.
    speed_km_h
        Driving speed.

    Examples
    --------
    >>> import numpy as np
    >>> there = straight(np.array([[0.0, 0.0], [3000.0, 4000.0]]), circuity=1.2, speed_km_h=60)
    >>> there.way_m[0, 1].item(), there.minutes[0, 1].item()
    (6000.0, 6.0)
    """
    return at_speed(cdist(points, points) * circuity, speed_km_h, "straight lines")


def at_speed(way_m: Floats, speed_km_h: float, by: str) -> Travel:
    """Travel of known length at one speed."""
    return Travel(way_m, way_m / (speed_km_h * 1000 / 60), by)
