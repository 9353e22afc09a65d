"""The whole groundwater assessment of a county in one call, in chunks of bounded memory."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.arrays import Floats
from riskmap.contract.chunks import map_chunks, spans
from riskmap.contract.grid import Grid
from riskmap.contract.units import YEAR_D
from riskmap.groundwater import superpose
from riskmap.groundwater.arrival import arrived_frac
from riskmap.groundwater.censored import NO_RESULTS
from riskmap.groundwater.density import drainfields_near_wells, systems_density
from riskmap.groundwater.exposure import exposure
from riskmap.groundwater.gradient import FlowField, flow_field
from riskmap.groundwater.nitrogen import system_load
from riskmap.groundwater.paths import EDGE, ENDS, STILL, WATER, Paths, trace_paths
from riskmap.groundwater.plume import Plumes, nitrate_added_mg_l, shape_plumes
from riskmap.groundwater.reach import PathPairs, pairs_by_width
from riskmap.groundwater.score import SOON_D, groundwater_score, receptor_part
from riskmap.groundwater.screens import column, draw_l_d, draw_width_m, screen_windows
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings
from riskmap.groundwater.well_nitrate import Nitrate, known_of_wells, predict_nitrate
from riskmap.groundwater.well_risk import own_vulnerability, well_risk

CHUNK: Final = 10_000
"""Systems followed at a time; it changes memory, not results."""

PAIR_COLUMNS = ("system", "well", "distance_m", "offset_m", "travel_time_d", "nitrate_added_mg_l")
_NO_PAIRS = pd.DataFrame(
    {name: np.empty(0, np.int64 if name in ("system", "well") else float) for name in PAIR_COLUMNS}
)
_NO_ENDS = pd.DataFrame(
    {
        "path_end": np.empty(0, object), "path_length_m": np.empty(0),
        "water_id": np.empty(0, np.int64), "water_distance_m": np.empty(0),
        "water_travel_time_d": np.empty(0), "water_load_kg_yr": np.empty(0),
    }
)  # fmt: skip


@dataclass(frozen=True)
class GroundwaterAssessment:
    """Results: one row per system, per well, per pair in reach, per surface water.

    ``systems`` and ``wells`` keep the index of what came in; in ``pairs``, ``system`` and ``well``
    are positions in them.
    """

    systems: pd.DataFrame
    wells: pd.DataFrame
    pairs: pd.DataFrame
    waters: pd.DataFrame
    flow: FlowField


@dataclass(frozen=True)
class _Receptors:
    """Wells as the plumes see them."""

    x_m: Floats
    y_m: Floats
    top_m: Floats
    bottom_m: Floats
    width_m: Floats
    screen_known: NDArray[np.bool_]
    pumped_l_d: Floats
    pumped_evidence: NDArray[np.object_]


def _receptors(
    wells: pd.DataFrame, flow: FlowField, settings: GroundwaterSettings, well_settings: WellSettings
) -> _Receptors:
    top, bottom, known = screen_windows(wells, unknown_screen_m=well_settings.unknown_screen_m)
    pumped, marks = draw_l_d(wells, well_settings)
    width = draw_width_m(pumped, wells, flow, top, bottom, thickness_m=settings.thickness_m)
    x_m, y_m = column(wells, "x_m"), column(wells, "y_m")
    return _Receptors(x_m, y_m, top, bottom, width, known, pumped, marks)


def _pair_frame(
    paths: Paths, plumes: Plumes, pairs: PathPairs, wells: _Receptors, age_d: Floats
) -> pd.DataFrame:
    distance, time = pairs.along(paths.distance_m), pairs.along(paths.time_d)
    steady = nitrate_added_mg_l(
        plumes, pairs, screen_top_m=wells.top_m, screen_bottom_m=wells.bottom_m,
        capture_width_m=wells.width_m,
    )  # fmt: skip
    arrived = arrived_frac(
        distance, time, age_d[pairs.path],
        dispersivity_m=plumes.settings.dispersivity_along_m,
    )  # fmt: skip
    values = (pairs.path, pairs.receptor, distance, pairs.offset_m, time, steady * arrived)
    return pd.DataFrame(dict(zip(PAIR_COLUMNS, values, strict=True)))


def _follow(
    systems: pd.DataFrame, load: Floats, wells: _Receptors, flow: FlowField,
    water_id: ArrayLike | None, settings: GroundwaterSettings,
) -> tuple[pd.DataFrame, pd.DataFrame]:  # fmt: skip
    """Trace every system's plume: the pairs in reach, and the end of each path."""
    names = ("x_m", "y_m", "field_width_m", "age_yr")
    x, y, across, age = (column(systems, name) for name in names)

    def follow(part: slice) -> tuple[list[pd.DataFrame], pd.DataFrame]:
        paths = trace_paths(
            flow, x_m=x[part], y_m=y[part], max_distance_m=settings.max_distance_m,
            max_time_d=settings.max_time_yr * YEAR_D, water_id=water_id,
        )  # fmt: skip
        plumes = shape_plumes(
            paths, load_kg_yr=load[part], settings=settings, source_width_m=across[part]
        )
        found = pairs_by_width(
            paths, plumes.reach_m(paths), x_m=wells.x_m, y_m=wells.y_m, width_m=wells.width_m
        )
        tables = [_pair_frame(paths, plumes, pairs, wells, age[part] * YEAR_D) for pairs in found]
        kept = [table[table["nitrate_added_mg_l"] >= settings.least_added_mg_l] for table in tables]
        return [t.assign(system=t["system"] + part.start) for t in kept], _path_ends(paths, plumes)

    parts = map_chunks(follow, spans(len(systems), CHUNK))
    tables = [_NO_PAIRS, *(table for found, _ in parts for table in found)]
    ends = [_NO_ENDS, *(end for _, end in parts)]
    pairs_frame = pd.concat([t for t in tables if len(t)] or tables, ignore_index=True)
    pairs_frame = pairs_frame.sort_values(["system", "well"], ignore_index=True)
    return pairs_frame, pd.concat([e for e in ends if len(e)] or ends, ignore_index=True)


def _path_ends(paths: Paths, plumes: Plumes) -> pd.DataFrame:
    wet = paths.end == WATER
    left = paths.last(plumes.left_frac) * plumes.load_g_d * YEAR_D / 1000.0
    return pd.DataFrame(
        {
            "path_end": pd.Series(paths.end).map(ENDS).to_numpy(object),
            "path_length_m": paths.last(paths.distance_m),
            "water_id": paths.water_id,
            "water_distance_m": np.where(wet, paths.last(paths.distance_m), np.nan),
            "water_travel_time_d": np.where(wet, paths.last(paths.time_d), np.nan),
            "water_load_kg_yr": np.where(wet, left, 0.0),
        }
    )


def _per_system(
    systems: pd.DataFrame, loads: pd.DataFrame, pairs: pd.DataFrame, ends: pd.DataFrame
) -> pd.DataFrame:
    count = len(systems)
    reached = superpose.sum_by_system(pairs, count, soon_d=SOON_D)
    density = systems_density(column(systems, "x_m"), column(systems, "y_m"))
    receptors = receptor_part(pairs, ends["water_travel_time_d"], n_systems=count)
    lost = ends["path_end"].isin([ENDS[EDGE], ENDS[STILL]]) & (ends["path_length_m"] == 0)
    score = groundwater_score(
        load_kg_yr=loads["nitrogen_load_kg_yr"],
        chance_failing_frac=column(systems, "chance_failing_frac"),
        vulnerability_frac=column(systems, "vulnerability_frac"),
        receptor_frac=np.where(lost, np.nan, receptors),
    )
    table = pd.concat([loads, density, reached, ends, score], axis=1)
    return table.set_axis(systems.index)


def _per_well(
    wells: pd.DataFrame, systems: pd.DataFrame, pairs: pd.DataFrame, receptors: _Receptors,
    expected: pd.DataFrame, settings: GroundwaterSettings, well_settings: WellSettings,
) -> pd.DataFrame:  # fmt: skip
    summed = superpose.sum_at_wells(pairs, len(wells))
    near = drainfields_near_wells(
        column(wells, "x_m"), column(wells, "y_m"),
        system_x_m=column(systems, "x_m"), system_y_m=column(systems, "y_m"),
    )  # fmt: skip
    own = own_vulnerability(
        depth_m=column(wells, "depth_m"), casing_m=column(wells, "casing_m"),
        age_yr=column(wells, "age_yr"), dug=column(wells, "dug"), settings=well_settings,
    )  # fmt: skip
    risk = well_risk(
        nitrate=nitrate_without_samples(wells.assign(**expected), settings, well_settings),
        shortest_travel_time_d=summed["shortest_travel_time_d"],
        drainfields_near=near,
        own=own,
        water=settings,
        settings=well_settings,
    )
    marks = pd.DataFrame(
        {
            "drainfields_within_229_m": near,
            "screen_evidence": np.where(receptors.screen_known, "measured", "assumed"),
            "flow_l_d": receptors.pumped_l_d,
            "flow_l_d_evidence": receptors.pumped_evidence,
        }
    )
    table = [summed, expected.reset_index(drop=True), marks, own, risk]
    return pd.concat(table, axis=1).set_axis(wells.index)


def nitrate_without_samples(
    wells: pd.DataFrame, settings: GroundwaterSettings, well_settings: WellSettings
) -> Nitrate:
    """Nitrate of each well as the priors say it.

    Parameters
    ----------
    wells
        As for :func:`assess_groundwater`, with the columns of
        :data:`riskmap.groundwater.exposure.EXPOSURE_COLUMNS`.
    settings, well_settings
        As there.
    """
    _, bottom, _ = screen_windows(wells, unknown_screen_m=well_settings.unknown_screen_m)
    return predict_nitrate(
        known_of_wells(wells, depth_m=bottom), column(wells, "x_m"), column(wells, "y_m"),
        NO_RESULTS, water=settings, seed=0,
    )  # fmt: skip


def assess_groundwater(
    systems: pd.DataFrame,
    wells: pd.DataFrame,
    water_table: Grid,
    settings: GroundwaterSettings,
    well_settings: WellSettings,
    *,
    water_id: ArrayLike | None = None,
) -> GroundwaterAssessment:
    """Follow every system's plume to every well and surface water it can reach.

    Parameters
    ----------
    systems
        ``x_m``, ``y_m``, ``persons``, ``kind``; optional ``treatment_removal_frac``,
        ``chance_failing_frac``, ``vulnerability_frac``, ``field_width_m``, ``age_yr`` (years since
        the first system there: a young plume may not have arrived). NaN where not known.
    wells
        ``x_m``, ``y_m``; optional ``depth_m``, ``casing_m``, ``screen_top_m``,
        ``screen_bottom_m``, ``static_level_m``, ``age_yr``, ``dug``, ``use``, ``yield_l_d``,
        ``flow_l_d``, ``farmed_frac`` (share of the land around that is farmed).
    water_table
        Heads on a grid, m.
    settings, well_settings
        The aquifer, its water and plumes; what wells are like.
    water_id
        Surface water on the grid: 0 land, else the number of the water.

    Returns
    -------
    GroundwaterAssessment
        Screening results; ``nitrate_added_mg_l`` is what the systems add in the long run.
    """
    flow = flow_field(
        water_table,
        conductivity_m_d=settings.conductivity_m_d,
        porosity_frac=settings.porosity_frac,
    )
    loads = system_load(
        column(systems, "persons"), systems["kind"].to_numpy(object),
        treatment_removal_frac=column(systems, "treatment_removal_frac"),
        settings=settings,
    )  # fmt: skip
    load = loads["nitrogen_load_kg_yr"].to_numpy(float)
    receptors = _receptors(wells, flow, settings, well_settings)
    pairs, ends = _follow(systems, load, receptors, flow, water_id, settings)
    expected = exposure(
        systems, wells, load_kg_yr=load, screen_m=(receptors.top_m, receptors.bottom_m),
        flow=flow, settings=settings,
    )  # fmt: skip
    return GroundwaterAssessment(
        systems=_per_system(systems, loads, pairs, ends),
        wells=_per_well(wells, systems, pairs, receptors, expected, settings, well_settings),
        pairs=pairs,
        waters=superpose.sum_at_waters(
            ends["water_id"], ends["water_load_kg_yr"], ends["water_travel_time_d"]
        ),
        flow=flow,
    )
