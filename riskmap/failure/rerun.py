"""The failure physics of today once more, with other records and other parameters.

What :func:`riskmap.failure.assess.assess_failure` finds for a county is found here from plain
arrays in a third of a second for 100,000 systems, so that doubt can run it again and again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from riskmap.contract.arrays import Floats
from riskmap.contract.rule_sets import TEXAS
from riskmap.failure.assess import LEAST_KSAT_UM_S
from riskmap.failure.field_state import FieldCase, reserve_today_frac, surface_rate_l_d_m2
from riskmap.failure.geometry import TANKLESS, shape_of_codes
from riskmap.failure.pumping import neglect, pump_interval_yr, pump_overdue_yr
from riskmap.failure.settings import FailureSettings
from riskmap.failure.sizing import load_ratio, rate_of_ksat


@dataclass(frozen=True)
class SystemRecords:
    """What n systems are like; every array of shape (n,), none missing but where said.

    ``kind``: codes of :func:`riskmap.failure.geometry.kind_codes`. ``field_area_m2``: counted area.
    ``limit_depth_m``: depth to seasonal water or a restriction (NaN: none known). On record, NaN
    where not: ``accept_l_d_m2`` with ``wall_credit_m``, the rate by the permit's test and the wall
    that its rule counts; ``ponding_found_m``, what an inspector measured.
    """

    kind: npt.NDArray[np.int64]
    age_yr: Floats
    persons: Floats
    flow_l_d: Floats
    tank_volume_l: Floats
    years_since_pumped_yr: Floats
    field_area_m2: Floats
    ksat_um_s: Floats
    limit_depth_m: Floats
    accept_l_d_m2: Floats
    wall_credit_m: Floats
    ponding_found_m: Floats


@dataclass(frozen=True)
class SystemsToday:
    """What the physics gives for them, arrays of shape (n,); NaN where a kind has no field or tank.

    The names are those of :data:`riskmap.contract.features.FAILURE`.
    """

    load_ratio: Floats
    reserve_frac: Floats
    pump_overdue_yr: Floats


def systems_today(
    records: SystemRecords,
    physics: FailureSettings,
    *,
    margin: float,
    vertical_separation_m: float,
) -> SystemsToday:
    """Run the physics; with the county's own settings as the plain assessment does.

    Acceptance is taken from the permit's test, else from conductivity, on the soil classes whose
    rule counts the wall that it counts.

    Parameters
    ----------
    records
        What the systems are like.
    physics
        Settings of the scenario. Its water use is already in the records' flow.
    margin
        How many times the rule's rate the county's fields pass
        (:mod:`riskmap.failure.calibration`).
    vertical_separation_m
        Separation that the county's rules ask for below a field, m.
    """
    tested = ~np.isnan(records.accept_l_d_m2)
    credit = np.where(tested, records.wall_credit_m, TEXAS.wall_credit_m)
    shape = shape_of_codes(records.kind, wall_credit_m=credit)
    ksat = np.maximum(records.ksat_um_s, LEAST_KSAT_UM_S)
    accept = np.where(tested, records.accept_l_d_m2, rate_of_ksat(ksat))
    interval = pump_interval_yr(records.tank_volume_l, records.persons)
    tankless = TANKLESS[records.kind]
    case = FieldCase(
        shape=shape,
        area_m2=records.field_area_m2,
        flow_l_d=records.flow_l_d,
        accept_l_d_m2=accept * margin * physics.margin_ratio,
        ksat_um_s=ksat,
        limit_depth_m=records.limit_depth_m,
        age_yr=records.age_yr,
        neglect=np.where(tankless, 0.0, neglect(records.years_since_pumped_yr, interval)),
        vertical_separation_m=vertical_separation_m,
    )
    seen = np.clip(1.0 - records.ponding_found_m / shape.inlet_m, 0.0, 1.0)
    reserve = np.where(np.isnan(seen), reserve_today_frac(case, physics=physics), seen)
    overdue = pump_overdue_yr(records.years_since_pumped_yr, interval)
    ratio = load_ratio(records.flow_l_d, records.field_area_m2, surface_rate_l_d_m2(shape, accept))
    return SystemsToday(
        load_ratio=np.where(np.isnan(shape.inlet_m), np.nan, ratio),
        reserve_frac=reserve,
        pump_overdue_yr=np.where(tankless, np.nan, overdue),
    )
