"""What people write for the unit words of the region file, each word once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from riskmap.contract.units import FACTORS

UNIT_NAMES: Final[Mapping[str, tuple[str, ...]]] = {
    "m": ("meter", "meters", "mtr"),
    "ft": ("foot", "feet", "'", "\u2032"),
    "us_survey_ft": ("US survey foot", "US survey feet", "US survey ft", "us-ft", "foot_us", "ftus",
                     "usft"),
    "cm": ("centimeter", "centimeters"),
    "in": ("inch", "inches", '"', "\u2033", "''"),
    "l": ("liter", "liters"),
    "gal": ("US gallon", "gallon", "gallons", "gals", "US gal", "US gallons"),
    "m3": ("cubic meter", "cubic meters", "m\u00b3"),
    "l_d": ("liter per day", "liters per day", "liters/day", "l/d", "l/day", "lpd"),
    "gpd": ("US gallon per day", "gallons per day", "gal per day", "gal/d", "gal/day", "gals/day",
            "gallons/day"),
    "gpm": ("US gallon per minute", "gallons per minute", "gal/min"),
    "m2": ("square meter", "square meters", "m\u00b2", "sqm", "sq.m"),
    "ft2": ("square foot", "square feet", "ft\u00b2", "sqft", "sq ft", "sq.ft", "sf"),
    "acre": ("acre", "acres", "ac"),
    "ha": ("hectare", "hectares"),
    "min_cm": ("minute per centimeter", "min/cm", "mpcm"),
    "min_in": ("minute per inch", "min/in", "mpi"),
    "mg_l": ("milligram per liter as nitrogen", "mg/l", "mg/l as N", "mg/l N", "ppm"),
    "ug_l": ("microgram per liter as nitrogen", "ug/l", "\u00b5g/l", "\u03bcg/l", "ppb"),
    "mg_l_as_no3": ("milligram per liter as nitrate", "mg/l as NO3", "mg/l NO3", "mg/l", "ppm"),
}  # fmt: skip
"""Unit word -> its plain name, then what it is also called (common practice, no source)."""

READ_AS: Final[Mapping[str, str]] = {
    "m": "Lengths, depths of wells, elevations",
    "cm": "Depths of soil and ponding",
    "L": "Volumes",
    "L/day": "Flows and yields",
    "m2": "Areas",
    "mg/L as N": "Nitrate",
    "min/cm": "Percolation",
}
"""SI unit -> what is measured in it."""


def units_page() -> str:
    """Write the handbook's page of unit words (Markdown).

    >>> units_page().startswith("# Unit words")
    True
    """
    lines = [
        "# Unit words",
        "",
        "What may stand behind `unit =` in the region file, by what is measured. Generated from",
        "`riskmap/contract/units.py`. Where no unit is given the numbers are taken as the",
        "data dictionary has them: SI. The words are common practice, no source; the factors",
        "are exact by definition (NIST SP 811).",
    ]
    for si_unit, factors in FACTORS.items():
        heads = ("write", "which is", "also written", f"one is, in {si_unit}")
        lines += ["", f"## {READ_AS[si_unit]} ({si_unit})", "", f"| {' | '.join(heads)} |"]
        lines.append("|---" * len(heads) + "|")
        for word, factor in factors.items():
            name, *others = UNIT_NAMES[word]
            lines.append(f"| `{word}` | {name} | {', '.join(others)} | {factor:.10g} |")
    return "\n".join(lines) + "\n"
