"""The groundwater assessment again under other numbers and records, at a fraction of its cost.

Carrying doubt through the physics needs the same county many times over. What does not change is
kept: the path lines (the direction of the flow does not depend on one conductivity for all), the
foot of every well that a system could ever reach, and the list of neighbors. What changes is
computed again with the assessment's own formulas, pair by pair: loads, the size of each source,
spreading, depth, travel time (porosity over conductivity), decay, arrival by age, the width each
well draws from, the least addition, the longest time, receptors, the score, and the balance of the
neighborhood. With the assessment's own numbers and records the result is the assessment's.

What is approximate, against a full assessment under the same numbers (measured shares of systems
are in ``docs/methods/plume.md``):

- a path that the longest time cuts is cut between the same points as before, not at a point of its
  own; one that is followed further than before takes its first flux from the longer path;
- where a path bends back near a well, the nearest foot stays the one first found;
- a pair that would count only outside the ``corners`` searched (see :data:`CORNERS`) is missed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.arrays import Floats
from riskmap.contract.chunks import map_chunks, spans
from riskmap.contract.settings import clipped
from riskmap.contract.units import YEAR_D
from riskmap.groundwater.assess import CHUNK, GroundwaterAssessment
from riskmap.groundwater.paths import EDGE, ENDS, STILL
from riskmap.groundwater.rerun_geometry import Found, PairGeometry, Search, find_pairs
from riskmap.groundwater.rerun_kernel import Scenario
from riskmap.groundwater.rerun_sums import (
    PlumeSources,
    mark_reached,
    receptor_sums,
    scenario_of,
    sources_of,
    speed_up,
    well_sums,
    well_table,
)
from riskmap.groundwater.score import SURFACE_WATER_WEIGHT, joined_score, nearness, score_parts
from riskmap.groundwater.screens import column, draw_l_d, draw_width_m, screen_windows
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings
from riskmap.spatial.neighbors import NeighborList, neighbor_list

RERUN_COLUMNS: Final = (
    "nitrogen_kg_yr", "reaching", "wells_soon", "nitrate_given_mg_l", "lot_nitrate_mg_l",
)  # fmt: skip
WIDE: Final = (1.0, 5.0)
"""Factors on conductivity and on all dispersivities of the widest plumes that are searched for."""
WIDE_LOAD: Final = 2.5
"""Greatest load to be ready for, against the assessment's."""
CORNERS: Final = (
    (1.0, 1.0), (0.3, 1.0), (0.3, 5.0), (0.3, 0.3), (3.0, 1.0), (3.0, 5.0), (1.0, 5.0),
)  # fmt: skip
"""Factors on conductivity and on all dispersivities: a pair is kept if it adds the least amount in
one of these, under ``WIDE_LOAD``, long since arrived."""


@dataclass(frozen=True)
class Rerun:
    """A county made ready to be assessed again; from :func:`prepare_rerun`.

    Of the assessment: ``settings``, ``pairs``, ``removed_frac`` and ``field_width_m`` of each
    system, ``lost`` (systems whose path could not start), and of the wells the screen
    (``screen_top_m``, ``screen_bottom_m``) and ``draw_m2``, width of draw times screen length.
    ``near``: neighbors in the circle of the nitrogen balance, and ``flow_near_l_d`` of all of them.
    """

    settings: GroundwaterSettings
    pairs: PairGeometry
    removed_frac: Floats
    field_width_m: Floats
    lost: NDArray[np.bool_]
    flow_near_l_d: Floats
    screen_top_m: Floats
    screen_bottom_m: Floats
    draw_m2: Floats
    near: NeighborList

    @property
    def nbytes(self) -> int:
        """Memory of what is kept, bytes."""
        arrays = [*vars(self).values(), *vars(self.pairs).values(), *vars(self.near).values()]
        return sum(a.nbytes for a in arrays if isinstance(a, np.ndarray))


def prepare_rerun(
    found: GroundwaterAssessment,
    systems: pd.DataFrame,
    wells: pd.DataFrame,
    settings: GroundwaterSettings,
    well_settings: WellSettings,
    *,
    daily_flow_l_d: ArrayLike,
    water_id: ArrayLike | None = None,
) -> Rerun:
    """Make a county ready to be assessed again.

    Parameters
    ----------
    found
        What :func:`riskmap.groundwater.assess.assess_groundwater` gave of all the other arguments,
        which come here as they went in there.
    systems, wells, settings, well_settings, water_id
        As there.
    daily_flow_l_d
        Effluent of each system (n,), for the neighborhood's nitrogen balance.
    """
    top, bottom, _ = screen_windows(wells, unknown_screen_m=well_settings.unknown_screen_m)
    pumped, _ = draw_l_d(wells, well_settings)
    draw = draw_width_m(pumped, wells, found.flow, top, bottom, thickness_m=settings.thickness_m)
    search = Search(
        systems, found.flow, settings, water_id, column(wells, "x_m"), column(wells, "y_m"), draw,
        wide=_corner(settings, WIDE), wide_load=WIDE_LOAD,
        wide_draw=1 / min(conductivity for conductivity, _ in CORNERS),
    )  # fmt: skip
    screens = (top, bottom, draw * np.clip(bottom - top, 1.0, settings.thickness_m))
    near = neighbor_list(
        column(systems, "x_m"), column(systems, "y_m"), radius_m=settings.balance_radius_m
    )
    each = found.systems
    unmoved = each["path_end"].isin([ENDS[EDGE], ENDS[STILL]]) & (each["path_length_m"] == 0)
    return Rerun(
        settings=settings,
        pairs=_all_pairs(search, each["nitrogen_load_kg_yr"].to_numpy(float), screens),
        removed_frac=each["removed_frac"].to_numpy(float),
        field_width_m=column(systems, "field_width_m"),
        lost=unmoved.to_numpy(bool),
        flow_near_l_d=near.sums(daily_flow_l_d),
        screen_top_m=top,
        screen_bottom_m=bottom,
        draw_m2=screens[2],
        near=near,
    )


def _corner(settings: GroundwaterSettings, factors: tuple[float, float]) -> GroundwaterSettings:
    """Return settings with other conductivity and dispersivities."""
    conductivity, dispersivity = factors
    return clipped(
        settings,
        conductivity_m_d=settings.conductivity_m_d * conductivity,
        dispersivity_along_m=settings.dispersivity_along_m * dispersivity,
        dispersivity_across_m=settings.dispersivity_across_m * dispersivity,
        dispersivity_down_m=settings.dispersivity_down_m * dispersivity,
    )


def _all_pairs(
    search: Search, load_kg_yr: Floats, screens: tuple[Floats, Floats, Floats]
) -> PairGeometry:
    """Search in chunks and keep what may count in one of the corners."""
    settings = search.settings

    def work(part: slice) -> Found:
        found = find_pairs(search, part, load_kg_yr[part])
        pairs = _geometry(found)
        kept = np.zeros(len(pairs.well), bool)
        width = column(search.systems.iloc[part], "field_width_m")
        for corner in CORNERS:
            _mark(
                _corner(settings, corner), settings, pairs, screens,
                load_kg_yr[part] * WIDE_LOAD, width, kept,
            )  # fmt: skip
        return Found(
            found.system[kept] + part.start, found.well[kept], found.rows[kept],
            found.flux_m_d, found.water_time_d,
        )  # fmt: skip

    chunks = map_chunks(work, spans(max(len(load_kg_yr), 1), CHUNK))
    names = ("system", "well", "rows", "flux_m_d", "water_time_d")
    return _geometry(Found(*(np.concatenate([getattr(c, n) for c in chunks]) for n in names)))


def _geometry(found: Found) -> PairGeometry:
    start = np.searchsorted(found.system, np.arange(len(found.flux_m_d) + 1)).astype(np.int64)
    return PairGeometry(
        start, found.well.astype(np.int32), found.rows, found.flux_m_d, found.water_time_d
    )


def _mark(
    changed: GroundwaterSettings, settings: GroundwaterSettings, pairs: PairGeometry,
    screens: tuple[Floats, Floats, Floats], load: Floats, width: Floats, kept: NDArray[np.bool_],
) -> None:  # fmt: skip
    never, faster = np.full(len(load), np.nan), speed_up(changed, settings)
    # However slow the water, a pair may count in another scenario: no longest time here.
    scenario = scenario_of(changed, settings)._replace(max_time_d=np.inf)
    wells = well_table(*screens, thickness_m=changed.thickness_m, conductivity_factor=faster)
    sources = sources_of(load, pairs.flux_m_d * faster, width, never, changed)
    mark_reached(pairs, wells, sources, scenario, kept)


def rerun(
    prepared: Rerun,
    settings: GroundwaterSettings,
    *,
    persons: ArrayLike,
    age_yr: ArrayLike,
    chance_failing_frac: ArrayLike,
    vulnerability_frac: ArrayLike,
    daily_flow_l_d: ArrayLike | None = None,
) -> dict[str, Floats]:
    """Assess the groundwater again under one scenario.

    Safe to call from several threads at once; the same arguments give the same bytes.

    Parameters
    ----------
    prepared
        From :func:`prepare_rerun`.
    settings
        The scenario's.
    persons, age_yr, chance_failing_frac, vulnerability_frac
        The scenario's records of each system (n,), in the order prepared; NaN where not known, as
        in the assessment.
    daily_flow_l_d
        Effluent of each system (n,); None: as prepared.

    Returns
    -------
    dict
        :data:`RERUN_COLUMNS`, each (n,): nitrogen reaching the water table, the groundwater score
        of the assessment (0..1), wells within five years' travel, the most that the system adds at
        one well, and the nitrate of what percolates around it.
    """
    load = nitrogen_of(prepared, settings, persons)
    wells, sources, scenario = _under(prepared, settings, load, age_yr)
    reached = receptor_sums(prepared.pairs, wells, sources, scenario)
    parts = score_parts(
        load_kg_yr=load,
        chance_failing_frac=chance_failing_frac,
        vulnerability_frac=vulnerability_frac,
        receptor_frac=_receptors_joined(prepared, reached.left_frac, scenario),
    )
    flow = prepared.flow_near_l_d if daily_flow_l_d is None else prepared.near.sums(daily_flow_l_d)
    values = (
        load, joined_score(parts), reached.wells_soon, reached.largest_mg_l,
        _balance(prepared, load, flow, settings),
    )  # fmt: skip
    return dict(zip(RERUN_COLUMNS, values, strict=True))


def nitrogen_of(prepared: Rerun, settings: GroundwaterSettings, persons: ArrayLike) -> Floats:
    """Nitrogen of each system that reaches the water table under a scenario (n,), kg/yr."""
    people = np.asarray(persons, float)
    load = people * settings.per_person_kg_yr * (1 - np.clip(prepared.removed_frac, 0, 1))
    return np.asarray(load * (1 - settings.denitrified_frac))


def added_at_wells(
    prepared: Rerun, settings: GroundwaterSettings, *, nitrogen_kg_yr: ArrayLike, age_yr: ArrayLike
) -> Floats:
    """Return the nitrate that all systems together add at each well under a scenario, mg/L as N.

    Parameters
    ----------
    prepared
        From :func:`prepare_rerun`.
    settings
        The scenario's.
    nitrogen_kg_yr
        Nitrogen of each system that reaches the water table (n,), kg/yr.
    age_yr
        Age of each system (n,), yr; NaN: its plume arrived long ago.
    """
    return well_sums(prepared.pairs, *_under(prepared, settings, nitrogen_kg_yr, age_yr))


def _under(
    prepared: Rerun, settings: GroundwaterSettings, load_kg_yr: ArrayLike, age_yr: ArrayLike
) -> tuple[Floats, PlumeSources, Scenario]:
    """Return the wells, the sources and the scenario that its sums take, under other settings."""
    faster = speed_up(settings, prepared.settings)
    wells = well_table(
        prepared.screen_top_m, prepared.screen_bottom_m, prepared.draw_m2,
        thickness_m=settings.thickness_m, conductivity_factor=faster,
    )  # fmt: skip
    sources = sources_of(
        np.asarray(load_kg_yr, float), prepared.pairs.flux_m_d * faster,
        prepared.field_width_m, np.asarray(age_yr, float), settings,
    )  # fmt: skip
    return wells, sources, scenario_of(settings, prepared.settings)


def _receptors_joined(prepared: Rerun, left_frac: Floats, scenario: Scenario) -> Floats:
    """Join wells and surface water as :func:`riskmap.groundwater.score.receptor_part` does."""
    time = prepared.pairs.water_time_d * scenario.time_scale
    time = np.where(time <= scenario.max_time_d * (1 + 1e-9), time, np.nan)
    water = SURFACE_WATER_WEIGHT * nearness(time)
    return np.where(prepared.lost, np.nan, 1 - left_frac * (1 - water))


def _balance(
    prepared: Rerun, load: Floats, flow_l_d: Floats, settings: GroundwaterSettings
) -> Floats:
    """Mass balance of :func:`riskmap.groundwater.nitrogen.neighborhood_nitrate_mg_l`."""
    rain = settings.recharge_m_yr * np.pi * settings.balance_radius_m**2
    mass = prepared.near.sums(load) * 1000.0 + rain * settings.background_mg_l
    return np.asarray(mass / (flow_l_d / 1000.0 * YEAR_D + rain), float)
