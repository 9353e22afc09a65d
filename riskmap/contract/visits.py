"""What is asked at every visit: the paper sheet, the workbook, the telephone form and the log.

Each question is declared once, as a column. Its label is the heading under which it is filled in;
its words are the choices. Photographs are named, never kept: they stay where they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from riskmap.contract.columns import Column, Listed, date, flag, key, number, text
from riskmap.contract.quantities import COUNT, DEGREES, DEPTH, LENGTH
from riskmap.contract.vocabulary import STAGES

COULD_NOT_TELL: Final = "could not tell"

FOUND_WORDS: Final[Mapping[str, str]] = {
    **dict(
        zip(
            STAGES,
            (
                "no sign of trouble",
                "effluent ponds high in the field, none at the surface",
                "sewage at the surface or backing up",
            ),
            strict=True,
        )
    ),
    COULD_NOT_TELL: "no access, snow, no one there",
}
"""What a visit finds -> what the word means to the visitor."""

VISIT_REASONS: Final[Mapping[str, str]] = {
    "list": "routine",
    "follow-up": "repair",
    "audit": "audit",
    "re-visit": "routine",
}
"""Why the season goes there -> the reason among the county's inspections. A follow-up goes to a
system on file as failed, to see whether it was repaired; an audit was drawn at random."""

QUESTIONS: Final = (
    date("visited_on", "Date of the visit", label="Visited on", listed=Listed(12)),
    text("visited_by", "Inspector's initials", label="By", listed=Listed(10)),
    text("access", "How much could be seen", ("full", "part", "none"), label="Access",
         listed=Listed(11)),
    text("found", "State of the system as seen", tuple(FOUND_WORDS), label="Found",
         listed=Listed(14)),
    number("ponding_cm", "Depth of effluent standing in the field", DEPTH, 0, 500,
           label="Ponding", listed=Listed(10)),
    date("last_pumped", "Date of the last pump-out that the visitor learned of",
         label="Last pump-out", listed=Listed(13)),
    flag("well_sampled", "Whether a water sample was taken", label="Well sampled",
         listed=Listed(11)),
    text("photographs", "Numbers or file names of the photographs", label="Photographs",
         listed=Listed(16)),
    text("met", "Who was met", ("owner", "tenant", "other", "nobody"), label="Met",
         listed=Listed(10)),
    text("telephone", "Number of the person met, if given", label="Telephone",
         listed=Listed(14), private=True),
    flag("consent", "Whether the person met agrees to be called again", label="Consent",
         listed=Listed(10), private=True),
    text("sketch", "Where the sketch of the lot is; the telephone form holds it itself",
         label="Sketch", listed=Listed(12)),
    text("next_step", "What is to follow",
         ("none", "pump-out", "repair", "second visit", "refer"), label="Next step",
         listed=Listed(15)),
    text("notes", "Anything the next visitor must know", label="Notes", listed=Listed(34)),
)  # fmt: skip
"""What the visitor fills in, in order."""

VISIT_KEYS: Final = (
    key("parcel_id", "Parcel visited", label="Parcel"),
    text("visit", "Why the season goes there", tuple(VISIT_REASONS), label="Visit",
         listed=Listed(10)),
)  # fmt: skip
"""What is printed or written beside the questions."""

VISIT_PLACE: Final = (
    number("longitude", "Longitude of the lot", DEGREES, -180, 180),
    number("latitude", "Latitude of the lot", DEGREES, -90, 90),
)

VISIT_COLUMNS: Final[Mapping[str, Column]] = {
    column.name: column for column in (*VISIT_KEYS, *QUESTIONS)
}

PERSONAL: Final = tuple(column.name for column in QUESTIONS if column.private)
"""Answers about people: kept apart in the log, where they can be deleted."""

SAME_VISIT: Final = ("parcel_id", "visited_on", "visited_by")
"""Two entries that agree in these are about one visit; the later corrects the earlier."""

STOP_COLUMNS: Final = (
    number("stop", "Place in the day's order", COUNT, label="Stop", listed=Listed(6)),
    text("begins", "Hour at which the visit is planned to begin", label="At", listed=Listed(7)),
    number("leg_m", "Way from the stop before, or from where the day begins", LENGTH, label="Way",
           listed=Listed(9)),
    VISIT_KEYS[1],
    number("longitude", "Longitude of the likely treatment area", DEGREES, -180, 180,
           label="Longitude", listed=Listed(12)),
    number("latitude", "Latitude of the likely treatment area", DEGREES, -90, 90,
           label="Latitude", listed=Listed(12)),
    text("road", "Nearest road", label="Road", listed=Listed(20)),
    text("why", "Why it is not earlier in the season", label="Why this day",
         listed=Listed(30, wrap=True)),
)  # fmt: skip
"""What a season's plan says of a stop, beside what the inspection list says."""
