"""Columns of the system: kind, age, tank, field, and what visits found."""

# fmt: off
from __future__ import annotations

from typing import Final

from riskmap.contract.columns import (
    Listed,
    Prompt,
    flag,
    lognormal,
    normal,
    number,
    other_word,
    text,
    year,
)
from riskmap.contract.features import card
from riskmap.contract.kinds import KIND_WORDS, KINDS, SYSTEM_KINDS
from riskmap.contract.quantities import (
    COUNT,
    DEPTH,
    FIELD_AREA,
    FLOW,
    PERCOLATION,
    SHARE,
    VOLUME,
    YEARS,
)
from riskmap.contract.vocabulary import STAGES

SYSTEM: Final = (
    text("kind", "Kind of onsite system", SYSTEM_KINDS, evidence=True, label="Kind of system",
         words=KIND_WORDS, spread=other_word(0.02, 0.1, 0.3, 0.5), lookup="kind",
         card=card.SYSTEM, filtered=True, listed=Listed(13, "permits, inspections"), sheet=True,
         in_report="known",
         prompts=tuple(Prompt(4, kind.look_for, among=(kind.name,))
                       for kind in KINDS.values() if kind.look_for)),
    number("age_yr", "Age of the present system", YEARS, evidence=True, label="Age",
           spread=normal(0.5, 3, 8, 15), lookup="install_year", asked="Year installed",
           card=card.SYSTEM, filtered=True,
           listed=Listed(8, "permits, parcels", also_known_from=True), in_report="known",
           prompts=(Prompt(5, "Sunken covers, rusted or broken baffles as far as seen from outside",
                           least=30),)),
    year("installed_year", "Year the present system was installed", evidence=True,
         label="Installed", spread=normal(0.5, 3, 8, 15), card=card.SYSTEM, sheet=True,
         in_report="known"),
    number("tank_volume_l", "Tank volume", VOLUME, 0, 1e6, evidence=True, label="Tank",
           card=card.SYSTEM, sheet=True, in_report="known"),
    number("design_flow_l_d", "Design daily flow", FLOW, 0, 1e6, evidence=True,
           label="Design flow", card=card.SYSTEM),
    number("field_area_m2", "Infiltrative area of the field", FIELD_AREA, 0, 1e5, evidence=True,
           label="Field", spread=lognormal(0.05, 0.2, 0.4, 0.6), lookup="field_area",
           card=card.SYSTEM, in_report="known"),
    text("loading_class", "Soil class that the permit sized the field by, as the acceptance rule "
         "names it", evidence=True, label="Soil class on the permit", card=card.SYSTEM),
    number("percolation_min_cm", "Percolation time on the permit", PERCOLATION, 0, 1000,
           evidence=True, label="Percolation test", card=card.SYSTEM),
    number("nitrogen_removed_frac", "Share of the nitrogen that the treatment unit removes, by the "
           "permit", SHARE, 0, 1, evidence=True, label="Nitrogen removed", card=card.SYSTEM),
    flag("effluent_filter", "Whether the outlet has a filter", label="Outlet filter",
         card=card.SYSTEM),
    number("years_since_pumped_yr", "Years since the last pump-out on record", YEARS,
           evidence=True, label="Since last pump-out", spread=normal(0.5, 2, 5, 10),
           lookup="pump_out", card=card.SYSTEM, listed=Listed(12, "permits, inspections"),
           sheet=True, in_report="known",
           prompts=(Prompt(6, "Date of the last pump-out: ask for the receipt", least=5),)),
    number("complaints", "Complaints on record", COUNT, evidence=True, label="Complaints",
           noun=("complaint", "complaints"), spread=normal(0, 0, 0.5, 1), from_visits=True,
           card=card.SYSTEM,
           prompts=(Prompt(2, "What the complaint on record was about, and whether it is gone",
                           least=1),)),
    number("repairs", "Repairs on record", COUNT, evidence=True, label="Repairs",
           noun=("repair", "repairs"), spread=normal(0, 0, 0.5, 1), from_visits=True,
           card=card.SYSTEM,
           prompts=(Prompt(3, "Where the repair was made and how it holds", least=1),)),
    text("last_stage", "What the last visit found", STAGES, evidence=True, label="Last visit found",
         spread=other_word(0.05, 0.1, 0.3, 0.5), lookup="site_visit", from_visits=True,
         card=card.SYSTEM, sheet=True, in_report="known",
         prompts=(Prompt(1, "What became of the trouble found at the last visit; whether a repair "
                         "was made", among=("failed", "stressed")),)),
    number("ponding_found_cm", "Effluent found ponded in the field at the last visit that "
           "measured it, while the finding holds", DEPTH, 0, 500, evidence=True,
           label="Found ponded in the field", from_visits=True, card=card.SYSTEM, sheet=True),
    year("last_visit_year", "Year of the last visit", label="Last visit", from_visits=True,
         card=card.SYSTEM),
)
