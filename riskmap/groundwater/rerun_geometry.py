"""Which wells each system could ever reach, and the path between them: found once for all re-runs.

Path lines do not change with one conductivity, porosity or thickness for all, nor with any load; so
the foot of each well on each path is kept with what the plume's formulas need there. Paths are
searched more widely than an assessment does, and those that the longest time cut short are followed
further, so that faster water and wider plumes find their wells among these pairs. Pairs that stay
below the least addition in every one of the ``corners`` are dropped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.units import YEAR_D
from riskmap.groundwater.gradient import FlowField
from riskmap.groundwater.paths import TIME, WATER, Paths, trace_paths
from riskmap.groundwater.plume import Plumes, shape_plumes, spread_m2_per_m
from riskmap.groundwater.reach import PathPairs, pairs_by_width
from riskmap.groundwater.rerun_kernel import ROW
from riskmap.groundwater.screens import column
from riskmap.groundwater.settings import GroundwaterSettings

FURTHER: Final = 8.0
"""How many times the longest time paths are followed for (water that much faster)."""


@dataclass(frozen=True)
class PairGeometry:
    """Pairs sorted by system, then well; those of system ``i`` are ``start[i]:start[i + 1]``.

    ``well`` (p,); ``rows`` (p, 10), see :data:`riskmap.groundwater.rerun_kernel.ROW`. Per system:
    ``flux_m_d`` at the source and ``water_time_d`` to the surface water that its path ends in (NaN
    if none), both under the assessment's own numbers.
    """

    start: Whole
    well: NDArray[np.int32]
    rows: Floats
    flux_m_d: Floats
    water_time_d: Floats


@dataclass(frozen=True)
class Search:
    """Where and how to search: the systems' places and field widths, the wells, how widely.

    ``wide``: settings of the widest plumes to look for; ``wide_load``: factor on the load and
    ``wide_draw``: on the wells' width of draw.
    """

    systems: pd.DataFrame
    flow: FlowField
    settings: GroundwaterSettings
    water_id: ArrayLike | None
    well_x_m: Floats
    well_y_m: Floats
    draw_m: Floats
    wide: GroundwaterSettings
    wide_load: float
    wide_draw: float


def pair_rows(paths: Paths, plumes: Plumes, pairs: PathPairs) -> Floats:
    """Gather what a re-run needs of each pair, (p, 10).

    Parameters
    ----------
    paths, plumes
        Paths of a chunk of systems and the plumes along them.
    pairs
        Pairs of these paths and the wells in reach (p,).

    Returns
    -------
    ndarray
        Columns as in :data:`riskmap.groundwater.rerun_kernel.ROW`; m and days.
    """
    spread = spread_m2_per_m(paths, plumes.ratio)
    rows = np.empty((len(pairs.path), ROW))
    rows[:, 0], rows[:, 1] = pairs.offset_m, pairs.share
    for place, values in enumerate((paths.distance_m, paths.time_d, plumes.ratio, spread)):
        rows[:, 2 + 2 * place] = values[pairs.point]
        rows[:, 3 + 2 * place] = values[pairs.point + 1]
    return rows


def _joined(found: Sequence[PathPairs]) -> PathPairs:
    parts = [
        np.concatenate([getattr(pairs, name) for pairs in found])
        for name in ("path", "receptor", "point", "share", "offset_m")
    ]
    return PathPairs(*parts)


def _taken(pairs: PathPairs, rows: NDArray[np.bool_] | Whole) -> PathPairs:
    return PathPairs(
        pairs.path[rows], pairs.receptor[rows], pairs.point[rows], pairs.share[rows],
        pairs.offset_m[rows],
    )  # fmt: skip


def _shaped(settings: GroundwaterSettings, paths: Paths, load: Floats, width: Floats) -> Plumes:
    return shape_plumes(
        paths, load_kg_yr=load, settings=settings, source_width_m=width,
    )  # fmt: skip


def _near(search: Search, paths: Paths, plumes: Plumes, draw_m: Floats) -> PathPairs:
    found = pairs_by_width(
        paths, plumes.reach_m(paths), x_m=search.well_x_m, y_m=search.well_y_m, width_m=draw_m
    )
    return _joined(found) if found else _NONE


_NONE: Final = PathPairs(*(np.empty(0, np.int64),) * 3, *(np.empty(0),) * 2)


@dataclass(frozen=True)
class Found:
    """Pairs of a chunk of systems with their rows, and what is kept of each system."""

    system: Whole
    well: Whole
    rows: Floats
    flux_m_d: Floats
    water_time_d: Floats


def find_pairs(search: Search, part: slice, load_kg_yr: Floats) -> Found:
    """Every pair that a re-run may need, of a chunk of systems.

    The pairs that the assessment itself looks at come first and keep their feet; of the wider
    search, and of the paths followed further, only what they lack is added.

    Parameters
    ----------
    search
        Systems, wells, flow, and how widely to look.
    part
        The chunk: a slice of the systems' rows.
    load_kg_yr
        Nitrogen that reaches the water table (rows of the chunk,), kg/yr; NaN reaches no well.

    Returns
    -------
    Found
        ``system`` counts from the start of the chunk; sorted by system, then well.
    """
    systems = search.systems.iloc[part]
    width = column(systems, "field_width_m")
    paths = _traced(search, systems, search.settings.max_time_yr)
    own = _shaped(search.settings, paths, load_kg_yr, width)
    wide = _shaped(search.wide, paths, load_kg_yr * search.wide_load, width)
    near = [
        _near(search, paths, own, search.draw_m),
        _near(search, paths, wide, search.draw_m * search.wide_draw),
    ]
    count = len(search.well_x_m)
    key, rows = _first(_keys(_joined(near), count), pair_rows(paths, own, _joined(near)))
    water = np.where(paths.end == WATER, paths.last(paths.time_d), np.nan)
    cut = np.flatnonzero(paths.end == TIME)
    if len(cut):
        more, longer, water[cut] = _further(search, systems, cut, load_kg_yr, width)
        key, rows = _first(np.concatenate([key, more]), np.concatenate([rows, longer]))
    return Found(key // max(count, 1), key % max(count, 1), rows, own.source_flux_m_d, water)


def _further(
    search: Search, systems: pd.DataFrame, cut: Whole, load: Floats, width: Floats
) -> tuple[Whole, Floats, Floats]:
    """Keys and rows of the pairs beyond the longest time, and the time to surface water."""
    longest = search.settings.max_time_yr * YEAR_D
    paths = _traced(search, systems.iloc[cut], search.settings.max_time_yr * FURTHER)
    own = _shaped(search.settings, paths, load[cut], width[cut])
    wide = _shaped(search.wide, paths, load[cut] * search.wide_load, width[cut])
    pairs = _near(search, paths, wide, search.draw_m * search.wide_draw)
    pairs = _taken(pairs, pairs.along(paths.time_d) > longest)
    rows = pair_rows(paths, own, pairs)
    named = replace(pairs, path=cut[pairs.path])
    water = np.where(paths.end == WATER, paths.last(paths.time_d), np.nan)
    return _keys(named, len(search.well_x_m)), rows, water


def _traced(search: Search, systems: pd.DataFrame, max_time_yr: float) -> Paths:
    return trace_paths(
        search.flow, x_m=column(systems, "x_m"), y_m=column(systems, "y_m"),
        max_distance_m=search.settings.max_distance_m, max_time_d=max_time_yr * YEAR_D,
        water_id=search.water_id,
    )  # fmt: skip


def _keys(pairs: PathPairs, n_wells: int) -> Whole:
    return pairs.path * n_wells + pairs.receptor


def _first(keys: Whole, rows: Floats) -> tuple[Whole, Floats]:
    """Sort pairs and keep the first of each."""
    unique, place = np.unique(keys, return_index=True)
    return unique, rows[place]
