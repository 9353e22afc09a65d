"""The tables of a result except its parcels: places on lots, zones, wells and lists for staff."""

# fmt: off
from __future__ import annotations

from typing import Final

from riskmap.contract.columns import Column, Layer, Listed, date, flag, key, number, text
from riskmap.contract.evidence import EVIDENCE
from riskmap.contract.features import PARCEL_ID, card
from riskmap.contract.layers import WELLS
from riskmap.contract.quantities import (
    CONCENTRATION,
    COUNT,
    DAYS,
    DEGREES,
    DENSITY,
    EXPECTED,
    FLOW,
    LENGTH,
    LIMIT,
    MASS_RATE,
    POINTS,
    RISK,
    SAMPLED,
    SHARE,
    TRACT,
    WHOLE_POINTS,
    YEARS,
)
from riskmap.contract.vocabulary import SCORE_CLASSES


def _known(name: str, what: str) -> Column:
    """Make the column of evidence of `what`."""
    return text(f"{name}_evidence", f"How {what} is known", EVIDENCE)


_LOTS: Final = (
    PARCEL_ID,
    number("place_m2", "Area of the rectangle", "m2"),
    number("place_length_m", "Its length along the contour", LENGTH),
    number("place_width_m", "Its width", LENGTH),
)

TREATMENT_AREAS: Final = Layer(
    "treatment_areas", "polygon",
    "Where the tank and field of a parcel most likely lie, by lot lines, buildings, wells and "
    "waters as mapped. An inference, not a survey.",
    _LOTS, key="parcel_id", title="Likely treatment areas",
)
REPLACEMENT_PLACES: Final = Layer(
    "replacement_places", "polygon",
    "The best rectangle for another field within the region's setbacks, one a parcel. It shows no "
    "more than what is mapped; a licensed designer decides on the ground.",
    _LOTS, key="parcel_id", title="Room for another field",
)

ZONES: Final = Layer(
    "zones", "polygon",
    "Land with the same leading reason to protect groundwater; zones do not overlap. A screening: "
    "a delineation for regulation needs a licensed hydrogeologist and local data.",
    (
        key("zone_id", "Zone: letter of its kind and a number, the largest first", label="Zone",
            listed=Listed(7)),
        text("kind", "Leading reason, by the stated order", label="Kind",
             listed=Listed(18, wrap=True)),
        text("why", "The reasons in words", label="Why", listed=Listed(60, wrap=True)),
        number("area_m2", "Area", TRACT, label="Area", card=card.ZONE, listed=Listed(9)),
        number("systems", "Onsite systems inside", COUNT, label="Systems", card=card.ZONE,
               listed=Listed(9)),
        number("wells", "Drinking-water wells inside", COUNT, label="Wells", card=card.ZONE,
               listed=Listed(7)),
        number("people", "People living inside, on record or estimated from bedrooms", COUNT,
               label="People", card=card.ZONE, listed=Listed(8)),
        number("systems_per_km2", "Density of systems in the zone", DENSITY, label="Density",
               listed=Listed(10)),
        number("mean_age_yr", "Mean age of its systems, of those known", YEARS, label="Mean age",
               listed=Listed(9)),
        number("mean_failure_score", "Mean failure score of its systems", WHOLE_POINTS,
               label="Mean failure score", listed=Listed(9)),
        number("mean_groundwater_score", "Mean groundwater score of its systems",
               WHOLE_POINTS, label="Mean groundwater score", listed=Listed(12)),
        number("failing_expected", "Systems expected to fail within the horizon", EXPECTED,
               label="Systems expected to fail", listed=Listed(10)),
        number("mean_nitrate_mg_l", "Mean nitrate predicted below its neighborhoods", CONCENTRATION,
               label="Mean nitrate predicted", listed=Listed(11)),
        number("worst_nitrate_mg_l", "Highest of these", CONCENTRATION,
               label="Highest nitrate predicted", listed=Listed(11)),
        number("nitrogen_kg_yr", "Nitrogen that its systems send to groundwater", MASS_RATE,
               label="Nitrogen to groundwater", listed=Listed(12)),
        number("setback_short", "Systems nearer to a well or surface water than the rules ask",
               COUNT, label="Systems short of a setback", listed=Listed(10)),
        number("mean_width_m", "Twice the area over the perimeter: how thin the zone is", LENGTH),
    ),
    key="zone_id", title="Zones for planning",
)

_METHOD: Final = ("curved path", "fixed radius", "unknown")

CAPTURE_ZONES: Final = Layer(
    "capture_zones", "polygon",
    "Where the water of each drinking-water well comes from, along the flow of groundwater, or a "
    "circle where the flow is unknown. A screening, not a delineation.",
    (
        WELLS.column("well_id"),
        WELLS.column("use"),
        text("method", "How the area was drawn", _METHOD),
        number("capture_yr", "Travel time to the well that bounds the area", YEARS),
        number("pumping_l_d", "Draw of the well", FLOW),
        _known("pumping_l_d", "the draw"),
        number("area_m2", "Area", TRACT),
        number("systems", "Onsite systems inside", COUNT),
        number("nitrogen_kg_yr", "Nitrogen that the systems inside send to groundwater", MASS_RATE),
        flag("chosen", "Whether the area makes a zone for planning"),
    ),
    key="well_id", title="Capture areas of wells",
)

ASSESSED_WELLS: Final = Layer(
    "wells", "point",
    "One point a well with what its log says, the nitrate predicted, its risk and its order of "
    "sampling. A prediction: only a laboratory sample shows what is in the water.",
    (
        *WELLS.columns,
        number("x_m", "Easting", LENGTH),
        number("y_m", "Northing", LENGTH),
        number("age_yr", "Age of the well", YEARS),
        number("flow_l_d", "Draw of the well", FLOW),
        number("nitrate_added_mg_l", "Nitrate that systems add in the long run, predicted",
               CONCENTRATION),
        number("systems_reaching", "Systems whose water may reach the well", COUNT,
               card=card.WELL_RISK),
        number("shortest_travel_time_d", "Shortest travel time from a system to the well", DAYS),
        text("leading_parcel_id", "Parcel of the system that adds most nitrate"),
        number("leading_share_frac", "Share of the added nitrate that comes from it", SHARE),
        number("drainfields_within_229_m", "Drain fields within {229 m}", COUNT),
        _known("screen", "the depth of the screen"),
        number("well_vulnerability_frac", "How open the well is by its build", LIMIT),
        number("well_lowest_frac", "The same if all that is unknown were good", LIMIT),
        number("well_highest_frac", "The same if all that is unknown were bad", LIMIT),
        text("well_unknowns", "What is not known of the well", card=card.WELL_RISK),
        _known("well", "the build"),
        number("expected_at_screen_mg_l",
               "Nitrate that systems are expected to add where the well draws, over the doubt of "
               "the flow", CONCENTRATION),
        number("expected_on_top_mg_l", "The same in the uppermost ground water", CONCENTRATION),
        date("last_sample", "Date of the well's last sample", card=card.WELL_RISK),
        number("last_nitrate_mg_l", "Nitrate of the well's own last sample that tested it",
               SAMPLED, card=card.WELL_RISK),
        flag("last_nitrate_below_limit",
             "Whether that is below what the laboratory can see, the value being its limit",
             card=card.WELL_RISK),
        number("nitrate_predicted_mg_l",
               "Nitrate predicted without the well's own samples, the middle value",
               CONCENTRATION, card=card.WELL_RISK),
        number("nitrate_wells_sampled", "Other sampled wells that the prediction learned from",
               COUNT),
        number("nitrate_low_mg_l", "Lower end of its 90% range", CONCENTRATION,
               card=card.WELL_RISK),
        number("nitrate_high_mg_l", "Upper end of its 90% range", CONCENTRATION,
               card=card.WELL_RISK),
        number("chance_above_limit_frac",
               "Chance that nitrate is above the limit for public water", SHARE,
               card=card.WELL_RISK),
        number("germ_risk_frac", "Chance that germs get in, a relative measure", LIMIT),
        number("well_risk_frac", "Risk of the well by nitrate or germs: orders the samples", LIMIT,
               card=card.WELL_RISK),
        number("well_risk_low", "Lower end of the risk", LIMIT, card=card.WELL_RISK),
        number("well_risk_high", "Upper end of the risk", LIMIT, card=card.WELL_RISK),
        number("sampling_order", "Order of sampling by risk, 1 first", COUNT),
        text("capture_method", "How the capture area was drawn", _METHOD),
        number("capture_yr", "Travel time that bounds the capture area", YEARS),
        number("capture_m2", "Capture area", TRACT),
        number("capture_systems", "Onsite systems inside the capture area", COUNT),
        number("capture_nitrogen_kg_yr", "Nitrogen that these send to groundwater", MASS_RATE),
        number("setback_short_systems", "Systems nearer to the well than the rules ask", COUNT,
               card=card.WELL_RISK),
        number("nearest_short_m", "Distance of the nearest of these", LENGTH),
        number("virus_distance_m", "Distance of the system whose water is there first", LENGTH),
        number("virus_time_d", "Travel time of its water", DAYS),
        number("virus_log10",
               "Reduction of viruses on the way, powers of ten; 20 means 20 and more"),
        number("virus_needed_d", "Travel time that seven powers of ten need", DAYS),
        number("published_low_m", "Published distance for the aquifer, lower end", LENGTH),
        number("published_high_m", "Published distance for the aquifer, upper end", LENGTH),
        text("against_published", "The distance against the published range, in words"),
        text("zone_id", "Zone for planning that the well lies in", label="Zone",
             card=card.WELL_RECORD),
    ),
    key="well_id", title="Drinking-water wells with predicted risk",
)

_WELLS_HERE: Final = "wells, this run"

SAMPLING: Final = Layer(
    "well_sampling", "table", "Wells in the order in which to sample them.",
    (
        number("order", "Order of sampling, 1 first", COUNT, label="Order",
               listed=Listed(7, _WELLS_HERE)),
        WELLS.column("well_id"),
        text("address", "Site address of that parcel", label="Address",
             listed=Listed(26, "parcels", wrap=True)),
        text("why", "What its samples say", label="Why", listed=Listed(26, _WELLS_HERE, wrap=True)),
        number("systems_near", "Ranked onsite systems within {229 m}", COUNT, label="Systems near",
               listed=Listed(9, _WELLS_HERE)),
        number("nearest_system_m", "Distance to the nearest ranked system", LENGTH,
               label="Nearest system", listed=Listed(10, _WELLS_HERE)),
        number("worst_groundwater_score", "Highest groundwater score among those systems",
               POINTS, label="Worst score near", listed=Listed(10, _WELLS_HERE)),
        number("risk", "Number it is ordered by; see the notes", RISK, label="Risk",
               listed=Listed(8, _WELLS_HERE)),
        WELLS.column("use"),
        WELLS.column("depth_m"),
        date("last_sample", "Date of the last sample on record", label="Last sample",
             listed=Listed(12, _WELLS_HERE)),
        number("last_nitrate_mg_l", "Nitrate at the last sample that tested it", SAMPLED,
               label="Last nitrate", listed=Listed(11, _WELLS_HERE)),
        number("nitrate_predicted_mg_l", "Nitrate predicted without the well's own samples",
               CONCENTRATION, label="Nitrate predicted", listed=Listed(11, _WELLS_HERE)),
        number("chance_above_limit_frac", "Chance by that prediction that it is above the limit",
               SHARE, label="Chance above", listed=Listed(10, _WELLS_HERE)),
        text("last_coliform", "Coliform bacteria at the last sample that tested them",
             label="Last coliform", listed=Listed(10, _WELLS_HERE)),
        text("test_for", "What the laboratory tests for", label="Test for",
             listed=Listed(22, _WELLS_HERE, wrap=True)),
        text("parcel_id", "Parcel that the well is on; empty where on none", label="Parcel",
             listed=Listed(16, "parcels")),
        text("owner", "Owner of that parcel, where the county keeps owners", label="Owner",
             listed=Listed(22, "parcels", wrap=True)),
        number("latitude", "Latitude, degrees WGS 84, as mapped: the well may be elsewhere",
               DEGREES, label="Latitude", listed=Listed(10, _WELLS_HERE)),
        number("longitude", "Longitude, degrees WGS 84", DEGREES, label="Longitude",
               listed=Listed(11, _WELLS_HERE)),
    ),
)

MAILING: Final = Layer(
    "mailing", "table", "Who is written to: one row per addressee.",
    (
        number("order", "Order by the best rank among the addressee's parcels", COUNT,
               label="Order", listed=Listed(7)),
        text("name", "Name line of the address", label="Name",
             listed=Listed(36, "parcels", wrap=True)),
        text("delivery_line", "Street, box or route in postal form", label="Street or box",
             listed=Listed(26, "parcels", wrap=True)),
        text("last_line", "City, state and ZIP code in postal form", label="City, state, ZIP",
             listed=Listed(26, "parcels")),
        text("address_check", "What to complete or check before mailing; empty where nothing",
             label="Check first", listed=Listed(20, wrap=True)),
        text("audience", "household: lives on the parcel; owner: tax bill goes elsewhere or "
             "several parcels", ("household", "owner"), label="For", listed=Listed(11)),
        text("language", "Language on record (en or es), if the county keeps it", label="Language",
             listed=Listed(9, "parcels")),
        number("parcels", "How many parcels the letter is about", COUNT, label="Parcels",
               listed=Listed(8)),
        text("site_addresses", "Their site addresses", label="About",
             listed=Listed(34, "parcels", wrap=True)),
        text("parcel_ids", "Their parcel numbers", label="Parcel numbers",
             listed=Listed(20, "parcels", wrap=True)),
        text("priority_class", "Highest class among them", SCORE_CLASSES, label="Class",
             listed=Listed(10)),
        number("best_rank", "Best rank among them", COUNT, label="Best rank", listed=Listed(9)),
    ),
)
