"""Columns of water and wells: what lies near, and what reaches it."""

# fmt: off
from __future__ import annotations

from typing import Final

from riskmap.contract.columns import Listed, Prompt, lognormal, normal, number, text
from riskmap.contract.features import card
from riskmap.contract.quantities import (
    CONCENTRATION,
    COUNT,
    DENSITY,
    DEPTH_TO_WATER,
    LENGTH,
    LIMIT,
    MASS_RATE,
    SHARE,
    TIME,
)
from riskmap.contract.units import FOOT_M

_NEAR_M: Final = 100 * FOOT_M
"""Water and wells nearer than this are looked at on a visit."""
_WELL: Final = ("drinking-water well", "drinking-water wells")

NEAR_WATER: Final = (
    number("water_table_m", "Depth to the water table", DEPTH_TO_WATER, evidence=True,
           label="Water table", spread=lognormal(0.1, 0.35, 0.5, 0.8, shared=0.1),
           lookup="well_log", card=card.WATER, in_report="groundwater"),
    number("water_table_sd_m", "Standard error of the depth to the water table, where it comes "
           "from measured levels", LENGTH),
    number("well_distance_m", "Distance to the nearest drinking-water well", LENGTH, evidence=True,
           label="Nearest drinking well", spread=lognormal(0.03, 0.15, 0.3, 0.5),
           lookup="well_log", card=card.WATER, listed=Listed(12, "wells"), sheet=True,
           in_report="groundwater",
           prompts=(Prompt(7, "The well: pace its distance from the field; cap and casing sound "
                           "and above ground", most=_NEAR_M),)),
    number("wells_within_150_m", "Drinking-water wells within {150 m}", COUNT,
           label="Drinking wells within {150 m}", noun=_WELL, card=card.WATER,
           in_report="groundwater"),
    number("stream_distance_m", "Distance to the nearest stream", LENGTH, evidence=True,
           label="Nearest stream", card=card.WATER, sheet=True, in_report="groundwater",
           prompts=(Prompt(9, "The stream bank: seepage, gray growth, a pipe", most=_NEAR_M),)),
    number("waterbody_distance_m", "Distance to the nearest lake, pond or river", LENGTH,
           evidence=True, label="Nearest lake or river", card=card.WATER,
           prompts=(Prompt(8, "The shore: seepage, algae, a pipe to the water", most=_NEAR_M),)),
    number("systems_per_km2", "Density of onsite systems within {400 m}", DENSITY,
           spread=lognormal(0.05, 0.1, 0.2, 0.3), in_report="groundwater"),
    number("systems_within_229_m", "Other onsite systems within {229 m}", COUNT,
           label="Other systems within {229 m}", card=card.WATER),
)
"""What the inventory finds."""

GROUNDWATER: Final = (
    number("nitrogen_kg_yr", "Nitrogen that leaves the field for groundwater", MASS_RATE,
           evidence=True, lookup="occupants", depends_on=("occupants",)),
    number("vulnerability", "Seven-factor vulnerability index, share of its range", SHARE,
           evidence=True, label="Vulnerability", spread=normal(0.05, 0.1, 0.1, 0.15),
           card=card.WATER),
    number("reaching", "Source x chance of failing x path x receptors, their geometric mean", LIMIT,
           evidence=True),
    number("wells_soon", "Wells its water reaches within five years", COUNT, evidence=True,
           label="Wells reached in 5 years",
           noun=("drinking-water well lies", "drinking-water wells lie"), card=card.WATER),
    number("wells_reached", "Wells its water reaches at all", COUNT, evidence=True,
           label="Wells its water reaches", noun=_WELL, card=card.WATER),
    number("nearest_reached_m", "Distance to the nearest well its water reaches", LENGTH,
           evidence=True, label="Nearest well reached", card=card.WATER, with_wells=True),
    number("travel_time_yr", "Time to the first well its water reaches", TIME, evidence=True,
           label="Time to that well", card=card.WATER, with_wells=True),
    number("nitrate_given_mg_l", "Nitrate it adds to the worst-hit well", CONCENTRATION,
           evidence=True, label="Nitrate added there", card=card.WATER, with_wells=True),
    number("water_travel_time_yr", "Time to the lake or stream its water ends in", TIME,
           evidence=True),
    number("lot_nitrate_mg_l", "Nitrate below the neighborhood by mass balance", CONCENTRATION,
           evidence=True),
    number("seasonal_depth_m",
           "Depth to seasonal high water: the shallower of soil survey and water table",
           DEPTH_TO_WATER, evidence=True),
    text("seasonal_depth_by", "What gives that depth", ("soil", "regional", "unknown")),
)
"""What the groundwater models add."""
