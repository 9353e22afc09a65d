"""Columns of the failure models: the field's state, its outlook, and what would help."""

# fmt: off
from __future__ import annotations

from typing import Final

from riskmap.contract.columns import Listed, number, text, year
from riskmap.contract.features import card
from riskmap.contract.quantities import FIELD_AREA, FLOW, LOADING, RATIO, SHARE, SMALL_LENGTH, YEARS
from riskmap.contract.vocabulary import REPLACEMENTS, STAGES

FIELD: Final = (
    number("daily_flow_l_d", "Daily flow today", FLOW, evidence=True),
    number("field_area_used_m2", "Field area used by the model", FIELD_AREA, evidence=True),
    number("design_area_m2", "Field area that the sizing rule asks for", FIELD_AREA, evidence=True),
    number("accept_rate_l_d_m2", "Water the soil accepts in the long term", LOADING, evidence=True),
    text("stage", "Likely state of the field, by the model", STAGES, evidence=True,
         label="Likely state", card=card.OUTLOOK, listed=Listed(11, also_known_from=True)),
    number("load_ratio", "Daily flow over what the field accepts in the long term", RATIO,
           evidence=True, label="Flow over capacity", card=card.OUTLOOK,
           depends_on=("field_area_m2", "occupants")),
    number("reserve_frac", "Share of the field's depth still dry, by the model", SHARE,
           evidence=True, label="Field still dry", card=card.OUTLOOK,
           depends_on=("age_yr", "kind", "field_area_m2")),
    number("years_to_stressed_yr", "Years until stressed at today's flow", YEARS, evidence=True,
           label="Until stressed", card=card.OUTLOOK, none="already"),
    number("years_to_failed_yr", "Years until failed at today's flow", YEARS, evidence=True,
           label="Until failed", card=card.OUTLOOK, none="already"),
    number("pump_interval_yr", "Years a tank of this size lasts between pump-outs", YEARS,
           evidence=True),
    number("pump_overdue_yr", "Years the pump-out is overdue", YEARS, evidence=True,
           label="Pump-out overdue", card=card.HELP, none="not overdue", lookup="pump_out",
           asked="Date of last pump-out, tank size and number of persons",
           depends_on=("occupants", "tank_volume_l", "years_since_pumped_yr")),
    number("ponding_m", "Depth of wastewater standing in the field, by the model", SMALL_LENGTH,
           evidence=True),
    number("inlet_m", "Height of the inlet above the field's bottom", SMALL_LENGTH, evidence=True),
    number("years_gained_half_flow_yr", "Years gained by halving the flow", YEARS, evidence=True,
           label="Halving water use", card=card.HELP, none="little gain"),
    number("years_gained_pumping_yr", "Years gained by regular pump-outs", YEARS, evidence=True,
           label="Pumping on time", card=card.HELP, none="little gain"),
    number("years_gained_resting_yr", "Years gained by resting the field", YEARS, evidence=True,
           label="Resting the field", card=card.HELP, none="little gain"),
)
"""What the failure models say of the field."""

ROOM: Final = (
    text("replacement", "What could be built in its place", REPLACEMENTS, evidence=True,
         label="Room and soil suit", card=card.HELP),
    number("room_ratio", "Room left over room needed", RATIO, evidence=True,
           label="Room left over room needed", card=card.HELP),
    number("room_m2", "Room left on the lot for a replacement field", FIELD_AREA, evidence=True),
    number("room_needed_m2", "Room that a replacement field needs", FIELD_AREA, evidence=True),
)
"""What the geometry of the lot gives."""

FAILURE: Final = (*FIELD, *ROOM)

FAILED_TODAY: Final = (
    number("chance_failed_frac", "Chance that it has failed by today, from all that is on file",
           SHARE, label="Failed today", listed=Listed(9, on_paper=False)),
    number("chance_failed_low_frac", "Lower end of the 90% range of that chance", SHARE,
           label="Failed today, low", listed=Listed(9, on_paper=False)),
    number("chance_failed_high_frac", "Upper end of the 90% range of that chance", SHARE,
           label="Failed today, high", listed=Listed(9, on_paper=False)),
)
"""The chance that lists, card and sheets say in words, and its range."""

CHANCE: Final = (
    *FAILED_TODAY,
    number("chance_stressed_frac", "Chance that it is stressed today: near failing, still working",
           SHARE, label="Stressed today", card=card.CHANCES, listed=Listed(9)),
    number("chance_failing_frac", "Chance that it has failed or fails within the horizon", SHARE,
           evidence=True, label="Failed within the horizon", card=card.CHANCES,
           listed=Listed(9), depends_on=("age_yr", "kind")),
    text("likely_finding", "What a visit today would most likely find", STAGES,
         label="A visit would likely find", card=card.CHANCES, listed=Listed(10)),
    year("look_again_year", "Year to look again if a visit finds it sound today",
         label="If found sound, look again in", card=card.CHANCES, listed=Listed(9)),
)
"""What the condition model says, from the factors and all records together."""
