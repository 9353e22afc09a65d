"""Single values that people write into a file: a line of text, a number."""

from __future__ import annotations

import math
from typing import Final, TypeGuard

MOST_TEXT: Final = 1000
"""Longest line; no name, path, address or reason is longer."""
MOST_NUMBER: Final = 1e15
"""No seed, year, length, weight or limit is as large."""


def is_line(value: object) -> TypeGuard[str]:
    r"""Whether a value is one line of text that says something.

    >>> [is_line(value) for value in ("wells.csv", "", "two\nlines", 3)]
    [True, False, False, False]
    """
    if not isinstance(value, str) or len(value) > MOST_TEXT:
        return False
    return value.isprintable() and bool(value.strip())


def is_number(value: object) -> TypeGuard[int | float]:
    """Whether a value is a finite number of usual size, not true or false.

    >>> [is_number(value) for value in (3, 2.5, float("nan"), 10**400, True, "3")]
    [True, True, False, False, False, False]
    """
    if not isinstance(value, int | float) or isinstance(value, bool):
        return False
    return abs(value) < MOST_NUMBER and math.isfinite(value)
