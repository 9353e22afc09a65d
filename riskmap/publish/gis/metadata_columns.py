"""Meanings of the columns of the layers beside the parcels, with their units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from riskmap.action.zones import ZONE_COLUMNS
from riskmap.contract.layers import EVIDENCE, WELLS

_MARKS: Final = ", ".join(EVIDENCE)

LOT_COLUMNS: Final[Mapping[str, str]] = {
    "parcel_id": "Parcel number, as text",
    "place_m2": "Area of the rectangle (m2)",
    "place_length_m": "Its length along the contour (m)",
    "place_width_m": "Its width (m)",
}
"""Columns of ``treatment_areas`` and ``replacement_places``."""

CAPTURE_COLUMNS: Final[Mapping[str, str]] = {
    "well_id": "Well number, as text",
    "use": "Use of the well",
    "method": "How the area was drawn: curved path, fixed radius, unknown",
    "capture_yr": "Travel time to the well that the area stands for (years)",
    "pumping_l_d": "Draw of the well (L/day)",
    "pumping_l_d_evidence": f"How the draw is known: {_MARKS}",
    "area_m2": "Area (m2)",
    "systems": "Onsite systems inside",
    "nitrogen_kg_yr": "Nitrogen that the systems inside send to groundwater (kg/year)",
    "chosen": "Whether the area makes a zone for planning",
}
"""Columns of ``capture_zones``."""

_ASSESSED: Final = {
    "x_m": "Easting (m)",
    "y_m": "Northing (m)",
    "age_yr": "Age of the well (years)",
    "flow_l_d": "Draw of the well (L/day)",
    "nitrate_added_mg_l": "Nitrate that systems add in the long run, predicted (mg/L as N)",
    "systems_reaching": "Systems whose water may reach the well",
    "shortest_travel_time_d": "Shortest travel time from a system to the well (days)",
    "leading_parcel_id": "Parcel of the system that adds most nitrate",
    "leading_share_frac": "Share of the added nitrate that comes from it",
    "drainfields_within_229_m": "Drain fields within 229 m",
    "screen_evidence": f"How the depth of the screen is known: {_MARKS}",
    "well_vulnerability_frac": "How open the well is by its build, 0-1",
    "well_lowest_frac": "The same if all that is unknown were good",
    "well_highest_frac": "The same if all that is unknown were bad",
    "well_unknowns": "What is not known of the well",
    "well_evidence": f"How the build is known: {_MARKS}",
    "nitrate_predicted_mg_l": "Nitrate predicted, with the local background (mg/L as N)",
    "nitrate_low_mg_l": "Lower end of its 90 % range (mg/L as N)",
    "nitrate_high_mg_l": "Upper end of its 90 % range (mg/L as N)",
    "chance_above_limit_frac": "Chance that nitrate is above the limit for public water, 0-1",
    "germ_risk_frac": "Chance that germs get in, a relative measure, 0-1",
    "well_risk_frac": "Risk of the well by nitrate or germs, 0-1: orders the samples",
    "well_risk_low": "Lower end of the risk",
    "well_risk_high": "Upper end of the risk",
    "sampling_order": "Order of sampling by risk, 1 first",
    "capture_method": "How the capture area was drawn: curved path, fixed radius, unknown",
    "capture_yr": "Travel time that the capture area stands for (years)",
    "capture_m2": "Capture area (m2)",
    "capture_systems": "Onsite systems inside the capture area",
    "capture_nitrogen_kg_yr": "Nitrogen that these send to groundwater (kg/year)",
    "setback_short_systems": "Systems nearer to the well than the rules ask",
    "nearest_short_m": "Distance of the nearest of these (m)",
    "virus_distance_m": "Distance of the system whose water is there first (m)",
    "virus_time_d": "Travel time of its water (days)",
    "virus_log10": "Reduction of viruses on the way, powers of ten; 20 stands for 20 and more",
    "virus_needed_d": "Travel time that seven powers of ten need (days)",
    "published_low_m": "Published distance for the aquifer, lower end (m)",
    "published_high_m": "Published distance for the aquifer, upper end (m)",
    "against_published": "The distance beside the published range, in words",
    "zone_id": "Zone for planning that the well lies in",
}

WELL_COLUMNS: Final[Mapping[str, str]] = {
    **{c.name: f"{c.meaning} ({c.unit})" if c.unit else c.meaning for c in WELLS.columns},
    **_ASSESSED,
}
"""Columns of ``wells``."""

_ZONE_UNITS: Final = {
    "area_m2": "m2", "mean_age_yr": "years", "nitrogen_kg_yr": "kg/year", "mean_width_m": "m"
}  # fmt: skip
PLAN_COLUMNS: Final[Mapping[str, str]] = {
    name: f"{meaning} ({_ZONE_UNITS[name]})" if name in _ZONE_UNITS else meaning
    for name, meaning in ZONE_COLUMNS.items()
}
"""Columns of ``zones``."""
