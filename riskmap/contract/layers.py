"""The contract: every canonical layer and its columns, declared once.

Readers in ``data_pipelines`` aim at these tables, :mod:`riskmap.contract.check` checks against
them, and the data dictionary in ``docs/layers/dictionary.md`` is generated from them.

Inside the project all is SI; a column name carries its unit. Depth is positive down from ground.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from riskmap.contract.columns import (
    FIRST_YEAR,
    LAST_YEAR,
    PANDAS_DTYPE,
    Column,
    Dtype,
    Kind,
    Layer,
    date,
    flag,
    key,
    number,
    private,
    text,
    year,
)
from riskmap.contract.soil_layers import (
    DRAINAGE_CLASSES,
    FLOODING_FREQUENCIES,
    HYDROLOGIC_GROUPS,
    PONDING_FREQUENCIES,
    SOIL_COMPONENTS,
    SOIL_HORIZONS,
    SOIL_INTERPRETATIONS,
    SOIL_LAYERS,
    SOIL_MAPUNITS,
    SOIL_MONTHS,
    SOIL_RESTRICTIONS,
    SOIL_UNITS,
)

__all__ = [
    "BUILDINGS",
    "DEFECT_COLUMNS",
    "DRAINAGE_CLASSES",
    "ELEVATION",
    "EVIDENCE",
    "FIRST_YEAR",
    "FLOODING_FREQUENCIES",
    "FLOODPLAIN",
    "FLOOD_ZONES",
    "HYDROLOGIC_GROUPS",
    "INSPECTIONS",
    "INSPECTION_REASONS",
    "LAND_USES",
    "LAST_YEAR",
    "LAYERS",
    "PANDAS_DTYPE",
    "PARCELS",
    "PERMITS",
    "PERMIT_ACTIONS",
    "PONDING_FREQUENCIES",
    "PUBLIC_AREAS",
    "SERVICE",
    "SEWER_AREA",
    "SOIL_COMPONENTS",
    "SOIL_HORIZONS",
    "SOIL_INTERPRETATIONS",
    "SOIL_LAYERS",
    "SOIL_MAPUNITS",
    "SOIL_MONTHS",
    "SOIL_RESTRICTIONS",
    "SOIL_UNITS",
    "STAGES",
    "STREAMS",
    "SYSTEM_KINDS",
    "WATERBODIES",
    "WATER_LEVELS",
    "WATER_TABLE",
    "WELLHEAD_AREAS",
    "WELLS",
    "WELL_SAMPLES",
    "WELL_USES",
    "Column",
    "Dtype",
    "Kind",
    "Layer",
]

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
FLOOD_ZONES: Final = ("floodway", "hundred_year", "five_hundred_year", "outside")
WELL_USES: Final = ("domestic", "public", "irrigation", "monitoring", "other", "unknown")

PARCELS: Final = Layer(
    "parcels",
    "polygon",
    "Tax parcels with what the assessor knows; one row per piece of land.",
    (
        key("parcel_id", "The county's parcel number, as text"),
        text("address", "Site address"),
        text("neighborhood", "Subdivision or neighborhood name used to group parcels"),
        text("land_use", "What the land is used for", LAND_USES),
        year("year_built", "Year the main building was built"),
        number("bedrooms", "Bedrooms, all dwellings of the parcel together", "count", 0, 500),
        number("occupants", "Persons living there, all dwellings together", "count", 0, 2000),
        number("dwellings", "Dwelling units on the parcel", "count", 0, 500),
        number("living_area_m2", "Living area", "m2", 0, 100_000),
        flag("improved", "Whether the assessor lists a building"),
        text("service", "Where sewage goes, if the county records it", SERVICE),
        private("owner", "Owner's name"),
        private("mail_name", "Name on the tax bill"),
        private("mail_address", "Delivery line of the tax bill's address"),
        private("mail_city", "City of the tax bill's address"),
        private("mail_state", "State of the tax bill's address"),
        private("mail_zip", "ZIP code of the tax bill's address"),
        private("telephone", "Telephone number"),
    ),
    key="parcel_id",
    required=True,
)

BUILDINGS: Final = Layer(
    "buildings",
    "polygon",
    "Building footprints.",
    (text("building_id", "Identifier, if any"),),
)

PERMITS: Final = Layer(
    "permits",
    "table",
    "Permits for onsite systems; several per parcel over the years. May carry a point.",
    (
        key("permit_id", "The permit number, as text"),
        text("parcel_id", "Parcel the permit is for; empty if the record has none"),
        text("action", "What the permit allowed", PERMIT_ACTIONS),
        text("kind", "Kind of onsite system", SYSTEM_KINDS),
        date("issued", "Date the permit was issued"),
        date("inspected", "Date the finished work was inspected"),
        number("tank_volume_l", "Tank volume", "L", 0, 1e6),
        number("design_flow_l_d", "Design daily flow", "L/day", 0, 1e6),
        number("field_area_m2", "Area of the infiltrative surface", "m2", 0, 1e5),
        flag("effluent_filter", "Whether the tank outlet has a filter"),
        number("bedrooms", "Bedrooms the system was designed for", "count", 0, 500),
        date("last_pumped", "Date of the last pump-out on record"),
        number("x_m", "Easting of the system, region CRS", "m", -2e7, 2e7),
        number("y_m", "Northing of the system, region CRS", "m", -2e7, 2e7),
    ),
    key="permit_id",
)

INSPECTIONS: Final = Layer(
    "inspections",
    "table",
    "Site visits with what was found.",
    (
        key("parcel_id", "Parcel visited"),
        date("date", "Date of the visit"),
        text("reason", "Why the visit was made", INSPECTION_REASONS),
        text("stage", "What was found", STAGES),
        number("ponding_cm", "Depth of effluent standing in the field", "cm", 0, 500),
        date("last_pumped", "Date of the last pump-out the visitor learned of"),
    ),
)

ELEVATION: Final = Layer("elevation", "raster", "Land surface elevation, m.", ())
WATER_TABLE: Final = Layer("water_table", "raster", "Depth to the water table below ground, m.", ())

WATER_LEVELS: Final = Layer(
    "water_levels",
    "point",
    "Measured depths to water in wells.",
    (
        text("site_id", "Station number"),
        date("date", "Date of the measurement"),
        number("depth_to_water_m", "Depth to water; negative: flowing", "m", -100, 1500),
        number("water_elevation_m", "Water-level elevation", "m", -500, 6000),
        text("vertical_datum", "Datum of the elevation"),
        text("status", "Remark that makes the value unusable (obstruction, pumping ...)"),
    ),
)

STREAMS: Final = Layer(
    "streams", "line", "Streams.", (text("stream_id", "Identifier"), text("name", "Name"))
)
WATERBODIES: Final = Layer(
    "waterbodies",
    "polygon",
    "Lakes, ponds and rivers with width.",
    (text("waterbody_id", "Identifier"), text("name", "Name")),
)
FLOODPLAIN: Final = Layer(
    "floodplain", "polygon", "Mapped flood zones.", (text("zone", "Flood zone", FLOOD_ZONES),)
)
SEWER_AREA: Final = Layer(
    "sewer_area", "polygon", "Area served by public sewer.", (text("name", "Sewer district"),)
)
WELLHEAD_AREAS: Final = Layer(
    "wellhead_areas",
    "polygon",
    "Delineated protection areas of public wells.",
    (text("name", "Name"),),
)

PUBLIC_AREAS: Final = Layer(
    "public_areas",
    "polygon",
    "Blocks, tracts or townships that the public edition counts by, in place of hexagons.",
    (text("name", "Name of the area, as shown to the public"),),
)

WELLS: Final = Layer(
    "wells",
    "point",
    "Wells with what the log says.",
    (
        key("well_id", "Well number, as text"),
        text("parcel_id", "Parcel the well stands on, if recorded"),
        text("use", "Use of the well", WELL_USES),
        number("depth_m", "Depth of the well", "m", 0, 1500),
        number("casing_m", "Depth of the casing", "m", 0, 1500),
        number("screen_top_m", "Top of the screen", "m", 0, 1500),
        number("screen_bottom_m", "Bottom of the screen", "m", 0, 1500),
        number("static_level_m", "Depth to water as drilled; negative: flowing", "m", -100, 1500),
        number("ground_elevation_m", "Ground elevation as recorded", "m", -500, 6000),
        text("vertical_datum", "Datum of the elevation"),
        text("aquifer", "Aquifer the well draws on"),
        date("drilled", "Date drilled"),
        flag("dug", "Whether the well is dug or driven, not drilled"),
        number("yield_l_d", "Tested yield", "L/day", 0, 1e9),
    ),
    key="well_id",
)

WELL_SAMPLES: Final = Layer(
    "well_samples",
    "table",
    "Laboratory results of well water.",
    (
        key("well_id", "Well sampled"),
        date("date", "Date of the sample"),
        number("nitrate_mg_l", "Nitrate as nitrogen", "mg/L as N", 0, 2000),
        flag("nitrate_below_limit", "Whether the result is a detection limit, not a value"),
        flag("coliform", "Whether coliform bacteria were found"),
    ),
)

LAYERS: Final[Mapping[str, Layer]] = {
    layer.name: layer
    for layer in (
        PARCELS,
        BUILDINGS,
        PERMITS,
        INSPECTIONS,
        *SOIL_LAYERS,
        ELEVATION,
        WATER_TABLE,
        WATER_LEVELS,
        STREAMS,
        WATERBODIES,
        FLOODPLAIN,
        SEWER_AREA,
        WELLHEAD_AREAS,
        PUBLIC_AREAS,
        WELLS,
        WELL_SAMPLES,
    )
}

DEFECT_COLUMNS: Final = ("layer", "column", "check", "row", "value", "action")
"""Columns of every data-quality table: what is wrong, where, and what was done about it."""
