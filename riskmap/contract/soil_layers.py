"""The layers that a soil survey yields; see :mod:`riskmap.contract.layers`."""

from __future__ import annotations

from typing import Final

from riskmap.contract.columns import Layer, flag, key, number, percent, text
from riskmap.contract.vocabulary import (
    DRAINAGE_CLASSES,
    FLOODING_FREQUENCIES,
    HYDROLOGIC_GROUPS,
    PONDING_FREQUENCIES,
)

SOIL_UNITS: Final = Layer(
    "soil_units",
    "polygon",
    "Soil map unit polygons.",
    (
        key("mukey", "Map unit key"),
        text("area_symbol", "Survey area"),
        text("musym", "Map unit symbol"),
    ),
)

SOIL_MAPUNITS: Final = Layer(
    "soil_mapunits",
    "table",
    "Soil map units with the survey's own published absorption-field class.",
    (
        key("mukey", "Map unit key"),
        text("area_symbol", "Survey area"),
        text("musym", "Map unit symbol"),
        text("muname", "Map unit name"),
        text("published_class", "Published class, dominant condition"),
        text("published_class_least", "Published class, least limiting component"),
        text("published_class_most", "Published class, most limiting component"),
    ),
    key="mukey",
)

SOIL_COMPONENTS: Final = Layer(
    "soil_components",
    "table",
    "Soil components: the kinds of soil that share a map unit, by percentage.",
    (
        key("cokey", "Component key"),
        key("mukey", "Map unit key"),
        text("compname", "Name of the soil"),
        percent("comppct", "Share of the map unit"),
        text("compkind", "Series, miscellaneous area ..."),
        flag("major", "Whether the survey calls it a major component"),
        number("slope_low_pct", "Slope, low", "%", 0, 999),
        number("slope_pct", "Slope, representative", "%", 0, 999),
        number("slope_high_pct", "Slope, high", "%", 0, 999),
        text("drainage_class", "Natural drainage class", DRAINAGE_CLASSES),
        text("hydrologic_group", "Hydrologic soil group", HYDROLOGIC_GROUPS),
        text("hydric", "Hydric rating"),
        text("tax_subgroup", "Taxonomic subgroup"),
        text("tax_great_group", "Taxonomic great group"),
        text("tax_order", "Taxonomic order"),
        number("subsidence_cm", "Total subsidence", "cm", 0, 1000),
        text("local_phase", "Local phase"),
        text("gaps", "What the survey's files lack and a rating needs; then it is not rated"),
    ),
    key="cokey",
)

SOIL_HORIZONS: Final = Layer(
    "soil_horizons",
    "table",
    "Soil layers of each component.",
    (
        key("cokey", "Component key"),
        key("chkey", "Horizon key"),
        text("name", "Horizon name"),
        number("top_cm", "Top of the layer", "cm", 0, 2000),
        number("bottom_cm", "Bottom of the layer", "cm", 0, 2000),
        number("ksat_low_um_s", "Saturated conductivity, low", "um/s", 0, 1e4),
        number("ksat_um_s", "Saturated conductivity, representative", "um/s", 0, 1e4),
        number("ksat_high_um_s", "Saturated conductivity, high", "um/s", 0, 1e4),
        percent("sand_pct", "Sand by weight"),
        percent("silt_pct", "Silt by weight"),
        percent("clay_pct", "Clay by weight"),
        percent("organic_matter_pct", "Organic matter by weight"),
        number("bulk_density_g_cm3", "Moist bulk density", "g/cm3", 0, 3),
        percent("fragments_76_250_pct", "Fragments of 75-250 mm by weight"),
        percent("fragments_over_250_pct", "Fragments over 250 mm by weight"),
        text("texture", "Texture class code, with modifier"),
        flag("frozen", "Whether any texture entry says permanently frozen"),
    ),
    key="chkey",
)

SOIL_RESTRICTIONS: Final = Layer(
    "soil_restrictions",
    "table",
    "Layers that stop roots and water.",
    (
        key("cokey", "Component key"),
        text("kind", "Kind of restriction"),
        text("hardness", "Hardness"),
        number("top_cm", "Depth to the top", "cm", 0, 2000),
        number("bottom_cm", "Depth to the bottom", "cm", 0, 5000),
    ),
)

SOIL_MONTHS: Final = Layer(
    "soil_months",
    "table",
    "Flooding, ponding and wetness of each component by month.",
    (
        key("cokey", "Component key"),
        number("month", "Month", "1-12", 1, 12),
        text("flooding_frequency", "Flooding frequency class", FLOODING_FREQUENCIES),
        text("flooding_duration", "Flooding duration class"),
        text("ponding_frequency", "Ponding frequency class", PONDING_FREQUENCIES),
        text("ponding_duration", "Ponding duration class"),
        number("wet_top_cm", "Top of the shallowest wet layer", "cm", 0, 2000),
        number("wet_bottom_cm", "Bottom of that layer", "cm", 0, 5000),
    ),
)

SOIL_INTERPRETATIONS: Final = Layer(
    "soil_interpretations",
    "table",
    "Ratings the survey itself published; used for checking only.",
    (
        key("cokey", "Component key"),
        text("rule", "Rule name"),
        text("factor", "Sub-rule name"),
        number("rule_depth", "0 for the rule, 1 and more for its factors", "count", 0, 20),
        number("rating", "Limitation", "0-1", 0, 1),
        text("class", "Class name"),
    ),
)

SOIL_LAYERS: Final = (
    SOIL_UNITS,
    SOIL_MAPUNITS,
    SOIL_COMPONENTS,
    SOIL_HORIZONS,
    SOIL_RESTRICTIONS,
    SOIL_MONTHS,
    SOIL_INTERPRETATIONS,
)
