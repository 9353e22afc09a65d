"""The contract: every canonical layer and its columns, declared once.

Readers in ``data_pipelines`` aim at these tables, :mod:`riskmap.contract` checks against them, and
the data dictionary in ``docs/layers/dictionary.md`` is generated from them.

Inside the project all is SI; a column name carries its unit. Depth is positive down from ground.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

Dtype = Literal["text", "number", "whole", "flag", "date"]
Kind = Literal["polygon", "line", "point", "table", "raster"]


@dataclass(frozen=True)
class Column:
    """One column of a layer.

    ``low`` and ``high`` bound what is physically possible, not what is usual. ``private`` columns
    are dropped on reading unless the region file asks for them.
    """

    name: str
    dtype: Dtype
    meaning: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    domain: tuple[str, ...] = ()
    nullable: bool = True
    private: bool = False


@dataclass(frozen=True)
class Layer:
    """One canonical layer: its shape kind, key column and columns."""

    name: str
    kind: Kind
    meaning: str
    columns: tuple[Column, ...]
    key: str | None = None
    required: bool = False

    @property
    def column_names(self) -> list[str]:
        """Names of all declared columns, in order."""
        return [column.name for column in self.columns]

    def column(self, name: str) -> Column:
        """Return the declared column called `name`; KeyError if there is none."""
        return {column.name: column for column in self.columns}[name]


EVIDENCE: Final = ("measured", "mapped", "inferred", "assumed", "unknown")
SYSTEM_KINDS: Final = (
    "trench",
    "bed",
    "mound",
    "seepage_pit",
    "drip",
    "aerobic_unit",
    "holding_tank",
    "cesspool",
    "unknown",
)
STAGES: Final = ("sound", "stressed", "failed")
SERVICE: Final = ("onsite", "sewer", "none", "unknown")
INSPECTION_REASONS: Final = ("complaint", "sale", "routine", "audit", "repair", "unknown")
PERMIT_ACTIONS: Final = ("new", "repair", "alteration", "evaluation", "unknown")
LAND_USES: Final = (
    "residential",
    "seasonal",
    "farm",
    "commercial",
    "institutional",
    "vacant",
    "water",
    "road",
    "other",
    "unknown",
)
DRAINAGE_CLASSES: Final = (
    "excessively",
    "somewhat excessively",
    "well",
    "moderately well",
    "somewhat poorly",
    "poorly",
    "very poorly",
    "subaqueous",
)
HYDROLOGIC_GROUPS: Final = ("A", "B", "C", "D", "A/D", "B/D", "C/D")
FLOODING_FREQUENCIES: Final = (
    "none",
    "very rare",
    "rare",
    "occasional",
    "frequent",
    "very frequent",
)
PONDING_FREQUENCIES: Final = ("none", "rare", "occasional", "frequent")
FLOOD_ZONES: Final = ("floodway", "hundred_year", "five_hundred_year", "outside")
WELL_USES: Final = ("domestic", "public", "irrigation", "monitoring", "other", "unknown")

FIRST_YEAR: Final = 1850.0
LAST_YEAR: Final = 2100.0
"""Years outside are refused as impossible: no record of an onsite system is older."""


def _text(name: str, meaning: str, domain: tuple[str, ...] = ()) -> Column:
    return Column(name, "text", meaning, domain=domain)


def _number(name: str, meaning: str, unit: str, low: float, high: float) -> Column:
    return Column(name, "number", meaning, unit, low, high)


def _year(name: str, meaning: str) -> Column:
    return Column(name, "number", meaning, "calendar year", FIRST_YEAR, LAST_YEAR)


def _key(name: str, meaning: str) -> Column:
    return Column(name, "text", meaning, nullable=False)


def _date(name: str, meaning: str) -> Column:
    return Column(name, "date", meaning)


def _flag(name: str, meaning: str) -> Column:
    return Column(name, "flag", meaning)


def _percent(name: str, meaning: str) -> Column:
    return _number(name, meaning, "%", 0, 100)


def _private(name: str, meaning: str) -> Column:
    return Column(name, "text", meaning, private=True)


PARCELS: Final = Layer(
    "parcels",
    "polygon",
    "Tax parcels with what the assessor knows; one row per piece of land.",
    (
        _key("parcel_id", "The county's parcel number, as text"),
        _text("address", "Site address"),
        _text("neighbourhood", "Subdivision or neighbourhood name used to group parcels"),
        _text("land_use", "What the land is used for", LAND_USES),
        _year("year_built", "Year the main building was built"),
        _number("bedrooms", "Bedrooms, all dwellings of the parcel together", "count", 0, 500),
        _number("occupants", "Persons living there, all dwellings together", "count", 0, 2000),
        _number("dwellings", "Dwelling units on the parcel", "count", 0, 500),
        _number("living_area_m2", "Living area", "m2", 0, 100_000),
        _flag("improved", "Whether the assessor lists a building"),
        _text("service", "Where sewage goes, if the county records it", SERVICE),
        _private("owner", "Owner's name"),
        _private("mail_name", "Name on the tax bill"),
        _private("mail_address", "Delivery line of the tax bill's address"),
        _private("mail_city", "City of the tax bill's address"),
        _private("mail_state", "State of the tax bill's address"),
        _private("mail_zip", "ZIP code of the tax bill's address"),
        _private("telephone", "Telephone number"),
    ),
    key="parcel_id",
    required=True,
)

BUILDINGS: Final = Layer(
    "buildings",
    "polygon",
    "Building footprints.",
    (_text("building_id", "Identifier, if any"),),
)

PERMITS: Final = Layer(
    "permits",
    "table",
    "Permits for onsite systems; several per parcel over the years. May carry a point.",
    (
        _key("permit_id", "The permit number, as text"),
        _text("parcel_id", "Parcel the permit is for; empty if the record has none"),
        _text("action", "What the permit allowed", PERMIT_ACTIONS),
        _text("kind", "Kind of onsite system", SYSTEM_KINDS),
        _date("issued", "Date the permit was issued"),
        _date("inspected", "Date the finished work was inspected"),
        _number("tank_volume_l", "Tank volume", "L", 0, 1e6),
        _number("design_flow_l_d", "Design daily flow", "L/day", 0, 1e6),
        _number("field_area_m2", "Area of the infiltrative surface", "m2", 0, 1e5),
        _flag("effluent_filter", "Whether the tank outlet has a filter"),
        _number("bedrooms", "Bedrooms the system was designed for", "count", 0, 500),
        _date("last_pumped", "Date of the last pump-out on record"),
        _number("x_m", "Easting of the system, region CRS", "m", -2e7, 2e7),
        _number("y_m", "Northing of the system, region CRS", "m", -2e7, 2e7),
    ),
    key="permit_id",
)

INSPECTIONS: Final = Layer(
    "inspections",
    "table",
    "Site visits with what was found.",
    (
        _key("parcel_id", "Parcel visited"),
        _date("date", "Date of the visit"),
        _text("reason", "Why the visit was made", INSPECTION_REASONS),
        _text("stage", "What was found", STAGES),
        _number("ponding_cm", "Depth of effluent standing in the field", "cm", 0, 500),
        _date("last_pumped", "Date of the last pump-out the visitor learnt of"),
    ),
)

SOIL_UNITS: Final = Layer(
    "soil_units",
    "polygon",
    "Soil map unit polygons.",
    (
        _key("mukey", "Map unit key"),
        _text("area_symbol", "Survey area"),
        _text("musym", "Map unit symbol"),
    ),
)

SOIL_MAPUNITS: Final = Layer(
    "soil_mapunits",
    "table",
    "Soil map units with the survey's own published absorption-field class.",
    (
        _key("mukey", "Map unit key"),
        _text("area_symbol", "Survey area"),
        _text("musym", "Map unit symbol"),
        _text("muname", "Map unit name"),
        _text("published_class", "Published class, dominant condition"),
        _text("published_class_least", "Published class, least limiting component"),
        _text("published_class_most", "Published class, most limiting component"),
    ),
    key="mukey",
)

SOIL_COMPONENTS: Final = Layer(
    "soil_components",
    "table",
    "Soil components: the kinds of soil that share a map unit, by percentage.",
    (
        _key("cokey", "Component key"),
        _key("mukey", "Map unit key"),
        _text("compname", "Name of the soil"),
        _percent("comppct", "Share of the map unit"),
        _text("compkind", "Series, miscellaneous area ..."),
        _flag("major", "Whether the survey calls it a major component"),
        _number("slope_low_pct", "Slope, low", "%", 0, 999),
        _number("slope_pct", "Slope, representative", "%", 0, 999),
        _number("slope_high_pct", "Slope, high", "%", 0, 999),
        _text("drainage_class", "Natural drainage class", DRAINAGE_CLASSES),
        _text("hydrologic_group", "Hydrologic soil group", HYDROLOGIC_GROUPS),
        _text("hydric", "Hydric rating"),
        _text("tax_subgroup", "Taxonomic subgroup"),
        _text("tax_great_group", "Taxonomic great group"),
        _text("tax_order", "Taxonomic order"),
        _number("subsidence_cm", "Total subsidence", "cm", 0, 1000),
        _text("local_phase", "Local phase"),
    ),
    key="cokey",
)

SOIL_HORIZONS: Final = Layer(
    "soil_horizons",
    "table",
    "Soil layers of each component.",
    (
        _key("cokey", "Component key"),
        _key("chkey", "Horizon key"),
        _text("name", "Horizon name"),
        _number("top_cm", "Top of the layer", "cm", 0, 2000),
        _number("bottom_cm", "Bottom of the layer", "cm", 0, 2000),
        _number("ksat_low_um_s", "Saturated conductivity, low", "um/s", 0, 1e4),
        _number("ksat_um_s", "Saturated conductivity, representative", "um/s", 0, 1e4),
        _number("ksat_high_um_s", "Saturated conductivity, high", "um/s", 0, 1e4),
        _percent("sand_pct", "Sand by weight"),
        _percent("silt_pct", "Silt by weight"),
        _percent("clay_pct", "Clay by weight"),
        _percent("organic_matter_pct", "Organic matter by weight"),
        _number("bulk_density_g_cm3", "Moist bulk density", "g/cm3", 0, 3),
        _percent("fragments_76_250_pct", "Fragments of 75-250 mm by weight"),
        _percent("fragments_over_250_pct", "Fragments over 250 mm by weight"),
        _text("texture", "Texture class code, with modifier"),
    ),
    key="chkey",
)

SOIL_RESTRICTIONS: Final = Layer(
    "soil_restrictions",
    "table",
    "Layers that stop roots and water.",
    (
        _key("cokey", "Component key"),
        _text("kind", "Kind of restriction"),
        _text("hardness", "Hardness"),
        _number("top_cm", "Depth to the top", "cm", 0, 2000),
        _number("bottom_cm", "Depth to the bottom", "cm", 0, 5000),
    ),
)

SOIL_MONTHS: Final = Layer(
    "soil_months",
    "table",
    "Flooding, ponding and wetness of each component by month.",
    (
        _key("cokey", "Component key"),
        _number("month", "Month", "1-12", 1, 12),
        _text("flooding_frequency", "Flooding frequency class", FLOODING_FREQUENCIES),
        _text("flooding_duration", "Flooding duration class"),
        _text("ponding_frequency", "Ponding frequency class", PONDING_FREQUENCIES),
        _text("ponding_duration", "Ponding duration class"),
        _number("wet_top_cm", "Top of the shallowest wet layer", "cm", 0, 2000),
        _number("wet_bottom_cm", "Bottom of that layer", "cm", 0, 5000),
    ),
)

SOIL_INTERPRETATIONS: Final = Layer(
    "soil_interpretations",
    "table",
    "Ratings the survey itself published; used for checking only.",
    (
        _key("cokey", "Component key"),
        _text("rule", "Rule name"),
        _text("factor", "Sub-rule name"),
        _number("rule_depth", "0 for the rule, 1 and more for its factors", "count", 0, 20),
        _number("rating", "Limitation", "0-1", 0, 1),
        _text("class", "Class name"),
    ),
)

ELEVATION: Final = Layer("elevation", "raster", "Land surface elevation, m.", ())
WATER_TABLE: Final = Layer("water_table", "raster", "Depth to the water table below ground, m.", ())

WATER_LEVELS: Final = Layer(
    "water_levels",
    "point",
    "Measured depths to water in wells.",
    (
        _text("site_id", "Station number"),
        _date("date", "Date of the measurement"),
        _number("depth_to_water_m", "Depth to water; negative: flowing", "m", -100, 1500),
        _number("water_elevation_m", "Water-level elevation", "m", -500, 6000),
        _text("vertical_datum", "Datum of the elevation"),
        _text("status", "Remark that makes the value unusable (obstruction, pumping ...)"),
    ),
)

STREAMS: Final = Layer(
    "streams", "line", "Streams.", (_text("stream_id", "Identifier"), _text("name", "Name"))
)
WATERBODIES: Final = Layer(
    "waterbodies",
    "polygon",
    "Lakes, ponds and rivers with width.",
    (_text("waterbody_id", "Identifier"), _text("name", "Name")),
)
FLOODPLAIN: Final = Layer(
    "floodplain", "polygon", "Mapped flood zones.", (_text("zone", "Flood zone", FLOOD_ZONES),)
)
SEWER_AREA: Final = Layer(
    "sewer_area", "polygon", "Area served by public sewer.", (_text("name", "Sewer district"),)
)
WELLHEAD_AREAS: Final = Layer(
    "wellhead_areas",
    "polygon",
    "Delineated protection areas of public wells.",
    (_text("name", "Name"),),
)

WELLS: Final = Layer(
    "wells",
    "point",
    "Wells with what the log says.",
    (
        _key("well_id", "Well number, as text"),
        _text("parcel_id", "Parcel the well stands on, if recorded"),
        _text("use", "Use of the well", WELL_USES),
        _number("depth_m", "Depth of the well", "m", 0, 1500),
        _number("casing_m", "Depth of the casing", "m", 0, 1500),
        _number("screen_top_m", "Top of the screen", "m", 0, 1500),
        _number("screen_bottom_m", "Bottom of the screen", "m", 0, 1500),
        _number("static_level_m", "Depth to water as drilled; negative: flowing", "m", -100, 1500),
        _number("ground_elevation_m", "Ground elevation as recorded", "m", -500, 6000),
        _text("vertical_datum", "Datum of the elevation"),
        _text("aquifer", "Aquifer the well draws on"),
        _date("drilled", "Date drilled"),
        _flag("dug", "Whether the well is dug or driven, not drilled"),
        _number("yield_l_d", "Tested yield", "L/day", 0, 1e9),
    ),
    key="well_id",
)

WELL_SAMPLES: Final = Layer(
    "well_samples",
    "table",
    "Laboratory results of well water.",
    (
        _key("well_id", "Well sampled"),
        _date("date", "Date of the sample"),
        _number("nitrate_mg_l", "Nitrate as nitrogen", "mg/L as N", 0, 2000),
        _flag("nitrate_below_limit", "Whether the result is a detection limit, not a value"),
        _flag("coliform", "Whether coliform bacteria were found"),
    ),
)

LAYERS: Final[Mapping[str, Layer]] = {
    layer.name: layer
    for layer in (
        PARCELS,
        BUILDINGS,
        PERMITS,
        INSPECTIONS,
        SOIL_UNITS,
        SOIL_MAPUNITS,
        SOIL_COMPONENTS,
        SOIL_HORIZONS,
        SOIL_RESTRICTIONS,
        SOIL_MONTHS,
        SOIL_INTERPRETATIONS,
        ELEVATION,
        WATER_TABLE,
        WATER_LEVELS,
        STREAMS,
        WATERBODIES,
        FLOODPLAIN,
        SEWER_AREA,
        WELLHEAD_AREAS,
        WELLS,
        WELL_SAMPLES,
    )
}

DEFECT_COLUMNS: Final = ("layer", "column", "check", "row", "value", "action")
"""Columns of every data-quality table: what is wrong, where, and what was done about it."""
