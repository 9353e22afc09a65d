"""The inventory's columns: what is known of each parcel, declared once.

The rooms ``inventory`` (writes), ``failure``, ``groundwater``, ``ranking`` (read) and ``publish``
(shows) agree on these names. A column marked ``evidence`` has a companion ``<name>_evidence`` that
holds one of :data:`riskmap.contract.layers.EVIDENCE`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from riskmap.contract.layers import (
    DRAINAGE_CLASSES,
    FLOOD_ZONES,
    HYDROLOGIC_GROUPS,
    LAND_USES,
    SERVICE,
    STAGES,
    SYSTEM_KINDS,
)

REPLACEMENTS: Final = ("in-ground field", "mound", "holding tank only", "unknown")
"""What could replace a field, by the room on the lot."""


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
    Feature("neighborhood", "Neighborhood used to group parcels"),
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
    Feature("systems_per_km2", "Onsite systems per square kilometer within 400 m", "1/km2"),
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

FAILURE: Final = (
    Feature("daily_flow_l_d", "Daily flow today", "L/day", (), True),
    Feature("field_area_used_m2", "Field area reckoned with", "m2", (), True),
    Feature("design_area_m2", "Field area that the sizing rule asks for", "m2", (), True),
    Feature("accept_rate_l_d_m2", "Water the soil accepts in the long term", "L/day/m2", (), True),
    Feature("load_ratio", "Daily flow over what the field accepts in the long term", "", (), True),
    Feature(
        "pump_interval_yr", "Years a tank of this size lasts between pump-outs", "yr", (), True
    ),
    Feature("pump_overdue_yr", "Years the pump-out is overdue", "yr", (), True),
    Feature(
        "ponding_m", "Depth at which effluent stands in the field, by the model", "m", (), True
    ),
    Feature("inlet_m", "Height of the inlet above the field's bottom", "m", (), True),
    Feature("reserve_frac", "Share of the field's depth still dry, by the model", "0-1", (), True),
    Feature("stage", "Likely state of the field, by the model", "", STAGES, True),
    Feature("years_to_stressed_yr", "Years until stressed at today's flow", "yr", (), True),
    Feature("years_to_failed_yr", "Years until failed at today's flow", "yr", (), True),
    Feature("years_gained_half_flow_yr", "Years gained by halving the flow", "yr", (), True),
    Feature("years_gained_pumping_yr", "Years gained by regular pump-outs", "yr", (), True),
    Feature("years_gained_resting_yr", "Years gained by resting the field", "yr", (), True),
    Feature("room_m2", "Room left on the lot for a replacement field", "m2", (), True),
    Feature("room_needed_m2", "Room that a replacement field needs", "m2", (), True),
    Feature("room_ratio", "Room left over room needed", "", (), True),
    Feature("replacement", "What could be built in its place", "", REPLACEMENTS, True),
)
"""Columns that ``failure`` and the room on the lot add."""

CHANCE: Final = (
    Feature("chance_failing_frac", "Chance of failing within the horizon", "0-1", (), True),
)
"""Columns that need the failure score."""

GROUNDWATER: Final = (
    Feature("nitrogen_kg_yr", "Nitrogen that leaves the field for groundwater", "kg/yr", (), True),
    Feature(
        "vulnerability", "Seven-factor vulnerability index, share of its range", "0-1", (), True
    ),
    Feature(
        "reaching",
        "Source x chance of failing x path x receptors, their geometric mean",
        "0-1",
        (),
        True,
    ),
    Feature("wells_soon", "Wells its water reaches within five years", "count", (), True),
    Feature("wells_reached", "Wells its water reaches at all", "count", (), True),
    Feature("nearest_reached_m", "Distance to the nearest well its water reaches", "m", (), True),
    Feature("travel_time_yr", "Time to the first well its water reaches", "yr", (), True),
    Feature("nitrate_given_mg_l", "Nitrate it adds to the worst-hit well", "mg/L as N", (), True),
    Feature("water_travel_time_yr", "Time to the lake or stream its water ends in", "yr", (), True),
    Feature(
        "lot_nitrate_mg_l", "Nitrate below the neighborhood by mass balance", "mg/L as N", (), True
    ),
    Feature(
        "seasonal_depth_m",
        "Depth to seasonal high water: the shallower of soil survey and water table",
        "m",
        (),
        True,
    ),
    Feature("seasonal_depth_by", "What gives that depth", "", ("soil", "regional", "unknown")),
)
"""Columns that ``groundwater`` adds."""

FEATURES: Final = {
    feature.name: feature for feature in (*INVENTORY, *FAILURE, *CHANCE, *GROUNDWATER)
}
"""Every declared feature by name."""
