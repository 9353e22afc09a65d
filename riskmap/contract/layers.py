"""The contract: every canonical layer and its columns, declared once.

Readers in ``data_pipelines`` aim at these tables, :mod:`riskmap.contract.check` checks against
them, and the data dictionary in ``docs/layers/dictionary.md`` is generated from them.

Inside the project all is SI; a column name carries its unit. Depth is positive down from ground.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from riskmap.contract.columns import Layer, Listed, date, flag, key, number, private, text, year
from riskmap.contract.features import FEATURES, card
from riskmap.contract.quantities import CONCENTRATION, COUNT, DEPTH, FIELD_AREA, FLOW, LAND, LENGTH
from riskmap.contract.soil_layers import SOIL_LAYERS
from riskmap.contract.vocabulary import (
    FLOOD_ZONES,
    INSPECTION_REASONS,
    PERMIT_ACTIONS,
    STAGES,
    WELL_USES,
)

PARCELS: Final = Layer(
    "parcels",
    "polygon",
    "Tax parcels with what the assessor knows; one row per piece of land.",
    (
        key("parcel_id", "The county's parcel number, as text"),
        FEATURES["address"],
        FEATURES["neighborhood"],
        FEATURES["land_use"],
        year("year_built", "Year the main building was built"),
        FEATURES["bedrooms"],
        FEATURES["occupants"],
        FEATURES["dwellings"],
        FEATURES["metered_flow_l_d"],
        number("living_area_m2", "Living area", FIELD_AREA, 0, 100_000),
        flag("improved", "Whether the assessor lists a building"),
        number(
            "recorded_area_m2", "Size of the lot on record, to hold the map against", LAND, 0, 1e11
        ),
        FEATURES["service"],
        private("owner", "Owner's name"),
        private("mail_name", "Name on the tax bill"),
        private("mail_address", "Delivery line of the tax bill's address"),
        private("mail_city", "City of the tax bill's address"),
        private("mail_state", "State of the tax bill's address"),
        private("mail_zip", "ZIP code of the tax bill's address"),
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
        FEATURES["kind"],
        date("issued", "Date the permit was issued"),
        date("inspected", "Date the finished work was inspected"),
        FEATURES["tank_volume_l"],
        FEATURES["design_flow_l_d"],
        FEATURES["field_area_m2"],
        FEATURES["loading_class"],
        FEATURES["percolation_min_cm"],
        FEATURES["nitrogen_removed_frac"],
        FEATURES["effluent_filter"],
        number("bedrooms", "Bedrooms the system was designed for", COUNT, 0, 500),
        date("last_pumped", "Date of the last pump-out on record"),
        number("x_m", "Easting of the system, region CRS", LENGTH, -2e7, 2e7),
        number("y_m", "Northing of the system, region CRS", LENGTH, -2e7, 2e7),
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
        number("ponding_cm", "Depth of effluent ponded in the field", DEPTH, 0, 500),
        date("last_pumped", "Date of the last pump-out the visitor learned of"),
        flag("well_sampled", "Whether a water sample was taken at the visit"),
        text(
            "recorded_in",
            "Where the visit is on record; set on reading. A reply slip is no visit: it tells of a "
            "pump-out alone",
            ("county's files", "outcome log", "reply slip"),
        ),
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
        number("depth_to_water_m", "Depth to water; negative: flowing", LENGTH, -100, 1500),
        number("water_elevation_m", "Water-level elevation", LENGTH, -500, 6000),
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
ROADS: Final = Layer(
    "roads", "line", "Roads, for the season's ways.", (text("name", "Name of the road"),)
)
PLACES: Final = Layer(
    "places",
    "point",
    "Towns, villages and neighborhoods, named on the map.",
    (
        text("name", "Name of the place"),
        number("area_m2", "Area of the place; where names do not fit, the larger's stands", LAND,
               0, 1e11),
    ),
)  # fmt: skip
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
        key("well_id", "Well number, as text", label="Well", listed=Listed(14, "wells")),
        text("parcel_id", "Parcel that the well is on, if recorded"),
        text(
            "use",
            "Use of the well",
            WELL_USES,
            label="Use",
            card=card.WELL_RECORD,
            listed=Listed(10, "wells"),
        ),
        number(
            "depth_m",
            "Depth of the well",
            LENGTH,
            0,
            1500,
            label="Depth",
            listed=Listed(8, "wells"),
        ),
        number("casing_m", "Depth of the casing", LENGTH, 0, 1500),
        number("screen_top_m", "Top of the screen", LENGTH, 0, 1500),
        number("screen_bottom_m", "Bottom of the screen", LENGTH, 0, 1500),
        number(
            "static_level_m", "Depth to water as drilled; negative: flowing", LENGTH, -100, 1500
        ),
        number("ground_elevation_m", "Ground elevation as recorded", LENGTH, -500, 6000),
        text("vertical_datum", "Datum of the elevation"),
        text("aquifer", "Aquifer the well draws on", label="Aquifer", card=card.WELL_RECORD),
        date("drilled", "Date drilled"),
        flag("dug", "Whether the well is dug or driven, not drilled"),
        number("yield_l_d", "Tested yield", FLOW, 0, 1e9),
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
        number("nitrate_mg_l", "Nitrate as nitrogen", CONCENTRATION, 0, 2000),
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
        ROADS,
        PLACES,
        FLOODPLAIN,
        SEWER_AREA,
        WELLHEAD_AREAS,
        PUBLIC_AREAS,
        WELLS,
        WELL_SAMPLES,
    )
}

PRIVATE: Final = frozenset(column.name for column in PARCELS.columns if column.private)
"""Owners' and mailing columns: never on a map, whatever the table holds."""
