"""From pairs to each system's receptors under one scenario, in one pass over the pairs."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, exp, log, pi, sin
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.compiled import compiled
from riskmap.contract.units import YEAR_D
from riskmap.groundwater.plume import source_size
from riskmap.groundwater.reach import search_margin_m
from riskmap.groundwater.rerun_geometry import PairGeometry
from riskmap.groundwater.rerun_kernel import PlumeSource, Scenario, Window, pair_addition
from riskmap.groundwater.score import HALF_TIME_D, SOON_D
from riskmap.groundwater.settings import GroundwaterSettings


@dataclass(frozen=True)
class PlumeSources:
    """Each system's plume at its start: ``strength`` is load over flux, g/m2; all (n,)."""

    strength: Floats
    width_m: Floats
    depth_m: Floats
    age_d: Floats


class Receptors(NamedTuple):
    """Of each system: what its wells' nearness leaves, wells within five years, most added."""

    left_frac: Floats
    wells_soon: Floats
    largest_mg_l: Floats


def sources_of(
    load_kg_yr: Floats, flux_m_d: Floats, field_width_m: Floats, age_yr: Floats,
    settings: GroundwaterSettings,
) -> PlumeSources:  # fmt: skip
    """Size each system's source; ``flux_m_d`` is the scenario's.

    Parameters
    ----------
    load_kg_yr
        Nitrogen that reaches the water table (n,), kg/yr; NaN reaches no well.
    flux_m_d
        Darcy flux at the source under the scenario's conductivity (n,), m/day.
    field_width_m
        Width of the field across the flow (n,), m; NaN: as in the settings.
    age_yr
        Age of the system (n,), yr; NaN: the plume arrived long ago.
    settings
        The scenario's.
    """
    load = load_kg_yr * 1000.0 / YEAR_D
    width = np.where(field_width_m > 0, field_width_m, settings.source_width_m)
    width, depth = source_size(load, flux_m_d, width, settings)
    return PlumeSources(load / flux_m_d, width, depth, age_yr * YEAR_D)


def scenario_of(settings: GroundwaterSettings, base: GroundwaterSettings) -> Scenario:
    """Gather the numbers that all pairs share, under a scenario's settings and the county's."""
    pores = settings.porosity_frac * settings.thickness_m
    return Scenario(
        time_scale=settings.porosity_frac / base.porosity_frac / speed_up(settings, base),
        max_time_d=settings.max_time_yr * YEAR_D,
        along_m=settings.dispersivity_along_m,
        across_m=settings.dispersivity_across_m,
        down_m=settings.dispersivity_down_m,
        doubt=float(np.tan(np.radians(settings.direction_sd_deg))),
        thickness_m=settings.thickness_m,
        dive_1_d=settings.recharge_m_yr / pores / YEAR_D,
        decay_1_d=settings.decay_1_d,
        least_mg_l=settings.least_added_mg_l,
    )


def speed_up(settings: GroundwaterSettings, base: GroundwaterSettings) -> float:
    """How many times faster water flows under a scenario's conductivity than under the county's."""
    return settings.conductivity_m_d / base.conductivity_m_d


def well_table(
    screen_top_m: Floats, screen_bottom_m: Floats, draw_m2: Floats, *, thickness_m: float,
    conductivity_factor: float,
) -> Floats:  # fmt: skip
    """Windows of the wells (w, 8), in the order of :class:`rerun_kernel.Window`.

    Parameters
    ----------
    screen_top_m, screen_bottom_m
        Depth window below the water table (w,), m, before it is cut to the aquifer.
    draw_m2
        Width of draw times length of screen under the county's own settings (w,), m2.
    thickness_m
        Of the aquifer in the scenario, m.
    conductivity_factor
        The scenario's conductivity over the county's.
    """
    b = thickness_m
    width = draw_m2 / (np.clip(screen_bottom_m - screen_top_m, 1.0, b) * conductivity_factor)
    top = np.clip(screen_top_m, 0.0, max(b - 1.0, 0.0))
    bottom = np.clip(screen_bottom_m, top, b)
    angles = np.pi * np.column_stack([top, bottom]) / b
    return np.column_stack(
        [
            top, bottom, 0.5 * width, search_margin_m(width)[1],
            np.cos(angles[:, 0]), np.sin(angles[:, 0]),
            np.cos(angles[:, 1]), np.sin(angles[:, 1]),
        ]
    )  # fmt: skip


@compiled
def _source(
    strength: float, width: float, depth: float, age: float, thickness: float
) -> PlumeSource:
    angle = pi * depth / thickness
    return PlumeSource(strength, width, depth, age, cos(angle), sin(angle))


@compiled
def _window(w: Floats) -> Window:
    return Window(w[0], w[1], w[2], w[3], w[4], w[5], w[6], w[7])


@compiled
def _sums(
    start: Whole, well: NDArray[np.int32], rows: Floats, wells: Floats,
    strength: Floats, width: Floats, depth: Floats, age: Floats, c: Scenario,
    soon_d: float, half_time_d: float,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    count = len(start) - 1
    left, soon, largest = np.ones(count), np.zeros(count), np.zeros(count)
    fade = log(2.0) / half_time_d
    for i in range(count):
        s = _source(strength[i], width[i], depth[i], age[i], c.thickness_m)
        for pair in range(start[i], start[i + 1]):
            added, time = pair_addition(rows[pair], _window(wells[well[pair]]), s, c)
            if added > 0:
                left[i] *= 1 - min(exp(-fade * time), 1 - 1e-12)
                soon[i] += 1.0 if time <= soon_d else 0.0
                largest[i] = max(largest[i], added)
    return left, soon, largest


@compiled
def _adds(
    start: Whole, well: NDArray[np.int32], rows: Floats, wells: Floats,
    strength: Floats, width: Floats, depth: Floats, age: Floats, c: Scenario,
    kept: NDArray[np.bool_],
) -> None:  # fmt: skip
    for i in range(len(start) - 1):
        s = _source(strength[i], width[i], depth[i], age[i], c.thickness_m)
        for pair in range(start[i], start[i + 1]):
            if not kept[pair]:
                added, _ = pair_addition(rows[pair], _window(wells[well[pair]]), s, c)
                kept[pair] = added > 0


def receptor_sums(
    pairs: PairGeometry, wells: Floats, sources: PlumeSources, scenario: Scenario
) -> Receptors:
    """Superpose what a scenario's plumes reach, by system.

    Parameters
    ----------
    pairs
        Pairs sorted by system.
    wells
        From :func:`well_table`.
    sources
        From :func:`sources_of`.
    scenario
        From :func:`scenario_of`.

    Returns
    -------
    Receptors
        Each (n,), in the order of the systems.
    """
    found = _sums(
        pairs.start, pairs.well, pairs.rows, wells, sources.strength, sources.width_m,
        sources.depth_m, sources.age_d, scenario, SOON_D, HALF_TIME_D,
    )  # fmt: skip
    return Receptors(*found)


@compiled
def _at_wells(
    start: Whole, well: NDArray[np.int32], rows: Floats, wells: Floats,
    strength: Floats, width: Floats, depth: Floats, age: Floats, c: Scenario,
) -> Floats:  # fmt: skip
    total = np.zeros(len(wells))
    for i in range(len(start) - 1):
        s = _source(strength[i], width[i], depth[i], age[i], c.thickness_m)
        for pair in range(start[i], start[i + 1]):
            added, _ = pair_addition(rows[pair], _window(wells[well[pair]]), s, c)
            if added > 0:
                total[well[pair]] += added
    return total


def well_sums(
    pairs: PairGeometry, wells: Floats, sources: PlumeSources, scenario: Scenario
) -> Floats:
    """Superpose what a scenario's plumes add at each well (w,), mg/L as N.

    Parameters
    ----------
    pairs, wells, sources, scenario
        As in :func:`receptor_sums`.
    """
    found: Floats = _at_wells(
        pairs.start, pairs.well, pairs.rows, wells, sources.strength, sources.width_m,
        sources.depth_m, sources.age_d, scenario,
    )  # fmt: skip
    return found


def mark_reached(
    pairs: PairGeometry, wells: Floats, sources: PlumeSources, scenario: Scenario,
    kept: NDArray[np.bool_],
) -> None:  # fmt: skip
    """Set ``kept`` (p,) true for the pairs that add the least amount or more.

    Parameters
    ----------
    pairs, wells, sources, scenario
        As in :func:`receptor_sums`.
    kept
        Changed in place; pairs already true are not looked at again.
    """
    _adds(
        pairs.start, pairs.well, pairs.rows, wells, sources.strength, sources.width_m,
        sources.depth_m, sources.age_d, scenario, kept,
    )  # fmt: skip
