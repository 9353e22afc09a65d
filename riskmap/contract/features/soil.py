"""Columns of the soil and the ground under the likely treatment area.

`soil_rating` and the `limit_` columns are exact area-weighted means over the treatment area and the
soils that share each map unit.
"""

# fmt: off
from __future__ import annotations

from typing import Final

from riskmap.contract.columns import Prompt, lognormal, normal, number, other_word, text
from riskmap.contract.features import card
from riskmap.contract.quantities import (
    CONDUCTIVITY,
    DEPTH,
    GRADE,
    INDEX,
    LENGTH,
    LIMIT,
    PERCENT,
    SHARE,
)
from riskmap.contract.vocabulary import (
    DRAINAGE_CLASSES,
    FLOOD_WORDS,
    FLOOD_ZONES,
    HYDROLOGIC_GROUPS,
)

SOIL_LIMITS: Final = {
    "limit_permafrost": "permafrost",
    "limit_flooding": "flooding",
    "limit_ponding": "ponding",
    "limit_bedrock": "depth to bedrock",
    "limit_cemented_pan": "depth to cemented pan",
    "limit_saturated_zone": "depth to saturated zone",
    "limit_poor_filter": "filtering capacity",
    "limit_slow_water": "slow water movement",
    "limit_slope": "slope",
    "limit_subsidence": "subsidence",
    "limit_large_stones": "large stones",
    "limit_seepage": "seepage in the bottom layer",
    "limit_unstable_fill": "unstable fill",
    "limit_subaqueous": "under water",
}
"""Column of each sub-rule of the national absorption-field rule -> words for people."""

_SEEN_BY_AUGER: Final = ("limit_poor_filter", "limit_seepage")

SOIL: Final = (
    number("soil_rating", "Absorption-field limitation by the national rule", LIMIT, 0, 1,
           evidence=True, spread=normal(0.03, 0.15, 0.2, 0.3), of_components="rating",
           lookup="soil_check"),
    text("soil_class", "Class of that rating, dominant condition", label="Soil for a field",
         card=card.SOIL),
    text("soil_reasons", "Sub-rules that limit, strongest first", label="Soil limits",
         card=card.SOIL),
    *(number(name, f"Limitation: {words}", LIMIT, 0, 1, spread=normal(0.03, 0.15, 0.2, 0.3),
             lookup="soil_check" if name in _SEEN_BY_AUGER else "", of_components=name)
      for name, words in SOIL_LIMITS.items()),
    number("soil_covered_frac", "Share of the treatment area with a rated soil", SHARE, 0, 1),
    text("drainage_class", "Natural drainage class, dominant", DRAINAGE_CLASSES, evidence=True,
         label="Drainage", spread=other_word(0.05, 0.2, 0.3, 0.5), of_components="drainage_class",
         lookup="soil_check", card=card.SOIL, sheet=True),
    text("hydrologic_group", "Hydrologic soil group, dominant", HYDROLOGIC_GROUPS, evidence=True,
         spread=other_word(0.05, 0.2, 0.3, 0.5)),
    number("wet_depth_cm", "Depth to the seasonal water table", DEPTH, evidence=True,
           label="Seasonal water table", spread=normal(10, 30, 40, 60), of_components="wet_top_cm",
           lookup="soil_check", card=card.SOIL, sheet=True,
           prompts=(Prompt(11, "Wet-season water: mottled soil, ditches, sump pumps; where they "
                           "drain to", most=60),)),
    number("restriction_cm", "Depth to the first restriction", DEPTH, evidence=True,
           label="First restriction", spread=normal(10, 30, 45, 60),
           of_components="restriction_cm", lookup="soil_check", card=card.SOIL,
           prompts=(Prompt(13, "Rock or hard soil at the surface; fill brought in for the field",
                           most=75),)),
    # Spread: order-of-magnitude variation inside map units (common practice, no source).
    number("ksat_um_s", "Slowest saturated conductivity below {60 cm}", CONDUCTIVITY,
           evidence=True, label="Slowest layer takes",
           spread=lognormal(0.5, 1.2, 1.4, 1.8, shared=0.1), of_components="ksat_min_um_s",
           lookup="soil_check", card=card.SOIL,
           prompts=(Prompt(15, "Roof and sump water led onto the field: tight soil cannot take "
                           "it", most=1),)),
    number("clay_pct", "Clay at trench depth", PERCENT, evidence=True, spread=normal(3, 8, 10, 15)),
    number("elevation_m", "Ground elevation", LENGTH, evidence=True),
    number("slope_pct", "Slope", GRADE, evidence=True, label="Slope", spread=normal(1, 2, 3, 5),
           lookup="site_visit", card=card.SOIL,
           prompts=(Prompt(12, "Seepage below the field, down the slope", least=15),)),
    number("wetness", "Topographic wetness index, ln(a / tan b)", INDEX, evidence=True,
           spread=normal(0.5, 1, 1.5, 2), lookup="site_visit"),
    text("flood_zone", "Worst flood zone touching the treatment area", FLOOD_ZONES, evidence=True,
         label="Flood zone", words=FLOOD_WORDS, spread=other_word(0.02, 0.1, 0.2, 0.4),
         card=card.SOIL,
         prompts=(Prompt(10, "Flood marks, washed-out soil, tank lids that leak",
                         among=("floodway", "hundred_year")),)),
    number("flood_frac", "Share of the treatment area in the 1% annual chance zone", SHARE, 0, 1),
)
