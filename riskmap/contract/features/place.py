"""Columns of the place: the parcel, its site and where its sewage goes."""

# fmt: off
from __future__ import annotations

from typing import Final

from riskmap.contract.columns import Listed, Prompt, key, lognormal, number, text
from riskmap.contract.features import card
from riskmap.contract.quantities import COUNT, FIELD_AREA, FLOW, LAND, LENGTH
from riskmap.contract.vocabulary import LAND_USES, SERVICE

PARCEL_ID: Final = key("parcel_id", "Parcel number, as text", label="Parcel",
                       listed=Listed(16, "parcels"))

ZONE: Final = text("zone", "Zone for planning that holds the system", label="Zone",
                   card=card.SITE, filtered=True)
"""Given by the map, from the zones of the run."""

PLACE: Final = (
    text("address", "Site address", label="Address", listed=Listed(26, "parcels", wrap=True)),
    text("neighborhood", "Subdivision or neighborhood, used to group parcels", label="Neighborhood",
         card=card.SITE, filtered=True, listed=Listed(17, "parcels", wrap=True)),
    text("land_use", "What the land is used for", LAND_USES, label="Land use", card=card.SITE),
    text("service", "Where sewage goes", SERVICE, evidence=True, label="Sewage goes to",
         card=card.SITE, filtered=True, in_report="known"),
    text("service_reason", "Why the program takes it so", label="Known from", card=card.SITE),
    number("lot_m2", "Lot size", LAND, label="Lot size", card=card.SITE,
           prompts=(Prompt(14, "Cars, sheds or paving over the field; room left for another one",
                           most=2000),)),
    number("treatment_m2", "Likely treatment area", FIELD_AREA, evidence=True),
    number("x_m", "Easting of the likely treatment area", LENGTH),
    number("y_m", "Northing of the likely treatment area", LENGTH),
    number("lot_line_m", "Room between the treatment area's middle and the lot line", LENGTH),
    number("dwellings", "Dwelling units on the parcel", COUNT, 0, 500, evidence=True,
           label="Dwellings", card=card.SITE),
    number("bedrooms", "Bedrooms, all dwellings together", COUNT, 0, 500, evidence=True,
           label="Bedrooms", card=card.SITE, sheet=True),
    number("occupants", "Persons living there, all dwellings together", COUNT, 0, 2000,
           evidence=True, label="Persons", noun=("person", "persons"),
           spread=lognormal(0.1, 0.3, 0.4, 0.5), card=card.SITE, sheet=True),
    number("metered_flow_l_d", "Water use by the meter, a daily mean", FLOW, 0, 1e6, evidence=True,
           label="Metered water", card=card.SITE),
)
