"""Which columns the map's card shows, in which group, and how each is packed."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from riskmap.contract.features import FEATURES
from riskmap.contract.layers import EVIDENCE, PARCELS
from riskmap.publish.map.packing import Package, pack_codes, pack_numbers, pack_words
from riskmap.publish.words.display import Units, readable, shown

GROUPS: Final = {
    "System": (
        "kind",
        "age_yr",
        "installed_year",
        "tank_volume_l",
        "design_flow_l_d",
        "field_area_m2",
        "effluent_filter",
        "years_since_pumped_yr",
        "complaints",
        "repairs",
        "last_stage",
        "last_visit_year",
    ),
    "Site": (
        "land_use",
        "service",
        "service_reason",
        "neighborhood",
        "zone",
        "lot_m2",
        "dwellings",
        "bedrooms",
        "occupants",
    ),
    "Outlook by the model": (
        "chance_failing_frac",
        "stage",
        "load_ratio",
        "reserve_frac",
        "years_to_stressed_yr",
        "years_to_failed_yr",
    ),
    "What would help": (
        "pump_overdue_yr",
        "years_gained_half_flow_yr",
        "years_gained_pumping_yr",
        "years_gained_resting_yr",
        "replacement",
        "room_ratio",
    ),
    "Soil and ground": (
        "soil_class",
        "soil_reasons",
        "drainage_class",
        "wet_depth_cm",
        "restriction_cm",
        "ksat_um_s",
        "slope_pct",
        "flood_zone",
    ),
    "Water and wells": (
        "water_table_m",
        "well_distance_m",
        "wells_within_150_m",
        "wells_soon",
        "wells_reached",
        "nearest_reached_m",
        "travel_time_yr",
        "nitrate_given_mg_l",
        "stream_distance_m",
        "waterbody_distance_m",
        "systems_within_229_m",
        "vulnerability",
    ),
}
"""Groups of the card and their declared columns; what is in no group stays in the GIS files."""

SITE: Final = "Site"
"""The group that is told of every parcel; the others only where there is or may be a system."""

FILTERED: Final = ("kind", "service", "zone", "neighborhood", "age_yr")
"""Facts that the page filters by: read with the page, the rest with the first card."""

PAINTED: Final = ("stage",)
"""Facts that parcels are colored by: read before the first paint."""

CAPPED: Final = {
    "pump_overdue_yr": "not overdue",
    "years_to_stressed_yr": "already",
    "years_to_failed_yr": "already",
    "years_gained_half_flow_yr": "hardly any",
    "years_gained_pumping_yr": "hardly any",
    "years_gained_resting_yr": "hardly any",
}
"""Years, at most :data:`CAP_YR`, with which the model looks ahead: column -> words for none."""
CAP_YR: Final = 100

BY_PAIRS: Final = ("nearest_reached_m", "travel_time_yr", "nitrate_given_mg_l")
"""Facts that the list of wells reached tells in full."""

GROUP_NOTES: Final = {
    "Outlook by the model": "By the clogging model, if nothing was mended off the record. It "
    "looks 100 years ahead. Neither a good nor a bad outlook is a finding.",
    "What would help": "Years that a field may gain by the model, each step by itself; rough "
    "figures that rest on what is known of the system. Room is what the mapped setbacks leave. "
    "Local code and a licensed professional decide what may be done or built.",
}
"""Words under a group of the card."""

SHORT: Final = {
    "kind": "Kind",
    "installed_year": "Installed",
    "age_yr": "Age",
    "tank_volume_l": "Tank",
    "field_area_m2": "Field",
    "effluent_filter": "Outlet filter",
    "years_since_pumped_yr": "Since last pump-out",
    "last_stage": "Last visit found",
    "last_visit_year": "Last visit",
    "service": "Sewage goes to",
    "service_reason": "Known from",
    "neighborhood": "Neighborhood",
    "soil_class": "Soil for a field",
    "soil_reasons": "Soil limits",
    "drainage_class": "Drainage",
    "wet_depth_cm": "Seasonal water table",
    "restriction_cm": "First restriction",
    "ksat_um_s": "Slowest layer takes",
    "flood_zone": "Flood zone",
    "water_table_m": "Water table",
    "well_distance_m": "Nearest drinking well",
    "wells_within_150_m": "Drinking wells within 150 m",
    "stream_distance_m": "Nearest stream",
    "waterbody_distance_m": "Nearest lake or river",
    "systems_within_229_m": "Other systems within 229 m",
    "chance_failing_frac": "Chance of failing",
    "stage": "Likely state",
    "load_ratio": "Flow over capacity",
    "reserve_frac": "Field still dry",
    "years_to_stressed_yr": "Until stressed",
    "years_to_failed_yr": "Until failed",
    "pump_overdue_yr": "Pump-out overdue",
    "years_gained_half_flow_yr": "Half the water use gains",
    "years_gained_pumping_yr": "Pump-outs on time gain",
    "years_gained_resting_yr": "Resting the field gains",
    "replacement": "Room and soil suit",
    "room_ratio": "Room left over room needed",
    "wells_reached": "Wells its water reaches",
    "wells_soon": "Wells reached in 5 years",
    "nearest_reached_m": "Nearest well reached",
    "travel_time_yr": "Time to that well",
    "nitrate_given_mg_l": "Nitrate added there",
    "vulnerability": "Vulnerability",
    "spoke": "Ranked by",
}
"""Shorter labels for a narrow card."""

WITHIN_US: Final = {
    "wells_within_150_m": "Drinking wells within 490 ft",
    "systems_within_229_m": "Other systems within 750 ft",
}

SCORED: Final = (
    "priority",
    "priority_class",
    "failure_score",
    "failure_class",
    "groundwater_score",
    "groundwater_class",
    "rank",
    "not_ranked_reason",
    "reason_1",
    "reason_2",
    "reason_3",
    "unknown",
)
"""Columns of the ranked table that the page treats by name."""

DRAWN_FROM: Final = frozenset(
    f"{score}_{end}" for score in ("failure_score", "groundwater_score", "priority", "rank")
    for end in ("low", "middle", "high")
) | {"top_chance", "top_chance_error"}  # fmt: skip
"""Columns of doubt, which the card words by itself."""

NOT_FACTS: Final = frozenset(
    {*SCORED, *DRAWN_FROM, "address", "parcel_id", "geometry", "apart_rank", "zone", *FEATURES}
)
_RATING: Final = re.compile(r" \([0-9.]+\)")
PRIVATE: Final = frozenset(column.name for column in PARCELS.columns if column.private)
"""Owners' and mailing columns: never on the map, whatever the table holds."""


@dataclass(frozen=True)
class Fact:
    """One line of the card."""

    column: str
    group: str
    label: str
    unit: str
    evidence: bool
    none: str = ""
    """Words for zero, of a number that is cut off at :data:`CAP_YR`."""


def facts_of(ranked: pd.DataFrame, *, units: Units, without: Collection[str] = ()) -> list[Fact]:
    """List the card's lines for the columns that `ranked` has; unheard-of ones go last.

    `without` names columns that the card shows in another way.
    """
    told = {*without, *(["installed_year"] if installed_from(ranked) is not None else [])}
    found = [
        _fact(ranked, column, group, units)
        for group, columns in GROUPS.items()
        for column in columns
        if column in ranked and column not in told
    ]
    return found + [_fact(ranked, column, "More", units) for column in extra_columns(ranked)]


def installed_from(ranked: pd.DataFrame) -> int | None:
    """Year from which every known age counts back to the year installed; None if there is none.

    Where there is, the card derives the year and the page need not hold it.
    """
    if "age_yr" not in ranked or "installed_year" not in ranked:
        return None
    both = ranked[["age_yr", "installed_year"]].apply(pd.to_numeric, errors="coerce")
    if (both["age_yr"].isna() != both["installed_year"].isna()).any():
        return None
    years = both.sum(axis=1, min_count=2).dropna().unique()
    return int(years[0]) if len(years) == 1 and float(years[0]).is_integer() else None


def extra_columns(ranked: pd.DataFrame) -> list[str]:
    """Columns beyond the declared ones, the scores, the points and the private ones."""
    endings = ("_points", "_limitation", "_evidence")
    return [
        column
        for column in ranked.columns
        if column not in NOT_FACTS | PRIVATE and not str(column).endswith(endings)
    ]


def pack_fact(package: Package, values: pd.Series, fact: Fact, *, units: Units) -> dict[str, Any]:
    """Add the column of one card line: numbers as shown, flags as words, text as words."""
    if values.dtype == bool or isinstance(values.dtype, pd.BooleanDtype):
        words = values.astype("boolean").map({True: "yes", False: "no"})
        return pack_codes(package, pd.Series(words, index=values.index, dtype=object))
    if pd.api.types.is_numeric_dtype(values.dtype):
        reading = readable(fact.column, units=units)
        decimals = reading.decimals
        if fact.column not in FEATURES and not reading.unit and _has_fractions(values):
            return pack_numbers(package, values, decimals=3)
        return pack_numbers(package, shown(values, reading), decimals=decimals)
    if _all_flags(values):
        return pack_codes(package, values.map({True: "yes", False: "no"}))
    if fact.column == "soil_reasons":
        return pack_words(package, values.map(_leading_limits, na_action="ignore"))
    return pack_words(package, worded(values))


def pack_evidence(package: Package, values: pd.Series) -> dict[str, Any]:
    """Add an evidence column; its words keep the declared order."""
    return pack_codes(package, values, EVIDENCE)


def as_words(value: object) -> object:
    """Write lists as one text and declared words without their underscores.

    >>> as_words(["age", "tank volume"]), as_words("seepage_pit")
    ('age; tank volume', 'seepage pit')
    """
    if isinstance(value, list | tuple | set | frozenset | np.ndarray):
        return "; ".join(str(item) for item in value)
    if isinstance(value, str) and "_" in value and " " not in value and value.islower():
        return value.replace("_", " ")
    return value


def worded(values: pd.Series) -> pd.Series:
    """Apply :func:`as_words` to a text column, each distinct text once."""
    if values.map(type).isin([list, tuple, set, frozenset, np.ndarray]).any():
        return values.map(as_words)
    return values.map({word: as_words(word) for word in values.dropna().unique()})


def _leading_limits(text: object) -> str:
    """Return the first four limits without their ratings; the files hold them all."""
    return "; ".join(_RATING.sub("", str(text)).split("; ")[:4])


def _fact(ranked: pd.DataFrame, column: str, group: str, units: Units) -> Fact:
    reading = readable(column, units=units)
    label = SHORT.get(column, reading.label)
    if units == "us":
        label = WITHIN_US.get(column, label)
    none = CAPPED.get(column, "")
    return Fact(column, group, label, reading.unit, f"{column}_evidence" in ranked, none)


def _has_fractions(values: pd.Series) -> bool:
    number = values.to_numpy(dtype=float, na_value=np.nan)
    known = number[np.isfinite(number)]
    return bool((known != np.round(known)).any())


def _all_flags(values: pd.Series) -> bool:
    known = values.dropna()
    return len(known) > 0 and all(isinstance(value, bool | np.bool_) for value in known.head(50))
