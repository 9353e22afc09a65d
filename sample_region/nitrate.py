"""What really reaches the wells: nitrogen from systems uphill and from fields, diluted.

Every system's plume drifts down the water table from where it enters, at the speed of Darcy's law.
Rain that falls behind it buries it: its middle lies recharge x travel time / porosity below the
water table (Vogel 1967, in Cook and Boehlke 2000; for a thick aquifer). Sideways it fans out from
the width of its field, because the direction of flow swings with the seasons (Goode and Konikow
1990). What a section of the plume carries is what the household gave (mass balance). A well takes
what passes its screen, and a share that creeps down along its casing from the top.
Sources are cited from memory; values without one are choices of the inventors.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree
from scipy.special import ndtr

from sample_region.dice import dice
from sample_region.noise import fractal_field
from sample_region.plan import YEAR, Floats, Ints, Plan
from sample_region.soil_catalog import SOILS
from sample_region.terrain import STREAM_KM2, Terrain
from sample_region.truth import Truth
from sample_region.water_table import WaterTable, make_water_table, water_depth_m

GIVEN_KG_A_PERSON: Final = 4.1
"""Nitrogen a person and year; 11.2 g a day (US EPA 2002, onsite manual)."""
EFFLUENT_MG_L: Final = 45.0
"""What leaves the tank; plumes that overlap cannot make more of a well's water than all of it."""
RECHARGE_M_YR: Final = 0.25
POROSITY: Final = 0.25
CONDUCTIVITY_M_D: Final = 1.0
"""Typical; silty fine sand (Freeze and Cherry 1979, table 2.2: 1e-7 to 1e-3 m/s)."""
LEAST_GRADIENT: Final = 0.005
FIELD_HALF_WIDTH_M: Final = 6.0
SWING: Final = 0.16
"""Sideways spread for each meter of way: the direction swings by nine degrees."""
HALF_HEIGHT_M: Final = 2.0
PUMPED_M: Final = 3.0
"""A pumping well draws from so far above and below its screen."""
TOP_M: Final = 5.0
LEAKED_FRAC: Final = 0.06
"""Typical share of a well's water that creeps down along the casing, from the uppermost water."""
REACH_M: Final = 500.0
STEP_M: Final = 20.0
CHUNK: Final = 500


@dataclass(frozen=True)
class Plumes:
    """Middle lines of the plumes, (systems, steps): place, way (unit vector), flow, depth, time.

    `depth_m` is below the water table, `flow_m_yr` the water that passes a square meter in a year.
    Steps beyond a stream or lake, where the plume ends, are NaN.
    """

    x: Floats
    y: Floats
    way_x: Floats
    way_y: Floats
    flow_m_yr: Floats
    depth_m: Floats
    time_yr: Floats


def follow_plumes(water: WaterTable, x: Floats, y: Floats) -> Plumes:
    """Follow the water table's gradient down from each point (n,) until a stream or the reach.

    Parameters
    ----------
    water
        The water table.
    x, y
        Sources (n,), local m.
    """
    steps = []
    ends_low = np.zeros(len(x), dtype=bool)
    depth, time = np.zeros(len(x)), np.zeros(len(x))
    for _ in range(round(REACH_M / STEP_M) + 1):
        rise_x, rise_y = water.gradient(x, y)
        steep = np.maximum(np.hypot(rise_x, rise_y), 1e-9)
        way_x, way_y = -rise_x / steep, -rise_y / steep
        flow = _conductivity_m_yr(water.terrain, x, y) * np.maximum(steep, LEAST_GRADIENT)
        here = np.stack([x, y, way_x, way_y, flow, depth, time])
        steps.append(np.where(ends_low, np.nan, here))
        ends_low |= _surfaces(water.terrain, x, y)
        ahead = x + STEP_M * way_x, y + STEP_M * way_y
        ends_low |= water.height(*ahead) >= water.height(x, y)
        depth = depth + RECHARGE_M_YR * STEP_M / flow
        time = time + POROSITY * STEP_M / flow
        x, y = ahead
    return Plumes(*np.moveaxis(np.array(steps), 0, 2))


def _conductivity_m_yr(terrain: Terrain, x: Floats, y: Floats) -> Floats:
    sandy = terrain.sample(terrain.sandy, x, y)
    return np.asarray(365.25 * CONDUCTIVITY_M_D * np.exp(0.5 * sandy), dtype=np.float64)


def _surfaces(terrain: Terrain, x: Floats, y: Floats) -> Floats:
    stream = terrain.sample(terrain.upstream_km2, x, y) > STREAM_KM2
    return np.asarray(stream | terrain.sample(terrain.lake, x, y))


def true_nitrate(
    plan: Plan, terrain: Terrain, truth: Truth, parcels: pd.DataFrame, wells: pd.DataFrame
) -> tuple[pd.DataFrame, Floats]:
    """Compute the nitrate in each well, and what each system adds to all wells together.

    Parameters
    ----------
    plan
        Gives the seed.
    terrain
        Land, soils' sand, streams and lakes.
    truth
        The onsite systems and their soils.
    parcels
        The settlement's table: persons, season, place of each field, year built.
    wells
        ``x``, ``y`` (local m), ``depth_m``, ``casing_m``.

    Returns
    -------
    tuple
        A row for each of `wells`: ``nitrate``, ``from_systems``, ``from_fields`` (mg/L as N; the
        first is what a laboratory would find on average, the others leave out natural nitrate and
        chance); and for each system what it adds to all wells together.
    """
    rng = dice(plan.seed, "nitrate")
    homes = parcels.iloc[truth.row]
    persons = np.where(homes.seasonal, 0.45, 1.0) * homes.persons.to_numpy()
    wet = np.array([1.0 if s.wet_cm is None else s.wet_cm / 250 for s in SOILS])[truth.soil]
    strength = persons * (0.35 + 0.65 * wet) * rng.lognormal(0, 0.3, len(homes))
    source = homes.field_x.to_numpy(), homes.field_y.to_numpy()
    plumes = follow_plumes(make_water_table(terrain), *source)
    well, system, mg_l = meetings(
        plumes,
        wells.x.to_numpy(),
        wells.y.to_numpy(),
        _intakes(plan, terrain, wells),
        kg_yr=GIVEN_KG_A_PERSON * strength,
        age_yr=YEAR - homes.built.to_numpy(),
    )
    summed = np.bincount(well, mg_l, minlength=len(wells))
    added = EFFLUENT_MG_L * -np.expm1(-summed / EFFLUENT_MG_L)
    shares = mg_l * added[well] / summed[well]
    given: Floats = np.bincount(system, shares, minlength=len(homes)).astype(np.float64)
    fields = _farm_background(plan, terrain, wells)
    noise = rng.lognormal(0, 0.45, len(wells))
    table = pd.DataFrame({"from_systems": added, "from_fields": fields}, index=wells.index)
    table.insert(0, "nitrate", np.maximum((0.25 + fields + added) * noise, 0.02))
    return table, given


def _intakes(plan: Plan, terrain: Terrain, wells: pd.DataFrame) -> pd.DataFrame:
    """Where each well takes its water from: top and bottom below the water table, share leaked."""
    water = water_depth_m(terrain, wells.x.to_numpy(), wells.y.to_numpy())
    leak = dice(plan.seed, "leaking casings").lognormal(np.log(LEAKED_FRAC), 0.8, len(wells))
    intake = pd.DataFrame({"leaked": np.clip(leak, 0, 0.5)})
    intake["top"] = np.maximum(wells.casing_m.to_numpy() - water - PUMPED_M, 0.0)
    intake["bottom"] = np.maximum(wells.depth_m.to_numpy() - water, 0.5) + PUMPED_M
    return intake


def meetings(
    plumes: Plumes, x: Floats, y: Floats, intake: pd.DataFrame, *, kg_yr: Floats, age_yr: Floats
) -> tuple[Ints, Ints, Floats]:
    """Pairs of well and system whose plume the well draws from.

    Parameters
    ----------
    plumes
        From :func:`follow_plumes`.
    x, y
        Wells (w,), local m.
    intake
        ``top`` and ``bottom`` (m below the water table) and ``leaked`` (share), of each well.
    kg_yr, age_yr
        Nitrogen and age of each system (n,).

    Returns
    -------
    tuple
        Well, system, and what the system adds in the well (mg/L as N), each (pairs,).
    """
    tree = cKDTree(np.column_stack([x, y]))
    parts = []
    for start in range(0, len(kg_yr), CHUNK):
        stop = min(start + CHUNK, len(kg_yr))
        first = np.column_stack([plumes.x[start:stop, 0], plumes.y[start:stop, 0]])
        near = tree.query_ball_point(first, REACH_M, return_sorted=True)
        system = np.repeat(np.arange(start, stop), [len(one) for one in near])
        well = np.concatenate([np.asarray(one, dtype=np.int64) for one in near])
        mg_l = _met(plumes, system, x[well], y[well], intake.iloc[well], kg_yr, age_yr)
        parts.append((well[mg_l > 0], system[mg_l > 0], mg_l[mg_l > 0]))
    well, system, mg_l = (np.concatenate(part) for part in zip(*parts, strict=True))
    return well, system, mg_l


def _met(
    plumes: Plumes,
    system: Ints,
    x: Floats,
    y: Floats,
    intake: pd.DataFrame,
    kg_yr: Floats,
    age_yr: Floats,
) -> Floats:
    """Concentration of one system's nitrogen in one well, pair by pair (mg/L)."""
    away = np.hypot(plumes.x[system] - x[:, None], plumes.y[system] - y[:, None])
    step = np.nanargmin(away, axis=1)
    at = system, step
    dx, dy = x - plumes.x[at], y - plumes.y[at]
    along = dx * plumes.way_x[at] + dy * plumes.way_y[at]
    aside = dx * plumes.way_y[at] - dy * plumes.way_x[at]
    flow = plumes.flow_m_yr[at]
    depth = np.maximum(plumes.depth_m[at] + RECHARGE_M_YR * along / flow, 0.0)
    ahead = STEP_M * step + along
    met = (np.abs(along) < STEP_M) & (ahead > -FIELD_HALF_WIDTH_M)
    arrived = plumes.time_yr[at] + POROSITY * along / flow < age_yr[system]
    width = FIELD_HALF_WIDTH_M + SWING * np.maximum(ahead, 0.0)
    section = flow * np.sqrt(2 * np.pi) * width
    across = kg_yr[system] * 1000 / section * np.exp(-0.5 * (aside / width) ** 2)
    top, bottom = intake.top.to_numpy(), intake.bottom.to_numpy()
    screened = across * _share_per_m(depth, top, bottom)
    shallow = across * _share_per_m(depth, np.zeros(len(x)), np.full(len(x), TOP_M))
    leaked = intake.leaked.to_numpy()
    mixed = (1 - leaked) * screened + leaked * shallow
    return np.where(met & arrived, mixed, 0.0)


def _share_per_m(middle: Floats, top: Floats, bottom: Floats) -> Floats:
    """Share of a plume for each meter between two depths; it cannot rise above the water table."""
    total = np.zeros(len(middle))
    for center in (middle, -middle):
        total += ndtr((bottom - center) / HALF_HEIGHT_M) - ndtr((top - center) / HALF_HEIGHT_M)
    return total / (bottom - top)


def _farm_background(plan: Plan, terrain: Terrain, wells: pd.DataFrame) -> Floats:
    """Nitrate from fields, by patches of crops and sand, less in deep wells (mg/L)."""
    place = wells.x.to_numpy(), wells.y.to_numpy()
    crops = fractal_field(
        terrain.sandy.shape, cell_m=40.0, longest_m=1800, slope=2.8, rng=dice(plan.seed, "crops")
    )
    field = np.exp(
        0.45 * terrain.sample(crops, *place) + 0.4 * terrain.sample(terrain.sandy, *place)
    )
    shallow = np.exp(-(wells.depth_m.to_numpy() - 8) / 28)
    return np.asarray(2.3 * field * (0.3 + 0.7 * shallow), dtype=np.float64)
