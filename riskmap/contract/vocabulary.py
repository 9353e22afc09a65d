"""The words that columns of text may hold, each list once, in the order in which people read them.

Words of the soil survey are those of the USDA Soil Survey Manual.
"""

from __future__ import annotations

from typing import Final

import pandas as pd

STAGES: Final = ("sound", "stressed", "failed")
"""What a visit finds of a system, and what the models say of it."""

SERVICE: Final = ("onsite", "sewer", "none", "unknown")
"""Where sewage goes; ``none``: nothing is built."""

MAY_BE_ONSITE: Final = ("onsite", "unknown")
"""Parcels that have, or may have, an onsite system: unknown is never safe."""

INSPECTION_REASONS: Final = ("complaint", "sale", "routine", "audit", "repair", "unknown")
PERMIT_ACTIONS: Final = ("new", "repair", "alteration", "evaluation", "unknown")
DECIDED_BY_CONDITION: Final = "condition model"
"""What stands for the ranking that decides unless a learned one is surely better."""
WORKLISTS: Final = ("on file", "to find")
"""The lists of a season: systems to follow up, by what is on file; all others, by priority."""
ON_FILE, TO_FIND = WORKLISTS
CLASSES: Final = (ON_FILE, "highest", "high", "middle", "lower")
"""Classes of a score, highest first, by what seasons of visits reach
(:data:`riskmap.ranking.classes.SEASONS`); the first is of the priority alone."""
FIRST_CLASSES: Final = CLASSES[:3]
"""Classes that are in line for a visit: the follow-ups and two seasons."""
NOT_RANKED: Final = "not ranked"
"""Word for the class of a parcel without a score."""
SCORE_CLASSES: Final = (*CLASSES, NOT_RANKED)

LAND_USES: Final = (
    "residential", "seasonal", "farm", "commercial", "institutional", "vacant", "water", "road",
    "other", "unknown",
)  # fmt: skip
WELL_USES: Final = ("domestic", "public", "irrigation", "monitoring", "other", "unknown")
REPLACEMENTS: Final = ("in-ground field", "mound", "holding tank only", "unknown")
"""What could replace a field, by the space on the lot."""

FLOOD_WORDS: Final = {
    "floodway": "floodway",
    "hundred_year": "1% annual chance",
    "five_hundred_year": "0.2% annual chance",
    "outside": "outside",
}
"""Flood zone -> how it is read, the worst first."""
FLOOD_ZONES: Final = tuple(FLOOD_WORDS)

DRAINAGE_CLASSES: Final = (
    "excessively", "somewhat excessively", "well", "moderately well", "somewhat poorly", "poorly",
    "very poorly", "subaqueous",
)  # fmt: skip
HYDROLOGIC_GROUPS: Final = ("A", "B", "C", "D", "A/D", "B/D", "C/D")
FLOODING_FREQUENCIES: Final = (
    "none", "very rare", "rare", "occasional", "frequent", "very frequent",
)  # fmt: skip
PONDING_FREQUENCIES: Final = ("none", "rare", "occasional", "frequent")


def may_be_onsite(service: pd.Series) -> pd.Series:
    """Flag parcels that have, or may have, an onsite system: unknown is never safe.

    >>> may_be_onsite(pd.Series(["onsite", "sewer", None])).tolist()
    [True, False, True]
    """
    return service.astype(object).fillna("unknown").isin(MAY_BE_ONSITE)
