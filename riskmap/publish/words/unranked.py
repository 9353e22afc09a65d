"""Why parcels are not ranked, and what to add; `check` and the front page say it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import pandas as pd

from riskmap.inventory.service import NO_SEWER_MAP
from riskmap.ranking.table import NO_SEWAGE, SERVED_BY_SEWER, TOO_LITTLE, UNKNOWN_SERVICE


@dataclass(frozen=True)
class Unranked:
    """One reason why parcels have no rank: how many, which layer is at fault, what to add."""

    reason: str
    parcels: int
    layer: str
    cure: str


_SEWERS: Final = (
    "sewer_area",
    "Add [layers.sewer_area] with the area that sewers serve; or, if there are none, "
    '[county] sewers = "none"; or map the parcels\' own column to service.',
)
_BUILT: Final = (
    "parcels",
    "Map land_use, year_built or improved of the parcels, or add [layers.buildings].",
)
_SOILS: Final = (
    "soil_survey",
    "Add the soil survey that covers these parcels, then terrain and wells.",
)
_NOTHING: Final = ("", "Nothing: no onsite system is there.")

_CURES: Final = {
    NO_SEWER_MAP: _SEWERS,
    UNKNOWN_SERVICE: _BUILT,
    TOO_LITTLE: _SOILS,
    NO_SEWAGE: _NOTHING,
    SERVED_BY_SEWER: _NOTHING,
}
"""Reason -> layer that is missing or thin, and what to add."""


def why_unranked(ranked: pd.DataFrame) -> list[Unranked]:
    """Count the parcels without a rank by reason, most first.

    Parameters
    ----------
    ranked
        Columns ``rank``, ``not_ranked_reason``, ``service_reason``.
    """
    rows = ranked[ranked["rank"].isna()]
    said = rows["not_ranked_reason"].fillna("").astype(object)
    apart = said.eq(UNKNOWN_SERVICE) & rows["service_reason"].eq(NO_SEWER_MAP)
    counts = said.mask(apart, NO_SEWER_MAP).value_counts()
    return [
        Unranked(str(reason), int(count), *_CURES.get(str(reason), _SOILS))
        for reason, count in counts.items()
    ]


def nothing_ranked(ranked: pd.DataFrame) -> list[str]:
    """Say what is missing where no parcel is ranked at all; empty where any is."""
    if ranked["rank"].notna().any():
        return []
    if ranked.empty:
        return ["No parcel is ranked: the parcel layer is empty."]
    return [
        f"No parcel is ranked. {one.parcels:,} of {len(ranked):,}: {one.reason}. {one.cure}"
        for one in why_unranked(ranked)
        if one.layer
    ] or ["No parcel is ranked: all are on public sewer or have no building."]
