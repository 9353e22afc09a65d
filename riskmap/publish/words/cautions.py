"""The cautions that go out with every result, in one place."""

from __future__ import annotations

from typing import Final

SCREENING: Final = (
    "This is a screening. A high rank does not show that a system has failed or that a well is "
    "contaminated, and a low rank does not show the opposite. Only a site visit and a laboratory "
    "sample can."
)
LOCAL_CODE: Final = (
    "Local code and licensed practice decide what must be done. Where they differ from anything "
    "shown here, they prevail."
)
SAFETY: Final = (
    "Sewage carries disease, and the gas in tanks kills without warning. No one opens or enters a "
    "tank without training, equipment and a second person. Keep people and animals away from "
    "sewage at the surface, and call a licensed professional."
)
WATER: Final = (
    "Anyone in doubt about their well should have it sampled by a certified laboratory, and follow "
    "the health department's advice until the result is there."
)
UNKNOWN: Final = (
    "Unknown is not safe. Where a record is missing the score uses a stated middle value and "
    "says so."
)
STAFF_ONLY: Final = (
    "Parcel results are for staff. Do not publish them: neighbors, buyers and lenders would read "
    "a guess as a finding."
)

STAFF_REPORT: Final = (
    "This report is for staff. It counts systems by neighborhoods, also where there are few: "
    "beside the public edition these counts could give away what it withholds. For a board or "
    "the public take the summary in the folder public."
)

CAUTIONS: Final = (SCREENING, LOCAL_CODE, SAFETY, WATER, UNKNOWN, STAFF_ONLY)
"""All of them, in the order they are printed."""
