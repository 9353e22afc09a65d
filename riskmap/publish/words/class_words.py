"""What the classes mean, in the words of map, lists, report and styles."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import pandas as pd

from riskmap.contract.vocabulary import CLASSES, ON_FILE
from riskmap.publish.palette import CLASS_COLORS
from riskmap.publish.words.chance_words import chance_range
from riskmap.ranking.classes import class_places

SHARE_ENDS: Final = (9, 24, 39, 59, 100)
"""Upper ends of the bands of a share, %."""
SHARE_COLORS: Final = tuple(CLASS_COLORS[word] for word in reversed(CLASSES))
IN_LINE: Final = "on file or first in line for a visit"
"""Words for the classes of :data:`riskmap.contract.vocabulary.FIRST_CLASSES` together."""


def band_words(ends: Sequence[int], unit: str) -> list[str]:
    """Words for bands of whole numbers, lowest first.

    >>> band_words(SHARE_ENDS, "%")[-2:]
    ['40 to 59%', '60% or more']
    """
    starts = band_starts(ends, first=0 if unit else 1)
    between = [f"{start} to {end}{unit}" for start, end in zip(starts, ends, strict=True)]
    return [*between[:-1], f"{starts[-1]}{unit} or more"]


def band_starts(ends: Sequence[int], *, first: int = 0) -> list[int]:
    """Lower ends of bands of whole numbers whose upper ends are given.

    >>> band_starts(SHARE_ENDS)
    [0, 10, 25, 40, 60]
    """
    return [first, *(end + 1 for end in ends[:-1])]


def class_meanings(visits: int) -> dict[str, str]:
    """Class -> what it holds, highest first.

    Parameters
    ----------
    visits
        Visits of a season to systems that are to be found.

    >>> class_meanings(200)["high"], class_meanings(200)["lower"]
    ('next 200', 'all others')
    """
    places = class_places(visits)
    sizes = [f"first {places[0]:,}"]
    sizes += [f"next {after - before:,}" for before, after in pairwise(places)]
    return dict(zip(CLASSES, ("to follow up", *sizes, "all others"), strict=True))


def class_chances(systems: pd.DataFrame) -> dict[str, str]:
    """Class of the priority -> range of the chances that its systems have failed, in words.

    Parameters
    ----------
    systems
        Columns ``priority_class`` and ``chance_failed_frac``; nothing is said without the latter.
    """
    if "chance_failed_frac" not in systems:
        return {}
    chance = systems["chance_failed_frac"].astype(float).groupby(systems["priority_class"])
    low, high = chance.quantile(0.1), chance.quantile(0.9)
    return {
        name: chance_range(float(high[name]), float(low[name]))
        for name in CLASSES
        if name in low.index and pd.notna(low[name]) and name != ON_FILE
    }
