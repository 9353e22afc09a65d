"""What a day sheet says of a system: facts in people's units, and how each is known."""

from __future__ import annotations

import pandas as pd

from riskmap.contract.evidence import KNOWN_FROM, mark_of
from riskmap.contract.features import declared, label, words
from riskmap.contract.quantities import Units
from riskmap.publish.paper.typesetting import field


def facts_table(features: pd.DataFrame, units: Units) -> list[list[dict[str, str]]]:
    """Facts of each row: ``label``, ``value`` (empty where unknown) and ``known`` (from where).

    >>> facts_table(pd.DataFrame({"bedrooms": [3.0]}), "us")[0][0]
    {'label': 'Bedrooms', 'value': '3', 'known': ''}
    """
    columns = []
    for name in (found.name for found in declared(sheet=True)):
        if name not in features:
            continue
        values = words(features[name], name, units).replace("unknown", "")
        marks = features.get(mark_of(name), pd.Series("", index=features.index))
        known = marks.map(KNOWN_FROM).fillna("")
        columns.append(
            [
                {
                    "label": label(name, units),
                    "value": field(value, 28),
                    "known": mark if value else "",
                }
                for value, mark in zip(values, known, strict=True)
            ]
        )
    return [list(facts) for facts in zip(*columns, strict=True)]
