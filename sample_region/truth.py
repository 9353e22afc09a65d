"""How the invented systems really fail. The tool never reads this; it sees only records.

A yearly simulation from the first house to thirty years ahead. Each lot has its own soil (drawn
from the map unit's mixture, with its own conductivity), household, water use, builder and habits.
The infiltrating surface clogs with the load it has taken; a high water table in wet years and a
slow layer below cut what it can pass; when the load exceeds that, the system fails and may be
rebuilt, in some worlds only once a visit has found it. This is not the scoring model, nor is it
tuned to it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from sample_region.dice import dice
from sample_region.noise import smooth_step
from sample_region.plan import YEAR, Flags, Floats, Ints, Plan
from sample_region.soil_catalog import SOIL, SOILS
from sample_region.soil_map import SoilMap
from sample_region.soil_units import UNITS
from sample_region.terrain import Terrain
from sample_region.visits import FAILED, SOUND, STRESSED, Visitors
from sample_region.worlds import World

FIRST_YEAR: Final = 1938
STEADY_YEARS: Final = 30
LIVED_AHEAD_YEARS: Final = 5
STRESSED_AT: Final = 0.72
NEW_TENANTS_PER_YEAR: Final = 0.05
STAGES: Final = ("sound", "stressed", "failed")


@dataclass(frozen=True)
class Truth:
    """What really happened. Arrays follow the onsite parcels in order.

    `visits` lists every visit (see :class:`~sample_region.visits.Visitors`); `events` every system
    put in: row (of the onsite parcels), year, first (new or rebuilt).
    """

    row: Ints
    soil: Ints
    table: pd.DataFrame
    visits: pd.DataFrame
    events: pd.DataFrame


@dataclass
class _Systems:
    """State of the simulation; one entry per system."""

    area_m2: Floats
    clogged: Floats
    installed: Floats
    broken: Flags
    stress: Floats
    builder: Floats
    raised_cm: Floats
    found: Flags
    failed_in: Floats


def make_truth(
    plan: Plan, terrain: Terrain, soils: SoilMap, parcels: pd.DataFrame, world: World
) -> Truth:
    """Simulate the systems over the years of a world.

    Parameters
    ----------
    plan
        Gives the seed.
    terrain
        Slope and depth to water below each field.
    soils
        Map units, from which each lot's soil is drawn.
    parcels
        The settlement's table; only onsite parcels have a system.
    world
        How systems fail and what is found and repaired.
    """
    row = np.flatnonzero(parcels.service == "onsite")
    homes = parcels.iloc[row].reset_index(drop=True)
    rng = dice(plan.seed, "truth")
    unit = soils.unit_at(homes.field_x.to_numpy(), homes.field_y.to_numpy())
    soil = _drawn_soil(unit, rng)
    lot = _lot_facts(homes, soil, terrain, world, rng)
    climate = rng.normal(0, 1, 400)
    state, visits, events = _live(plan, world, homes, lot, climate, rng)
    table = pd.DataFrame({"parcel_id": homes.parcel_id.to_numpy()})
    table["soil"] = [SOILS[k].name for k in soil]
    stage = _stage(state)
    table["stage"] = np.array(STAGES)[stage]
    table["failed"] = (stage == FAILED).astype(int)
    table["stressed"] = (stage == STRESSED).astype(int)
    table["failed_in_year"] = _whole(state.failed_in)
    table["fails_in_yr"] = _whole(_lived_ahead(plan, world, homes, lot, climate, state))
    table["stress"] = state.stress
    table["years_to_failure"] = _years_left(lot, state, stage, world)
    table["true_installed"] = state.installed.astype(int)
    table["true_age"] = YEAR - state.installed.astype(int)
    table["flow_l_d"] = lot.flow
    table["field_area_m2"] = state.area_m2
    table["raised"] = (state.raised_cm > 0).astype(int)
    table["tank_l"] = lot.tank
    table["last_pumped_year"] = YEAR - np.floor(rng.random(len(row)) * lot.pump_every).astype(int)
    table["ksat_um_s"] = lot.ksat
    table["separation_cm"] = lot.separation
    return Truth(row, soil, table, visits, events)


def _whole(years: Floats) -> pd.Series:
    """Whole numbers, blank where unknown."""
    return pd.Series(years).astype("Int64")


def _drawn_soil(unit: Ints, rng: np.random.Generator) -> Ints:
    """Draw each lot's soil from its map unit; no house is on water or bare rock."""
    weight = np.zeros((len(UNITS), len(SOILS)))
    number = {soil.name: k for k, soil in enumerate(SOILS)}
    for k, one in enumerate(UNITS):
        for name, percent in one.mixture:
            weight[k, number[name]] = 0 if SOIL[name].misc else percent
    weight[weight.sum(axis=1) == 0, number["Udorthents"]] = 1
    cumulative = np.cumsum(weight / weight.sum(axis=1, keepdims=True), axis=1)
    return np.asarray((rng.random(len(unit))[:, None] > cumulative[unit]).sum(axis=1))


def _lot_facts(
    homes: pd.DataFrame, soil: Ints, terrain: Terrain, world: World, rng: np.random.Generator
) -> pd.DataFrame:
    count = len(homes)
    surface = np.array([_ksat(k, 75, 76) for k in range(len(SOILS))])
    slowest = np.array([_ksat(k, 75, 170) for k in range(len(SOILS))])
    wet = np.array([250.0 if s.wet_cm is None else s.wet_cm for s in SOILS])
    patch = rng.lognormal(0, world.soil_spread, count)
    height = terrain.sample(
        terrain.above_stream_m, homes.field_x.to_numpy(), homes.field_y.to_numpy()
    )
    lot = pd.DataFrame({"ksat": surface[soil] * patch, "slow": slowest[soil] * patch})
    trench = np.where(homes.built < 1980, 85.0, 60.0) + rng.normal(0, 8, count)
    lot["separation"] = (
        wet[soil] + rng.normal(0, 14, count) + 6 * np.minimum(height, 4) - trench - 8
    )
    use = rng.lognormal(np.log(175), world.use_spread, count)
    present = np.where(homes.seasonal, rng.uniform(0.3, 0.6, count), 1.0)
    lot["flow"] = homes.persons.to_numpy() * use * present
    lot["tank"] = np.where(
        homes.built < 1975,
        rng.choice([1900, 2840, 3785], count),
        rng.choice([3785, 4730, 5680], count),
    ).astype(float)
    lot["pump_every"] = np.clip(rng.lognormal(np.log(6), 0.75, count), 1, 40)
    safe = np.clip(3.6 * lot.tank / 1000 / np.maximum(homes.persons.to_numpy(), 1), 1.5, 25)
    lot["carry_over"] = 1 + 0.5 * np.clip((lot.pump_every - safe) / safe, 0, 3)
    return lot


def _ksat(soil: int, top: int, bottom: int) -> float:
    """Lowest conductivity of the layers between two depths."""
    layers = SOILS[soil].layers
    inside = [la.ksat for la in layers if la.bottom_cm > top and la.top_cm < bottom]
    return min(inside or [la.ksat for la in layers[-1:]] or [1.0])


def _field_area(
    homes: pd.DataFrame, ksat: Floats, year: Floats, world: World, rng: np.random.Generator
) -> Floats:
    """Square meters put in by the habits of the time: little early, by soil and bedrooms later."""
    bedrooms = homes.bedrooms.to_numpy()
    rate = np.clip(14 * (ksat / 5) ** 0.3, 8, 30)
    modern = bedrooms * 430 / rate
    old = 14 + 7.5 * bedrooms
    share = smooth_step(year, *world.sized_by_soil)
    area = (old * (1 - share) + modern * share) * rng.lognormal(0, 0.18, len(homes))
    room = np.maximum(homes.room_m2.to_numpy(), 18.0)
    return np.asarray(np.minimum(area, room), dtype=np.float64)


def _live(
    plan: Plan,
    world: World,
    homes: pd.DataFrame,
    lot: pd.DataFrame,
    climate: Floats,
    rng: np.random.Generator,
) -> tuple[_Systems, pd.DataFrame, pd.DataFrame]:
    count = len(homes)
    first = np.maximum(homes.built.to_numpy(), float(FIRST_YEAR))
    state = _Systems(
        _field_area(homes, lot.ksat.to_numpy(), first, world, rng),
        np.zeros(count),
        first.copy(),
        np.zeros(count, dtype=bool),
        np.zeros(count),
        _builder(count, world, rng),
        np.zeros(count),
        np.zeros(count, dtype=bool),
        np.full(count, np.nan),
    )
    visitors = Visitors(plan, world, homes)
    visits = []
    events = [pd.DataFrame({"row": np.arange(count), "year": first, "first": True})]
    for year in range(FIRST_YEAR, YEAR + 1):
        here = first <= year
        _one_year(state, lot, here, climate[year - 1900], world, rng)
        stage = np.where(here, _stage(state), SOUND)
        failed = stage == FAILED
        state.failed_in = np.where(failed, np.fmin(state.failed_in, year), np.nan)
        visits.append(visitors.of_year(year, stage, here))
        chance = np.where(state.found, world.found_repaired_per_year, world.repaired_per_year)
        rebuilt = failed & (rng.random(count) < chance) & (year < YEAR)
        state.found[visits[-1].row[visits[-1].seen == FAILED]] = True
        state.found &= failed
        _rebuild(state, homes, lot, rebuilt, year, world, rng)
        _new_tenants(lot, homes, here & (rng.random(count) < NEW_TENANTS_PER_YEAR), world, rng)
        events.append(
            pd.DataFrame({"row": np.flatnonzero(rebuilt), "year": float(year), "first": False})
        )
    return state, pd.concat(visits, ignore_index=True), pd.concat(events, ignore_index=True)


def _builder(count: int, world: World, rng: np.random.Generator) -> Floats:
    """How well the work was done: a factor on what the field can pass."""
    return rng.lognormal(0.13, world.builder_spread, count)


def _rebuild(
    state: _Systems,
    homes: pd.DataFrame,
    lot: pd.DataFrame,
    rebuilt: Flags,
    year: int,
    world: World,
    rng: np.random.Generator,
) -> None:
    """Dig a new field by the habits of the year; wet or tight sites are often raised since 1994."""
    ksat = lot.ksat.to_numpy()
    new = _field_area(homes, ksat, np.full(len(homes), float(year)), world, rng)
    hard = (lot.separation.to_numpy() < 45) | (lot.slow.to_numpy() < 0.8)
    raised = np.where(
        hard & (year >= 1994) & (rng.random(len(homes)) < 0.75), 45.0, state.raised_cm
    )
    state.area_m2 = np.where(rebuilt, np.maximum(1.2 * new, state.area_m2), state.area_m2)
    state.clogged = np.where(rebuilt, 0.0, state.clogged)
    state.builder = np.where(rebuilt, _builder(len(homes), world, rng), state.builder)
    state.raised_cm = np.where(rebuilt, raised, state.raised_cm)
    state.broken &= ~rebuilt
    state.found &= ~rebuilt
    state.failed_in = np.where(rebuilt, np.nan, state.failed_in)
    state.installed = np.where(rebuilt, year, state.installed)


def _new_tenants(
    lot: pd.DataFrame, homes: pd.DataFrame, moved: Flags, world: World, rng: np.random.Generator
) -> None:
    """Houses change hands, and with them the water use and the care for the tank."""
    count = len(lot)
    present = np.where(homes.seasonal, rng.uniform(0.3, 0.6, count), 1.0)
    flow = homes.persons.to_numpy() * rng.lognormal(np.log(175), world.use_spread, count) * present
    lot["flow"] = np.where(moved, flow, lot.flow)


def _one_year(
    state: _Systems,
    lot: pd.DataFrame,
    here: Flags,
    climate: float,
    world: World,
    rng: np.random.Generator,
) -> None:
    gain = _clogging(state, lot, world) * rng.uniform(0.5, 1.5, len(lot))
    state.clogged = np.where(here, state.clogged + gain, 0.0)
    state.broken |= here & (rng.random(len(lot)) < world.breaks_per_year)
    state.stress = lot.flow.to_numpy() / state.area_m2 / _can_pass(state, lot, climate, world)


def _clogging(state: _Systems, lot: pd.DataFrame, world: World) -> Floats:
    """Clogging that an ordinary year adds."""
    load = lot.flow.to_numpy() / state.area_m2
    return np.asarray(world.clogging_per_year * (load / 10) * lot.carry_over.to_numpy())


def _can_pass(state: _Systems, lot: pd.DataFrame, climate: float, world: World) -> Floats:
    """L/m2/day the surface can pass this year."""
    ksat = lot.ksat.to_numpy()
    clean = 60.0 * (ksat / 10) ** 0.4
    mat = 13.5 * (ksat / 10) ** 0.22
    surface = 1 / (1 / clean + state.clogged**0.8 / mat)
    below = 40.0 * lot.slow.to_numpy() + 3.0 + 9.0 * (state.raised_cm > 0)
    separation = lot.separation.to_numpy() + state.raised_cm
    wet = 1 / (1 + np.exp((separation - 15 - 12 * climate) / 14))
    limit = np.minimum(surface, below) * (1 - world.wet_loss_frac * wet)
    return np.asarray(limit * state.builder, dtype=np.float64)


def _stage(state: _Systems) -> Ints:
    stage = np.where(state.stress > STRESSED_AT, STRESSED, SOUND)
    return np.where((state.stress > 1) | state.broken, FAILED, stage)


def _years_left(lot: pd.DataFrame, state: _Systems, stage: Ints, world: World) -> Floats:
    """Years until failure in a steady climate with today's tenants; blank beyond the horizon."""
    left = np.where(stage == FAILED, 0.0, np.nan)
    future = replace(state)
    load = lot.flow.to_numpy() / state.area_m2
    for year in range(1, STEADY_YEARS + 1):
        future.clogged = future.clogged + _clogging(state, lot, world)
        fails = load / _can_pass(future, lot, 0.6, world) > 1
        left = np.where(np.isnan(left) & fails, float(year), left)
    return left


def _lived_ahead(
    plan: Plan,
    world: World,
    homes: pd.DataFrame,
    lot: pd.DataFrame,
    climate: Floats,
    state: _Systems,
) -> Floats:
    """Years until failure as life goes on: weather, tenants, accidents; 0 failed, blank beyond."""
    rng = dice(plan.seed, "years ahead")
    lot, state = lot.copy(), replace(state, broken=state.broken.copy())
    fails_in = np.where(_stage(state) == FAILED, 0.0, np.nan)
    for ahead in range(1, LIVED_AHEAD_YEARS + 1):
        _new_tenants(lot, homes, rng.random(len(lot)) < NEW_TENANTS_PER_YEAR, world, rng)
        _one_year(state, lot, np.full(len(lot), True), climate[YEAR + ahead - 1900], world, rng)
        fails_in = np.fmin(fails_in, np.where(_stage(state) == FAILED, float(ahead), np.nan))
    return fails_in
