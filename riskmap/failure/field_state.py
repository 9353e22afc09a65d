"""From a system's kind, area and soil to its clogging outlook: trenches, beds, pits and mounds.

A mound has two surfaces one after the other: the bed on the sand, and the ground under the sand.
Its result is that of the surface with less reserve, its years those of the surface that goes first.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.kinds import MOUND_SAND_M
from riskmap.contract.rule_sets import MOUND_SAND_L_D_M2
from riskmap.contract.units import UM_S_M_D
from riskmap.contract.vocabulary import STAGES
from riskmap.failure.clogging import Surface, mature_resistance_d, pond
from riskmap.failure.geometry import (
    MOUND_BASE_STRENGTH,
    MOUND_SAND_UM_S,
    MOUND_SPREAD,
    FieldShape,
    separation_m,
)
from riskmap.failure.mat import (
    STRESS_RESERVE,
    Load,
    Mat,
    Outlook,
    grown_mat,
    outlook,
    resistance_and_front,
)
from riskmap.failure.settings import USUAL, FailureSettings

YEARS: Final = ("years_to_stressed_yr", "years_to_failed_yr")
GAINS: Final = tuple(f"years_gained_{w}_yr" for w in ("half_flow", "pumping", "resting"))


@dataclass(frozen=True)
class FieldCase:
    """Fields of n systems as the clogging model needs them; arrays of shape (n,).

    ``area_m2`` is the counted area, ``accept_l_d_m2`` the natural soil's rate per square meter of
    it, ``limit_depth_m`` the depth to seasonal water or a restriction (NaN: none known).
    ``vertical_separation_m`` is what the county's rules ask for above that (one number).
    """

    shape: FieldShape
    area_m2: Floats
    flow_l_d: Floats
    accept_l_d_m2: Floats
    ksat_um_s: Floats
    limit_depth_m: Floats
    age_yr: Floats
    neglect: Floats
    vertical_separation_m: float


def surface_rate_l_d_m2(case_shape: FieldShape, accept_l_d_m2: Floats) -> Floats:
    """Rate of the surface that meets the effluent first: the sand's in a mound, else the soil's."""
    return np.where(case_shape.mound, MOUND_SAND_L_D_M2, accept_l_d_m2)


def field_outlook(case: FieldCase, *, physics: FailureSettings = USUAL) -> pd.DataFrame:
    """Clogging outlook of each field.

    Returns
    -------
    DataFrame
        ``ponding_m, reserve_frac, surfaced_l_d, mat_resistance_d, years_to_stressed_yr,
        years_to_failed_yr, years_gained_half_flow_yr, years_gained_pumping_yr,
        years_gained_resting_yr, half_flow_ponding_m, rested_ponding_m, inlet_m``; NaN where the
        kind has no field or an input is unknown.
    """
    first = _outlook(*_first_surface(case), case, physics=physics)
    mounds = case.shape.mound
    if not mounds.any():
        return first
    some = _rows(case, mounds)
    base = _outlook(*_mound_base(some), some, physics=physics)
    return _earlier(first, base, mounds)


def reserve_today_frac(case: FieldCase, *, physics: FailureSettings = USUAL) -> Floats:
    """``reserve_frac`` of :func:`field_outlook` alone, shape (n,): a quarter of the work."""
    first = _reserve(*_first_surface(case), case, physics=physics)
    mounds = case.shape.mound
    if mounds.any():
        some = _rows(case, mounds)
        base = _reserve(*_mound_base(some), some, physics=physics)
        first[mounds] = np.minimum(base, first[mounds])
    return first


def _first_surface(case: FieldCase) -> tuple[Surface, Floats, Floats]:
    """Surface under the gravel, its rate (L/day/m2 counted) and its waste's strength."""
    shape = case.shape
    ksat = np.where(shape.mound, MOUND_SAND_UM_S, case.ksat_um_s) * UM_S_M_D
    surface = Surface(
        bottom_m2=shape.bottom_per_m2 * case.area_m2,
        wall_m=shape.wall_per_m2 * case.area_m2,
        inlet_m=shape.inlet_m,
        brim_m=shape.brim_m,
        separation_m=separation_m(
            shape.depth_m, case.limit_depth_m, required_m=case.vertical_separation_m
        ),
        ksat_m_d=ksat,
    )
    return surface, surface_rate_l_d_m2(shape, case.accept_l_d_m2), shape.strength_frac


def _mound_base(case: FieldCase) -> tuple[Surface, Floats, Floats]:
    """Ground under the sand, `MOUND_SPREAD` times the bed."""
    sand = np.full_like(case.area_m2, MOUND_SAND_M)
    limit = np.where(np.isnan(case.limit_depth_m), np.inf, case.limit_depth_m)
    surface = Surface(
        bottom_m2=MOUND_SPREAD * case.area_m2 * case.shape.bottom_per_m2,
        wall_m=np.zeros_like(sand),
        inlet_m=sand,
        brim_m=sand * 1.25,
        separation_m=limit,
        ksat_m_d=case.ksat_um_s * UM_S_M_D,
    )
    rate = case.accept_l_d_m2 / case.shape.bottom_per_m2
    return surface, rate, np.full_like(sand, MOUND_BASE_STRENGTH)


def _outlook(
    surface: Surface, rate: Floats, strength: Floats, case: FieldCase, *, physics: FailureSettings
) -> pd.DataFrame:
    mat, load = _grown(surface, rate, strength, case, physics)
    return _table(outlook(mat, surface, load, physics=physics), surface)


def _reserve(
    surface: Surface, rate: Floats, strength: Floats, case: FieldCase, *, physics: FailureSettings
) -> Floats:
    mat, load = _grown(surface, rate, strength, case, physics)
    state = resistance_and_front(mat, surface, load, physics=physics)
    head = pond(load.inflow_m3_d, *state, surface, alpha_per_m=physics.alpha_per_m).head_m
    return np.asarray(np.clip(1.0 - head / surface.inlet_m, 0.0, 1.0))


def _grown(
    surface: Surface, rate: Floats, strength: Floats, case: FieldCase, physics: FailureSettings
) -> tuple[Mat, Load]:
    """Today's mat on a surface, and the load that it grew under."""
    counted = surface.bottom_m2 / np.where(surface.wall_m > 0, case.shape.bottom_per_m2, 1.0)
    standard = Surface(
        bottom_m2=surface.bottom_m2 / counted,
        wall_m=surface.wall_m / counted,
        inlet_m=surface.inlet_m,
        brim_m=surface.brim_m,
        separation_m=np.full_like(surface.inlet_m, np.inf),
        ksat_m_d=surface.ksat_m_d,
    )
    mature = mature_resistance_d(rate / 1000.0, standard, alpha_per_m=physics.alpha_per_m)
    load = Load(
        inflow_m3_d=case.flow_l_d / 1000.0,
        load_ratio=case.flow_l_d / (counted * rate),
        neglect=case.neglect,
        strength=strength,
    )
    climb = np.where(case.shape.climbs, surface.inlet_m, np.inf)
    mat = grown_mat(case.age_yr, load, mature_d=mature, climb_m=climb, physics=physics)
    return mat, load


def _table(result: Outlook, surface: Surface) -> pd.DataFrame:
    plain = {f.name: getattr(result, f.name) for f in fields(result) if f.name != "ponding"}
    return pd.DataFrame(
        {
            "ponding_m": result.ponding.head_m,
            "surfaced_l_d": result.ponding.surfaced_m3_d * 1000.0,
            "inlet_m": surface.inlet_m,
            **plain,
        }
    ).rename(columns={"resistance_d": "mat_resistance_d"})


def _earlier(first: pd.DataFrame, base: pd.DataFrame, mounds: Flags) -> pd.DataFrame:
    """For mounds, the worse of the two surfaces; years and gains are those of the whole mound."""
    bed = first[mounds].reset_index(drop=True)
    worse = bed.where(bed["reserve_frac"] <= base["reserve_frac"], base)
    for name in YEARS:
        worse[name] = np.minimum(bed[name], base[name])
    for name in GAINS:
        with_help = np.minimum(
            bed["years_to_failed_yr"] + bed[name], base["years_to_failed_yr"] + base[name]
        )
        worse[name] = np.maximum(with_help - worse["years_to_failed_yr"], 0.0)
    worse["surfaced_l_d"] = np.maximum(bed["surfaced_l_d"], base["surfaced_l_d"])
    result = first.copy()
    result.loc[mounds] = worse.to_numpy()
    return result


def _rows(case: FieldCase, chosen: Flags) -> FieldCase:
    shape = FieldShape(**{f.name: getattr(case.shape, f.name)[chosen] for f in fields(case.shape)})
    whole = ("shape", "vertical_separation_m")
    rest = {f.name: getattr(case, f.name)[chosen] for f in fields(case) if f.name not in whole}
    return replace(case, shape=shape, **rest)


def with_ponding_found(table: pd.DataFrame, found_m: Floats) -> pd.DataFrame:
    """Replace the model's pond by what an inspector measured.

    Reserve and stage follow from it. The years to come are the model's only where its own stage
    agrees with what was found; 0 in a field found failed, and unknown elsewhere.

    Parameters
    ----------
    table
        From :func:`field_outlook`.
    found_m
        Depth of effluent found in each field (n,), m; NaN where not measured.
    """
    seen = ~np.isnan(found_m) & table["inlet_m"].notna().to_numpy()
    if not seen.any():
        return table
    updated = table.copy()
    updated["ponding_m"] = np.where(seen, found_m, table["ponding_m"])
    reserve = np.clip(1.0 - found_m / table["inlet_m"].to_numpy(float), 0.0, 1.0)
    updated["reserve_frac"] = np.where(seen, reserve, table["reserve_frac"])
    other = seen & (stage_of(updated) != stage_of(table))
    ahead = [name for name in table if str(name).startswith("years_")]
    updated.loc[other, ahead] = np.nan
    gone = seen & (stage_of(updated) == STAGES[-1])
    updated.loc[gone, list(YEARS)] = 0.0
    return updated


def stage_of(table: pd.DataFrame) -> npt.NDArray[Any]:
    """Sound, stressed or failed; None where the pond is unknown."""
    sound, stressed, failed = STAGES
    stage = np.where(table["reserve_frac"] < STRESS_RESERVE, stressed, sound).astype(object)
    stage[table["ponding_m"] > table["inlet_m"]] = failed
    stage[table["ponding_m"].isna()] = None
    return stage
