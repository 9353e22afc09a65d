"""What a day sheet says of a system: facts in people's units, and how each is known."""

from __future__ import annotations

from typing import Final

import pandas as pd

from riskmap.contract.features import FEATURES
from riskmap.publish.paper.typesetting import field
from riskmap.publish.words.display import Units
from riskmap.ranking.wording import worded

FACTS: Final = {
    "kind": "Kind of system",
    "installed_year": "Installed",
    "bedrooms": "Bedrooms",
    "occupants": "Persons",
    "tank_volume_l": "Tank",
    "years_since_pumped_yr": "Last pump-out, years ago",
    "well_distance_m": "Nearest drinking-water well",
    "stream_distance_m": "Nearest stream",
    "wet_depth_cm": "Wet-season water below ground",
    "drainage_class": "Soil drainage",
    "last_stage": "Found at the last visit",
}
"""Feature -> words on the sheet, in printed order."""

KNOWN_FROM: Final = {
    "measured": "record",
    "mapped": "map",
    "inferred": "estimate",
    "assumed": "assumed",
}
"""Evidence mark -> the word on the sheet."""

_BARE: Final = frozenset({"bedrooms", "occupants", "installed_year", "years_since_pumped_yr"})


def facts_table(features: pd.DataFrame, units: Units) -> list[list[dict[str, str]]]:
    """Facts of each row: ``label``, ``value`` (empty where unknown) and ``known`` (from where).

    >>> facts_table(pd.DataFrame({"bedrooms": [3.0]}), "us")[0][0]
    {'label': 'Bedrooms', 'value': '3', 'known': ''}
    """
    columns = []
    for name, label in FACTS.items():
        if name not in features:
            continue
        values = _words(features[name], name, units).replace("unknown", "")
        marks = features.get(f"{name}_evidence", pd.Series("", index=features.index))
        known = marks.map(KNOWN_FROM).fillna("")
        columns.append(
            [
                {"label": label, "value": field(value, 28), "known": mark if value else ""}
                for value, mark in zip(values, known, strict=True)
            ]
        )
    return [list(facts) for facts in zip(*columns, strict=True)]


def _words(values: pd.Series, name: str, units: Units) -> pd.Series:
    if name in _BARE:
        numbers = pd.to_numeric(values, errors="coerce")
        return numbers.map(lambda number: f"{number:.0f}", na_action="ignore").fillna("")
    return worded(values, feature=name, unit=FEATURES[name].unit, units=units)
