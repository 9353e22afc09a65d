"""Flow through a clogging mat into unsaturated soil, in closed form.

Darcy's law through a mat of resistance R (days) under a head s (m) of effluent, with a suction psi
(m) below it::

    q R = s + psi(q)

and below the mat gravity flow at unit gradient, so that the soil conducts exactly q::

    q = Ks exp(-alpha psi)        (exponential conductivity, Gardner 1958)

Together q R = s + ln(Ks / q) / alpha, solved by the Wright omega function (omega + ln omega = y;
Corless & Jeffrey 2002): q = omega(alpha s + ln(alpha R Ks)) / (alpha R). That closed form is our
own derivation. The suction is never more than the height above the water table allows, and the
flux never more than Ks.
"""

from __future__ import annotations

from typing import cast

import numpy as np
import numpy.typing as npt
from scipy.special import wrightomega

from riskmap.contract.arrays import Floats


def omega(y: npt.ArrayLike) -> Floats:
    """Solve omega + ln(omega) = y for real y."""
    return cast(Floats, wrightomega(np.asarray(y, float)))


def suction_m(flux_m_d: npt.ArrayLike, ksat_m_d: npt.ArrayLike, *, alpha_per_m: float) -> Floats:
    """Suction at which the soil conducts `flux_m_d` at unit gradient, m.

    Parameters
    ----------
    flux_m_d
        Flux through the soil, m/day, above 0.
    ksat_m_d
        Saturated conductivity, m/day.
    alpha_per_m
        Exponent of the soil's conductivity, 1/m.

    Returns
    -------
    ndarray
        0 where the flux is that of saturated soil or more.

    Examples
    --------
    >>> round(float(suction_m(0.5, 1.0, alpha_per_m=12.0)), 6)
    0.057762
    """
    ratio = np.asarray(ksat_m_d, float) / np.asarray(flux_m_d, float)
    return np.asarray(np.maximum(np.log(ratio), 0.0) / alpha_per_m, float)


def flux_ceiling_m_d(
    head_m: Floats, resistance_d: Floats, ksat_m_d: Floats, separation_m: Floats
) -> Floats:
    """Upper limit of the flux under a pond, m/day: Ks, or what the water table leaves.

    Parameters
    ----------
    head_m
        Depth of effluent on the surface (n,), m.
    resistance_d
        Resistance of the mat (n,), days.
    ksat_m_d
        Saturated conductivity of the soil (n,), m/day.
    separation_m
        Height of the surface above the water table (n,), m, negative below it, inf without one.
    """
    return np.minimum(ksat_m_d, np.maximum(head_m + separation_m, 0.0) / resistance_d)


def bottom_and_wall(
    head_m: Floats,
    resistance_d: Floats,
    ksat_m_d: Floats,
    ceiling_m_d: Floats,
    *,
    alpha_per_m: float,
) -> tuple[Floats, Floats]:
    """Flux through the bottom (m/d) and, per meter of wall length, through the wetted wall (m2/d).

    The wall at local head s passes the same flux as a bottom under that head; the sum over the
    wetted height is the integral of min(omega(alpha s + c) / (alpha R), ceiling) from 0 to
    `head_m`, in closed form because the integral of omega is omega + omega**2 / 2.

    Parameters
    ----------
    head_m, resistance_d, ksat_m_d
        As in :func:`flux_ceiling_m_d`; all of one shape, `head_m` at least 0.
    ceiling_m_d
        From :func:`flux_ceiling_m_d`.
    alpha_per_m
        Exponent of the soil's conductivity, 1/m.
    """
    scale = alpha_per_m * resistance_d
    shift = np.log(scale * ksat_m_d)
    at_top = omega(shift)
    at_bottom = omega(alpha_per_m * head_m + shift)
    turn = np.clip(scale * ceiling_m_d, at_top, at_bottom)
    with np.errstate(divide="ignore"):
        suction = (np.log(ksat_m_d) - np.log(ceiling_m_d)) / alpha_per_m
    turn_head = ceiling_m_d * resistance_d - suction
    below = np.clip(turn_head, 0.0, head_m)
    grown = (turn - at_top) * (1 + (turn + at_top) / 2)
    wall = grown / (alpha_per_m * scale) + ceiling_m_d * (head_m - below)
    return np.minimum(at_bottom / scale, ceiling_m_d), wall
