"""The failure physics of today once more, with other records and other parameters.

What :func:`riskmap.failure.assess.assess_failure` finds for a county is found here from plain
arrays in a third of a second for 100,000 systems, so that doubt can run it again and again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from riskmap.contract.arrays import Floats
from riskmap.failure.assess import LEAST_KSAT_UM_S
from riskmap.failure.field_state import FieldCase, reserve_today_frac, surface_rate_l_d_m2
from riskmap.failure.geometry import TANKLESS, shape_of_codes
from riskmap.failure.parameter_ranges import FailureParameters
from riskmap.failure.pumping import neglect, pump_interval_yr, pump_overdue_yr
from riskmap.failure.rules_data import TEXAS
from riskmap.failure.sizing import load_ratio, rate_of_ksat


@dataclass(frozen=True)
class SystemRecords:
    """What n systems are like; every array of shape (n,), none missing but where said.

    ``kind``: codes of :func:`riskmap.failure.geometry.kind_codes`. ``field_area_m2``: counted area.
    ``limit_depth_m``: depth to seasonal water or a restriction (NaN: none known).
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


@dataclass(frozen=True)
class SystemsToday:
    """What the physics says of them, arrays of shape (n,); NaN where a kind has no field or tank.

    The names are those of :data:`riskmap.contract.features.FAILURE`.
    """

    load_ratio: Floats
    reserve_frac: Floats
    pump_overdue_yr: Floats


def systems_today(
    records: SystemRecords, parameters: FailureParameters, *, margin: float
) -> SystemsToday:
    """Run the physics; with the default parameters as the plain assessment does.

    Acceptance goes by conductivity, on the soil classes whose rule counts the wall that it counts.

    `margin` is how many times the rule's rate the county's fields pass
    (:mod:`riskmap.failure.calibration`).
    """
    shape = shape_of_codes(records.kind, wall_credit_m=TEXAS.wall_credit_m)
    ksat = np.maximum(records.ksat_um_s, LEAST_KSAT_UM_S)
    accept = rate_of_ksat(ksat)
    flow = records.flow_l_d * parameters.water_use
    interval = pump_interval_yr(records.tank_volume_l, records.persons)
    tankless = TANKLESS[records.kind]
    case = FieldCase(
        shape=shape,
        area_m2=records.field_area_m2,
        flow_l_d=flow,
        accept_l_d_m2=accept * margin * parameters.field_margin,
        ksat_um_s=ksat,
        limit_depth_m=records.limit_depth_m,
        age_yr=records.age_yr,
        neglect=np.where(tankless, 0.0, neglect(records.years_since_pumped_yr, interval)),
    )
    reserve = reserve_today_frac(case, alpha_per_m=parameters.alpha_per_m, growth=parameters.growth)
    overdue = pump_overdue_yr(records.years_since_pumped_yr, interval)
    ratio = load_ratio(flow, records.field_area_m2, surface_rate_l_d_m2(shape, accept))
    return SystemsToday(
        load_ratio=np.where(np.isnan(shape.inlet_m), np.nan, ratio),
        reserve_frac=reserve,
        pump_overdue_yr=np.where(tankless, np.nan, overdue),
    )
