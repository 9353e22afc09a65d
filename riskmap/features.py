"""The inventory's columns: what is known of each parcel, declared once.

The rooms ``inventory`` (writes), ``failure``, ``groundwater``, ``ranking`` (read) and ``publish``
(shows) agree on these names. A column marked ``evidence`` has a companion ``<name>_evidence`` that
holds one of :data:`riskmap.layers.EVIDENCE`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from riskmap.layers import (
    DRAINAGE_CLASSES,
    FLOOD_ZONES,
    HYDROLOGIC_GROUPS,
    LAND_USES,
    SERVICE,
    STAGES,
    SYSTEM_KINDS,
)


@dataclass(frozen=True)
class Feature:
    """One inventory column; ``unit`` is SI, ``domain`` lists the words of a text column."""

    name: str
    meaning: str
    unit: str = ""
    domain: tuple[str, ...] = ()
    evidence: bool = False


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

INVENTORY: Final = (
    Feature("address", "Site address"),
    Feature("neighbourhood", "Neighbourhood used to group parcels"),
    Feature("land_use", "Land use", domain=LAND_USES),
    Feature("service", "Where sewage goes", domain=SERVICE, evidence=True),
    Feature("service_reason", "Why we think so"),
    Feature("lot_m2", "Lot size", "m2"),
    Feature("treatment_m2", "Likely treatment area", "m2", evidence=True),
    Feature("x_m", "Easting of the likely treatment area", "m"),
    Feature("y_m", "Northing of the likely treatment area", "m"),
    Feature("soil_rating", "Absorption-field limitation by the national rule", "0-1", (), True),
    Feature("soil_class", "Class of that rating, dominant condition"),
    Feature("soil_reasons", "Sub-rules that limit, strongest first"),
    *(Feature(name, f"Limitation: {words}", "0-1") for name, words in SOIL_LIMITS.items()),
    Feature("soil_covered_frac", "Share of the treatment area with a rated soil", "0-1"),
    Feature("drainage_class", "Natural drainage class, dominant", "", DRAINAGE_CLASSES, True),
    Feature("hydrologic_group", "Hydrologic soil group, dominant", "", HYDROLOGIC_GROUPS, True),
    Feature("wet_depth_cm", "Depth to the seasonal water table", "cm", (), True),
    Feature("restriction_cm", "Depth to the first restriction", "cm", (), True),
    Feature("ksat_um_s", "Slowest saturated conductivity below 60 cm", "um/s", (), True),
    Feature("clay_pct", "Clay at trench depth", "%", (), True),
    Feature("elevation_m", "Ground elevation", "m", (), True),
    Feature("slope_pct", "Slope", "%", (), True),
    Feature("wetness", "Topographic wetness index, ln(a / tan b)", "ln(m)", (), True),
    Feature("water_table_m", "Depth to the water table", "m", (), True),
    Feature("flood_zone", "Worst flood zone touching the treatment area", "", FLOOD_ZONES, True),
    Feature("flood_frac", "Share of the treatment area in the hundred-year zone", "0-1"),
    Feature("well_distance_m", "Distance to the nearest drinking-water well", "m", (), True),
    Feature("wells_within_150_m", "Drinking-water wells within 150 m", "count"),
    Feature("stream_distance_m", "Distance to the nearest stream", "m", (), True),
    Feature("waterbody_distance_m", "Distance to the nearest lake, pond or river", "m", (), True),
    Feature("lot_line_m", "Room between the treatment area's middle and the lot line", "m"),
    Feature("systems_per_km2", "Onsite systems per square kilometre within 400 m", "1/km2"),
    Feature("systems_within_229_m", "Other onsite systems within 229 m", "count"),
    Feature("kind", "Kind of system", domain=SYSTEM_KINDS, evidence=True),
    Feature("installed_year", "Year the present system was installed", "year", (), True),
    Feature("age_yr", "Age of the present system", "yr", (), True),
    Feature("dwellings", "Dwelling units", "count", (), True),
    Feature("bedrooms", "Bedrooms", "count", (), True),
    Feature("occupants", "Persons", "count", (), True),
    Feature("tank_volume_l", "Tank volume", "L", (), True),
    Feature("design_flow_l_d", "Design flow", "L/day", (), True),
    Feature("field_area_m2", "Infiltrative area of the field", "m2", (), True),
    Feature("effluent_filter", "Whether the outlet has a filter"),
    Feature("years_since_pumped_yr", "Years since the last pump-out", "yr", (), True),
    Feature("complaints", "Complaints on record", "count", (), True),
    Feature("repairs", "Repairs on record", "count", (), True),
    Feature("last_stage", "What the last visit found", "", STAGES, True),
    Feature("last_visit_year", "Year of the last visit", "year"),
)
"""One row per parcel; index ``parcel_id``. `soil_rating` and the `limit_` columns are exact
area-weighted means over the treatment area and the component mixture."""
