"""Unit factors, each once. Everything inside is SI; these convert at the edges.

Exact by definition: foot 0.3048 m, inch 0.0254 m, acre from the international foot, US gallon
231 cubic inches (NIST SP 811, Guide for the Use of the SI, 2008, appendix B).

>>> round(100 * FOOT_M, 2)
30.48
"""

from __future__ import annotations

from typing import Final

INCH_CM: Final = 2.54
FOOT_M: Final = 0.3048
US_SURVEY_FOOT_M: Final = 1200.0 / 3937.0
MILE_M: Final = 5280 * FOOT_M
ACRE_M2: Final = 43560 * FOOT_M**2
HECTARE_M2: Final = 10_000.0
SQUARE_MILE_KM2: Final = (MILE_M / 1000) ** 2
GALLON_L: Final = 3.785411784
POUND_KG: Final = 0.45359237
SQUARE_FOOT_M2: Final = FOOT_M**2
GPD_PER_FT2_L_D_M2: Final = GALLON_L / SQUARE_FOOT_M2
INCH_PER_HOUR_UM_S: Final = 25_400 / 3_600
UM_S_M_D: Final = 1e-6 * 86_400
MIN_IN_MIN_CM: Final = 1 / INCH_CM
YEAR_D: Final = 365.25
DAY_MIN: Final = 24 * 60
NITRATE_TO_N: Final = 14.0067 / 62.0049  # mg/L as NO3 -> mg/L as N

LENGTH_M: Final = {
    "m": 1.0,
    "ft": FOOT_M,
    "us_survey_ft": US_SURVEY_FOOT_M,
    "cm": 0.01,
    "in": INCH_CM / 100,
}
VOLUME_L: Final = {"l": 1.0, "gal": GALLON_L, "m3": 1000.0}
FLOW_L_D: Final = {"l_d": 1.0, "gpd": GALLON_L, "gpm": GALLON_L * DAY_MIN}
AREA_M2: Final = {"m2": 1.0, "ft2": SQUARE_FOOT_M2, "acre": ACRE_M2, "ha": HECTARE_M2}
PERCOLATION_MIN_CM: Final = {"min_cm": 1.0, "min_in": MIN_IN_MIN_CM}
CONCENTRATION_MG_L: Final = {"mg_l": 1.0, "ug_l": 0.001, "mg_l_as_no3": NITRATE_TO_N}

FACTORS: Final = {
    "m": LENGTH_M,
    "cm": {unit: meters * 100 for unit, meters in LENGTH_M.items()},
    "L": VOLUME_L,
    "L/day": FLOW_L_D,
    "m2": AREA_M2,
    "mg/L as N": CONCENTRATION_MG_L,
    "min/cm": PERCOLATION_MIN_CM,
}
"""Unit of a declared column (``Column.unit``) -> source unit -> factor."""
