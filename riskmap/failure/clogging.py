"""How deep effluent ponds in a field: a clogging mat on bottom and wall, inflow against outflow.

This is our own formulation of well-known parts: Darcy's law through a mat into unsaturated soil
(:mod:`riskmap.failure.soil_hydraulics`), water that goes out through the bottom and the wetted
wall, and a mature mat whose resistance is whatever makes a full field of standard shape pass the
long-term acceptance rate of its soil. The mat's growth is in :mod:`riskmap.failure.mat`.

All of it is screening for ranking: nothing certain follows for one system.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from riskmap.contract.arrays import Floats
from riskmap.failure.root import find_root
from riskmap.failure.settings import USUAL
from riskmap.failure.soil_hydraulics import bottom_and_wall, flux_ceiling_m_d

MAT_THICKNESS_M: Final = 0.05
"""Thickness of soil in which the mat forms: bands of 1 to 5 cm are reported by practitioners."""
LEAST_MAT_FACTOR: Final = 10.0
"""A mature mat conducts at most a tenth of its soil: Bumgarner & McCray (2007, Water Res. 41:2349)
found biozones 1 to 3 orders of magnitude below native."""
HIGHEST_RESISTANCE_D: Final = 1e6
"""Upper end of the search for a resistance, days."""


@dataclass(frozen=True)
class Surface:
    """Infiltrative surfaces of n systems; every array of shape (n,).

    ``bottom_m2``: bottom area; ``wall_m``: length of wall along which effluent can pond;
    ``inlet_m``: inlet above the bottom; ``brim_m``: height at which effluent surfaces;
    ``separation_m``: bottom above seasonal water, negative below it, inf if there is none;
    ``ksat_m_d``: the soil's saturated conductivity.
    """

    bottom_m2: Floats
    wall_m: Floats
    inlet_m: Floats
    brim_m: Floats
    separation_m: Floats
    ksat_m_d: Floats

    @property
    def young_d(self) -> Floats:
        """Resistance of the unclogged soil skin: its thickness over its conductivity, days."""
        return MAT_THICKNESS_M / self.ksat_m_d


@dataclass(frozen=True)
class Ponding:
    """Where inflow and outflow balance; arrays of shape (n,).

    ``head_m``: depth of effluent on the bottom; ``infiltrated_m3_d`` and ``surfaced_m3_d``: where
    the inflow goes (their sum is the inflow).
    """

    head_m: Floats
    infiltrated_m3_d: Floats
    surfaced_m3_d: Floats


def outflow_m3_d(
    head_m: Floats,
    resistance_d: Floats,
    front_m: Floats,
    surface: Surface,
    *,
    alpha_per_m: float = USUAL.alpha_per_m,
) -> Floats:
    """Outflow under a pond of depth `head_m`, m3/day.

    Parameters
    ----------
    head_m
        Depth of effluent on the bottom (n,), m.
    resistance_d
        Resistance of the mat on the bottom, and on the wall up to `front_m` (n,), days.
    front_m
        Height of the mat on the wall (n,), m; above it the wall is clean. inf: the whole wall.
    surface
        The n surfaces.
    alpha_per_m
        Exponent of the soil's conductivity, 1/m.
    """
    arrays = (resistance_d, front_m, *surface_parts(surface))
    return flow_out(np.asarray(head_m, float), *arrays, alpha_per_m=alpha_per_m)


def surface_parts(surface: Surface) -> tuple[Floats, ...]:
    """Arrays of a surface in the order that :func:`flow_out` takes them."""
    s = surface
    return s.bottom_m2, s.wall_m, s.separation_m, s.ksat_m_d, s.young_d


def flow_out(
    head: Floats,
    resistance: Floats,
    front: Floats,
    bottom: Floats,
    wall: Floats,
    separation: Floats,
    ksat: Floats,
    young: Floats,
    *,
    alpha_per_m: float,
) -> Floats:
    """Outflow from bare arrays, m3/day; the form that root finding calls.

    Parameters
    ----------
    head, resistance, front
        As in :func:`outflow_m3_d`, each (n,).
    bottom, wall, separation, ksat, young
        From :func:`surface_parts`.
    alpha_per_m
        Exponent of the soil's conductivity, 1/m.

    Returns
    -------
    ndarray
        (n,); NaN where an input is NaN.
    """
    ceiling = flux_ceiling_m_d(head, resistance, ksat, separation)
    down, out = bottom_and_wall(head, resistance, ksat, ceiling, alpha_per_m=alpha_per_m)
    clean = head > front
    if clean.any():
        top, k, above = (head - front)[clean], ksat[clean], separation[clean]
        matted, bare = resistance[clean], young[clean]
        high = flux_ceiling_m_d(head[clean], bare, k, above)
        _, gained = bottom_and_wall(top, bare, k, high, alpha_per_m=alpha_per_m)
        _, lost = bottom_and_wall(top, matted, k, ceiling[clean], alpha_per_m=alpha_per_m)
        out[clean] += gained - lost
    return np.asarray(bottom * down + wall * out, float)


def pond(
    inflow_m3_d: Floats,
    resistance_d: Floats,
    front_m: Floats,
    surface: Surface,
    *,
    alpha_per_m: float = USUAL.alpha_per_m,
) -> Ponding:
    """Find the depth at which what flows in flows out.

    Three cases: the bottom alone takes the inflow (head 0); some depth below the brim balances it;
    not even a full field takes it (head at the brim, the rest surfaces).

    Parameters
    ----------
    inflow_m3_d
        Daily flow (n,), m3/day.
    resistance_d, front_m, surface, alpha_per_m
        As in :func:`outflow_m3_d`.

    Returns
    -------
    Ponding
        NaN where an input is NaN.
    """
    arrays = (resistance_d, front_m, *surface_parts(surface))

    def excess(head: Floats, inflow: Floats, *parts: Floats) -> Floats:
        return flow_out(head, *parts, alpha_per_m=alpha_per_m) - inflow

    dry = np.zeros_like(inflow_m3_d)
    at_dry = excess(dry, inflow_m3_d, *arrays)
    at_brim = excess(surface.brim_m, inflow_m3_d, *arrays)
    head = np.where(at_dry >= 0, 0.0, np.where(at_brim <= 0, surface.brim_m, np.nan))
    head[np.isnan(at_dry)] = np.nan
    between = (at_dry < 0) & (at_brim > 0)
    if between.any():
        chosen = tuple(a[between] for a in (inflow_m3_d, *arrays))
        head[between] = find_root(
            excess, dry[between], surface.brim_m[between], chosen, f_tolerance=1e-12 * chosen[0]
        )
    out = flow_out(head, *arrays, alpha_per_m=alpha_per_m)
    infiltrated = np.where(at_dry >= 0, inflow_m3_d, out)
    surfaced = np.where(at_brim < 0, inflow_m3_d - out, 0.0 * head)
    return Ponding(head, infiltrated, surfaced)


def mature_resistance_d(
    accept_m_d: Floats, standard: Surface, *, alpha_per_m: float = USUAL.alpha_per_m
) -> Floats:
    """Resistance of a mature mat, days.

    The resistance at which a full field of standard shape, far above the water table, passes the
    acceptance rate of its soil; at least `LEAST_MAT_FACTOR` times the clean soil's.

    Parameters
    ----------
    accept_m_d
        Long-term acceptance rate (n,), m3 per day and counted square meter.
    standard
        The n fields cut down to one counted square meter, with ``separation_m`` inf.
    alpha_per_m
        Exponent of the soil's conductivity, 1/m.
    """
    still = np.full_like(accept_m_d, np.inf)
    parts = (standard.inlet_m, still, *surface_parts(standard))

    def excess(log_resistance: Floats, accept: Floats, head: Floats, *rest: Floats) -> Floats:
        return flow_out(head, np.exp(log_resistance), *rest, alpha_per_m=alpha_per_m) - accept

    low = np.log(standard.young_d)
    high = np.full_like(low, np.log(HIGHEST_RESISTANCE_D))
    fit = (excess(low, accept_m_d, *parts) > 0) & (excess(high, accept_m_d, *parts) < 0)
    found = low.copy()
    if fit.any():
        chosen = tuple(a[fit] for a in (accept_m_d, *parts))
        found[fit] = find_root(excess, low[fit], high[fit], chosen, x_tolerance=1e-12)
    return np.asarray(np.maximum(np.exp(found), LEAST_MAT_FACTOR * standard.young_d), float)
