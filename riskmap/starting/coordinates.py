"""Finds the columns of a table that hold coordinates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import pandas as pd

from data_pipelines.columns import find_column
from data_pipelines.values import as_text, plain_number
from riskmap.starting.aliases import NEUTRAL
from riskmap.starting.names import words_of

PAIRS: Final = (
    ("longitude", "latitude"),
    ("easting", "northing"),
    ("x", "y"),
)


@dataclass(frozen=True)
class Place:
    """Coordinate columns of a table; ``degrees``: longitude and latitude, not meters or feet."""

    x: str
    y: str
    degrees: bool
    swapped: bool = False


def find_places(frame: pd.DataFrame) -> list[Place]:
    """Find pairs of coordinate columns, the surest first.

    >>> find_places(pd.DataFrame({"LAT": [43.6], "LONG_": [-87.0]}))
    [Place(x='LONG_', y='LAT', degrees=True, swapped=False)]
    """
    names = {frozenset(words_of(str(name))) - NEUTRAL: str(name) for name in frame.columns[::-1]}
    found = []
    for first, second in PAIRS:
        x = next((names[words] for words in names if first in words and len(words) < 3), None)
        y = next((names[words] for words in names if second in words and len(words) < 3), None)
        if x is None:
            x = find_column(first, map(str, frame.columns))
        if y is None:
            y = find_column(second, map(str, frame.columns))
        if x is None or y is None:
            continue
        place = _place(frame, x, y)
        if place is not None:
            found.append(place)
    return found


def _place(frame: pd.DataFrame, x: str, y: str) -> Place | None:
    east, north = (plain_number(as_text(frame[name])) for name in (x, y))
    known = east.notna() & north.notna() & (east != 0)
    if known.mean() < 0.05:
        return None
    a, b = float(east[known].median()), float(north[known].median())
    if abs(a) <= 180 and abs(b) <= 90 and abs(a) > abs(b) / 4:
        return Place(x, y, degrees=True, swapped=a > 0 > b)
    if abs(b) <= 180 and abs(a) <= 90:
        return Place(y, x, degrees=True, swapped=True)
    return Place(x, y, degrees=abs(a) <= 180 and abs(b) <= 90)
