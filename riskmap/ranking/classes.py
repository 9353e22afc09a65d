"""Classes of a score: by what the visits of so many seasons reach, not by fixed scores.

A class holds the systems that one season reaches, the next, three more, and all others. Its lower
end is the score of the last system that those seasons reach; a system with the same score belongs
to it too.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.vocabulary import CLASSES, NOT_RANKED, ON_FILE

SEASONS: Final = (1, 2, 5)
"""Seasons of visits that reach the last system of each class but the last."""


def class_places(visits: int) -> tuple[int, ...]:
    """Place of the last system of each class but the last, where a season holds `visits`.

    >>> class_places(200)
    (200, 400, 1000)
    """
    return tuple(seasons * visits for seasons in SEASONS)


def lower_ends(scores: Floats, visits: int) -> Floats:
    """Lowest score of each class but the last, highest class first; -inf where fewer are in line.

    Parameters
    ----------
    scores
        Scores (n,) of the systems that are in line, none missing.
    visits
        Visits that a season holds.

    >>> lower_ends(np.arange(10.0), 2).tolist()
    [8.0, 6.0, 0.0]
    """
    down = np.sort(np.asarray(scores, float))[::-1]
    return np.array(
        [down[at - 1] if 0 < at <= len(down) else -np.inf for at in class_places(visits)]
    )


def classify(scores: pd.Series, in_line: Flags, visits: int, on_file: Flags) -> pd.Series:
    """Class word of each score.

    Parameters
    ----------
    scores
        Scores (n,); NaN where there is none.
    in_line
        (n,) the ranked systems, which the classes are counted by; others with a score get the
        class that their score would have.
    visits
        Visits that a season holds.
    on_file
        (n,) systems of the list to follow up: they are a class of their own.

    Examples
    --------
    >>> some = pd.Series([9.0, 7.0, 5.0, 3.0, 1.0, 8.0, None])
    >>> line = np.array([True] * 5 + [False] * 2)
    >>> classify(some, line, 1, np.arange(7) == 1).tolist()
    ['highest', 'on file', 'high', 'middle', 'middle', 'high', 'not ranked']
    """
    values = scores.to_numpy(dtype=float, na_value=np.nan)
    known = np.isfinite(values)
    ends = lower_ends(values[known & in_line & ~on_file], visits)
    place = (values[:, None] < ends[None, :]).sum(axis=1)
    words = np.array(CLASSES[1:], dtype=object)[place]
    words = np.where(on_file, ON_FILE, np.where(known, words, NOT_RANKED))
    return pd.Series(words, index=scores.index)
