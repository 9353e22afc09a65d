"""The groups of the map's card, in order, with the words under each."""

from __future__ import annotations

from typing import Final

SYSTEM: Final = "System"
SITE: Final = "Site"
CHANCES: Final = "Chances by what is on file"
OUTLOOK: Final = "Outlook by the clogging model"
HELP: Final = "What would help"
SOIL: Final = "Soil and ground"
WATER: Final = "Water and wells"
MORE: Final = "More"
"""The last group: columns that are declared nowhere."""

GROUP_NOTES: Final = {
    SYSTEM: "",
    SITE: "",
    CHANCES: "By the condition model, from the site, the system and every record on file. A chance "
    "is no finding.",
    OUTLOOK: "By the clogging model, if nothing was repaired off the record. It looks 100 years "
    "ahead. Neither a good nor a bad outlook is a finding.",
    HELP: "Years that a field may gain by the model, each step by itself; rough figures that rest "
    "on what is known of the system. Room is what the mapped setbacks leave. Local code and a "
    "licensed professional decide what may be done or built.",
    SOIL: "",
    WATER: "",
    MORE: "",
}

WELL_RISK: Final = "Risk"
WELL_RECORD: Final = "On record"
"""Groups of a well's card."""
ZONE: Final = "Zone"
"""The only group of a zone's card."""

CAP_YR: Final = 100
"""Years at most that the model looks ahead."""
