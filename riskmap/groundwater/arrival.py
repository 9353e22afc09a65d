"""How much of a steady plume has arrived: the front of a source that began some time ago.

Source: Ogata and Banks (1961, USGS Professional Paper 411-A). The steady plume is multiplied by
this share (Domenico 1987 keeps the leading term only; near the front that is approximate).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import erfc, erfcx

from riskmap.contract.arrays import Floats


def arrived_frac(
    distance_m: ArrayLike,
    travel_time_d: ArrayLike,
    age_d: ArrayLike,
    *,
    dispersivity_m: float,
    second_term: bool = True,
) -> Floats:
    """Concentration over that of a source without end, after ``age_d`` of release.

    Parameters
    ----------
    distance_m, travel_time_d
        Distance along the path, m, and advective travel time, d; their ratio is the velocity.
    age_d
        Time since the release began, d. NaN or negative: not known, taken as long ago (1).
    dispersivity_m
        Along the flow, m.
    second_term
        Ogata and Banks' second term (a source held at a constant concentration); without it the
        leading term of Domenico.

    Returns
    -------
    ndarray
        0..1; 1 at the source itself.

    >>> round(float(arrived_frac(50.0, 250.0, 250.0, dispersivity_m=10.0)), 6)
    0.616163
    """
    x, travel, age = (np.asarray(p, float) for p in (distance_m, travel_time_d, age_d))
    known = (age >= 0) & (x > 0) & (travel > 0)
    shape = known.shape
    x, travel = np.where(known, x, 1.0), np.where(known, travel, 1.0)
    moved = np.where(known, age, 1.0) * x / travel
    spread = 2 * np.sqrt(dispersivity_m * np.maximum(moved, 1e-12))
    share = 0.5 * erfc((x - moved) / spread)
    if second_term:
        behind = (x + moved) / spread
        # exp(x/a) erfc(b) written with the scaled function, which does not overflow
        share = share + 0.5 * np.exp(x / dispersivity_m - behind**2) * erfcx(behind)
    return np.where(known, np.clip(share, 0.0, 1.0), np.ones(shape))
