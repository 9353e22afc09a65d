"""What people write for the unit words of the region file, each word once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

UNIT_NAMES: Final[Mapping[str, tuple[str, ...]]] = {
    "m": ("meter", "meters", "metre", "metres", "mtr"),
    "ft": ("foot", "feet", "ft", "'"),
    "us_survey_ft": ("US survey foot", "us-ft", "ftus"),
    "cm": ("centimeter", "centimeters"),
    "in": ("inch", "inches", '"'),
    "l": ("liter", "liters", "litre", "litres"),
    "gal": ("US gallon", "gallon", "gallons", "gals"),
    "m3": ("cubic meter", "cubic meters"),
    "l_d": ("liter per day", "liters/day", "l/d"),
    "gpd": ("US gallon per day", "gal/day", "gallons/day", "gpd"),
    "gpm": ("US gallon per minute", "gal/min", "gpm"),
    "m2": ("square meter", "square meters", "sqm"),
    "ft2": ("square foot", "square feet", "sqft", "sq ft", "sf"),
    "acre": ("acre", "acres", "ac"),
    "ha": ("hectare", "hectares"),
    "min_cm": ("minute per centimeter", "min/cm", "mpcm"),
    "min_in": ("minute per inch", "min/in", "mpi"),
    "mg_l": ("milligram per liter as nitrogen", "mg/l", "mg/l as N", "ppm"),
    "ug_l": ("microgram per liter as nitrogen", "ug/l", "ppb"),
    "mg_l_as_no3": ("milligram per liter as nitrate", "mg/l as NO3"),
}
"""Unit word -> its plain name, then what it is also called (common practice, no source)."""
