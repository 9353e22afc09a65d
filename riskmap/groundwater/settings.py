"""Numbers of a groundwater assessment: defaults, bounds and sources in one table."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from riskmap.groundwater.nitrogen import LIMIT_MG_L, NITROGEN, Parameter
from riskmap.groundwater.plume import PlumeSettings
from riskmap.groundwater.well_risk import RISK

ASSESSMENT: Final = {
    "conductivity_m_d": Parameter(
        10.0, 1e-4, 1000.0, "m/d", "assumed: medium sand; give the aquifer's own"
    ),
    "porosity_frac": Parameter(
        0.2, 0.01, 0.5, "1", "35 Ill. Adm. Code 671 App. A: sand .21, gravel .19, sandstone .06"
    ),
    "max_distance_m": Parameter(
        1500.0, 100.0, 10_000.0, "m", "assumed: how far paths are followed"
    ),
    "max_time_yr": Parameter(30.0, 1.0, 200.0, "yr", "assumed: how long paths are followed"),
    "least_added_mg_l": Parameter(
        0.01, 0.0, 1.0, "mg/L as N", "assumed: smaller additions are dropped from the pairs"
    ),
    "background_mg_l": NITROGEN["background_mg_l"],
    "limit_mg_l": Parameter(LIMIT_MG_L, 1.0, 20.0, "mg/L as N", "40 CFR 141.62"),
    "soil_denitrified_frac": NITROGEN["soil_denitrified_frac"],
    "temperature_c": RISK["temperature_c"],
    "unknown_screen_m": Parameter(
        10.0, 1.0, 100.0, "m", "assumed: depth below the water table an unknown screen draws on"
    ),
    "well_flow_l_d": Parameter(
        1000.0, 100.0, 1e7, "L/d", "assumed: a home's well; public wells give their own"
    ),
}
"""Assessment parameters: default, bounds, unit, source."""


@dataclass(frozen=True)
class AssessmentSettings:
    """Numbers of a run; see ``ASSESSMENT`` for units, bounds and sources.

    ``conductivity_m_d`` may be a number or an array on the grid. ``chunk`` is how many systems are
    followed at a time; it changes memory, not results.

    Raises
    ------
    ValueError
        If a number lies outside its bounds.
    """

    conductivity_m_d: ArrayLike = ASSESSMENT["conductivity_m_d"].value
    porosity_frac: float = ASSESSMENT["porosity_frac"].value
    max_distance_m: float = ASSESSMENT["max_distance_m"].value
    max_time_yr: float = ASSESSMENT["max_time_yr"].value
    least_added_mg_l: float = ASSESSMENT["least_added_mg_l"].value
    background_mg_l: float = ASSESSMENT["background_mg_l"].value
    limit_mg_l: float = ASSESSMENT["limit_mg_l"].value
    soil_denitrified_frac: float = ASSESSMENT["soil_denitrified_frac"].value
    temperature_c: float = ASSESSMENT["temperature_c"].value
    unknown_screen_m: float = ASSESSMENT["unknown_screen_m"].value
    well_flow_l_d: float = ASSESSMENT["well_flow_l_d"].value
    plume: PlumeSettings = field(default_factory=PlumeSettings)
    chunk: int = 10_000

    def __post_init__(self) -> None:
        for name, spec in ASSESSMENT.items():
            value = np.asarray(getattr(self, name), float)
            if ((value < spec.lower) | (value > spec.upper)).any():
                raise ValueError(f"{name} must lie within {spec.lower}..{spec.upper} {spec.unit}")
