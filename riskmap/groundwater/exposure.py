"""Nitrate that the systems around a well are expected to add, over the doubt of the flow.

One plume by the best guess of direction and speed mostly misses a well: mapped septic plumes are
narrow and thin. What is expected, over the doubt of where the water goes and how fast, is a fan. A
system's water passes a well at a distance d in a direction whose angle from the guess has the
density p, so a meter of width gets the share p / d of its load, diluted in the flux q of ground
water. Rain sinks in behind it and presses it down, by recharge x d / q (Vogel 1967 age profile, as
in :mod:`riskmap.groundwater.plume`); about that depth it is spread by :data:`DEPTH_SD_M`. The flux
is taken at the middles of :data:`SPEEDS` equal parts of the belief about the conductivity, each
counting the same. A system that is younger than its water needs adds nothing.
"""

from __future__ import annotations

from math import atan2, erfc, exp, hypot, pi, sqrt
from typing import Final, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.compiled import compiled
from riskmap.contract.settings import settings_of
from riskmap.contract.units import YEAR_D
from riskmap.groundwater.gradient import FlowField
from riskmap.groundwater.screens import column
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.spatial.neighbors import bin_width_m, bins_of_points

REACH_M: Final = 500.0
"""Systems further away are not summed (assumption of this project)."""
LEAST_M: Final = 15.0
"""Nearer systems count as at this distance, about the width of a field (assumption)."""
ASTRAY_FRAC: Final = 0.15
"""Share of places where the guessed direction is worth nothing (assumption)."""
DEPTH_SD_M: Final = 3.0
"""Doubt of a plume's depth and of what a pumped screen draws from above and below (assumption)."""
TOP_M: Final = 5.0
"""The uppermost water, of which every well may draw a share along its casing (assumption)."""
LEAST_FLUX_FRAC: Final = 0.2
"""Least flux at a well, as a share of the county's usual one."""
SPEEDS: Final = 5
EXPOSURE_COLUMNS: Final = ("expected_at_screen_mg_l", "expected_on_top_mg_l")


class _Water(NamedTuple):
    spread: float
    recharge_m_d: float
    porosity: float
    thickness_m: float


@compiled
def _below(z: float) -> float:
    return 0.5 * erfc(-z / sqrt(2.0))


@compiled
def _per_m(middle: float, top: float, bottom: float) -> float:
    """Share of a plume for each meter of a window; the water table reflects."""
    total = 0.0
    for center in (middle, -middle):
        total += _below((bottom - center) / DEPTH_SD_M) - _below((top - center) / DEPTH_SD_M)
    return total / (bottom - top)


@compiled
def _sums(
    systems: Floats, wells: Floats, speeds: Floats, water: _Water, order: Whole, start: Whole,
    edges: tuple[float, float, float], shape: tuple[int, int],
) -> NDArray[np.float64]:  # fmt: skip
    found = np.zeros((len(wells), 2))
    west, south, width = edges
    columns, rows = shape
    for w in range(len(wells)):
        wx, wy, way, flux, top, bottom = wells[w]
        first_column = max(int((wx - REACH_M - west) // width), 0)
        last_column = min(int((wx + REACH_M - west) // width), columns - 1)
        first_row = max(int((wy - REACH_M - south) // width), 0)
        last_row = min(int((wy + REACH_M - south) // width), rows - 1)
        for row in range(first_row, last_row + 1):
            if last_column < first_column:
                continue
            begin = start[row * columns + first_column]
            for place in range(begin, start[row * columns + last_column + 1]):
                x, y, load, age = systems[order[place]]
                away = hypot(wx - x, wy - y)
                if away > REACH_M:
                    continue
                chance = 1 / (2 * pi)
                if not np.isnan(way):
                    turn = abs(atan2(wy - y, wx - x) - way)
                    turn = min(turn, 2 * pi - turn)
                    fan = exp(-0.5 * (turn / water.spread) ** 2) / (sqrt(2 * pi) * water.spread)
                    chance = ASTRAY_FRAC * chance + (1 - ASTRAY_FRAC) * fan
                away = max(away, LEAST_M)
                for factor in speeds:
                    q = flux * factor
                    if age * q < away * water.porosity:
                        continue
                    part = load * chance / (q * away) / len(speeds)
                    deep = water.thickness_m * (
                        1 - exp(-water.recharge_m_d * away / (q * water.thickness_m))
                    )
                    found[w, 0] += part * _per_m(deep, top, bottom)
                    found[w, 1] += part * _per_m(deep, 0.0, TOP_M)
    return found


def speeds() -> Floats:
    """Factors on the conductivity: the middles of equal parts of the belief about it."""
    belief = settings_of(GroundwaterSettings)["conductivity_m_d"].beliefs[0]
    return belief.at(ndtri((np.arange(SPEEDS) + 0.5) / SPEEDS))


def exposure(
    systems: pd.DataFrame, wells: pd.DataFrame, *, load_kg_yr: Floats,
    screen_m: tuple[Floats, Floats], flow: FlowField, settings: GroundwaterSettings,
) -> pd.DataFrame:  # fmt: skip
    """Sum what the systems within 500 m are expected to add at each well.

    Parameters
    ----------
    systems
        ``x_m``, ``y_m``, ``age_yr`` (n,): since when the plume has been fed; NaN: long ago. Those
        without a place are left out.
    wells
        ``x_m``, ``y_m`` (w,); NaN gives NaN.
    load_kg_yr
        Nitrogen of each system that reaches the water table (n,), kg/yr; NaN counts as 0.
    screen_m
        Top and bottom of what each well draws on, m below the water table, each (w,).
    flow
        Gives direction and flux at each well; where it has none the direction is taken as unknown
        and the flux as the usual one.
    settings
        Doubt of the direction, recharge, porosity, thickness.

    Returns
    -------
    DataFrame
        (w,) ``expected_at_screen_mg_l`` and ``expected_on_top_mg_l`` (what the uppermost five
        meters would hold), mg/L as N, in the index of ``wells``.
    """
    x, y = column(systems, "x_m"), column(systems, "y_m")
    known = np.isfinite(x) & np.isfinite(y)
    age_d = np.nan_to_num(column(systems, "age_yr") * YEAR_D, nan=np.inf)
    load_g_d = np.nan_to_num(load_kg_yr) * 1000.0 / YEAR_D
    place = np.column_stack([column(wells, "x_m"), column(wells, "y_m")])
    placed = np.isfinite(place).all(axis=1)
    sums = np.full((len(wells), 2), np.nan)
    sums[placed] = 0.0
    usual = float(np.nanmedian(flow.flux_m_d)) if np.isfinite(flow.flux_m_d).any() else 0.0
    if placed.any() and known.any() and usual > 0:
        table = np.column_stack([x, y, load_g_d, age_d])[known]
        px, py = np.ascontiguousarray(table[:, 0]), np.ascontiguousarray(table[:, 1])
        width = bin_width_m(px, py, REACH_M / 2)
        order, start, west, south, columns, rows = bins_of_points(px, py, width)
        top, bottom = screen_m
        seen = np.column_stack(
            [place, *_ways(flow, place, usual), top, np.maximum(bottom, top + 1.0)]
        )
        water = _Water(
            max(np.radians(settings.direction_sd_deg), 0.02), settings.recharge_m_yr / YEAR_D,
            settings.porosity_frac, settings.thickness_m,
        )  # fmt: skip
        sums[placed] = _sums(
            table, np.ascontiguousarray(seen[placed]), speeds(), water, order, start,
            (west, south, width), (columns, rows),
        )  # fmt: skip
    return pd.DataFrame(sums, wells.index, list(EXPOSURE_COLUMNS))


def _ways(flow: FlowField, place: Floats, usual: float) -> tuple[Floats, Floats]:
    """Way of the water at each well, radians from east (NaN: none), and its flux, m/day."""
    east, north, flux = (
        flow.grid.with_values(values).sample(place[:, 0], place[:, 1])
        for values in (flow.east_frac, flow.north_frac, flow.flux_m_d)
    )
    way = np.where(np.hypot(east, north) > 0, np.arctan2(north, east), np.nan)
    return way, np.maximum(np.where(np.isfinite(flux), flux, usual), LEAST_FLUX_FRAC * usual)
