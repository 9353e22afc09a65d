"""From systems to areas: hexagons on a fixed grid, and counts in them.

The grid depends only on the origin of the county's coordinate system and on its width, so that it
is the same in every run. Only counts leave this module, never a row of a parcel.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.vocabulary import FIRST_CLASSES
from riskmap.spatial.hexagons import hexagon_of

AGE_CUTS_YR: Final = (20.0, 40.0)
"""Limits of the age groups, years: about half, and the end, of a common service life (common
practice, no source)."""

TOTAL: Final = "systems"
RISK: Final = ("raised", "not_raised", "no_score")
AGES: Final = ("age_under_20", "age_20_to_39", "age_40_or_more", "age_unknown")
COLUMNS: Final = (TOTAL, *RISK, *AGES)
"""Columns of the public table; each group of columns adds up to the first."""

WIDTHS_M: Final = (400.0, 600.0, 800.0, 1000.0, 1500.0, 2000.0, 3000.0, 4000.0, 6000.0, 8000.0)
"""Widths of cells to choose from, m, flat side to flat side."""

MOST_CELLS: Final = 4000


def choose_width(
    x_m: ArrayLike,
    y_m: ArrayLike,
    *,
    threshold: int,
    widths_m: Sequence[float] = WIDTHS_M,
    most_cells: int = MOST_CELLS,
) -> float:
    """Choose the smallest width whose typical cell holds enough systems to be shown.

    Enough: the median cell that holds any system holds at least three times `threshold`, so that
    it can be split in two and both parts shown; and there are no more than `most_cells`.

    Parameters
    ----------
    x_m, y_m
        Systems (n,), projected m.
    threshold
        Smallest count that may be published.
    widths_m
        Widths to choose from, m; the largest is taken if none is enough.
    most_cells
        Most cells that may hold systems.
    """
    x, y = np.asarray(x_m, dtype=float), np.asarray(y_m, dtype=float)
    for width_m in sorted(widths_m):
        cells = hexagon_of(x, y, across_m=width_m)
        _, counts = np.unique(cells, axis=0, return_counts=True)
        if len(counts) and len(counts) <= most_cells and np.median(counts) >= 3 * threshold:
            return float(width_m)
    return float(max(widths_m))


def risk_groups(classes: pd.Series, *, high: Sequence[str] = FIRST_CLASSES) -> pd.Series:
    """Group of each system: ``raised``, ``not_raised``, or ``no_score`` where it has no class."""
    words = classes.astype(object).where(classes.notna(), "")
    group = np.where(words.isin(list(high)), "raised", "not_raised")
    return pd.Series(np.where(words.isin(["", "not ranked"]), "no_score", group), classes.index)


def age_groups(age_yr: pd.Series, *, cuts_yr: tuple[float, float] = AGE_CUTS_YR) -> pd.Series:
    """Age group of each system; missing or impossible ages are ``age_unknown``.

    >>> age_groups(pd.Series([3, 20, 39.9, 40, None])).tolist()
    ['age_under_20', 'age_20_to_39', 'age_20_to_39', 'age_40_or_more', 'age_unknown']
    """
    age = pd.to_numeric(age_yr, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    known = np.isfinite(age) & (age >= 0)
    place = np.where(known, np.searchsorted(cuts_yr, np.where(known, age, 0.0), side="right"), 3)
    return pd.Series(np.array(AGES, dtype=object)[place], age_yr.index)


def count_areas(
    area: NDArray[np.int64], risk: pd.Series, age: pd.Series, *, areas: int
) -> pd.DataFrame:
    """Count the systems of each area by risk and age group.

    Parameters
    ----------
    area
        Area of each system (n,), from 0 to `areas` - 1.
    risk, age
        Groups of each system (n,), from :func:`risk_groups` and :func:`age_groups`.
    areas
        Number of areas.

    Returns
    -------
    DataFrame
        One row per area, columns :data:`COLUMNS`; zeros where an area is empty.

    Raises
    ------
    ValueError
        If an area number is out of range or a group has another name than those declared.
    """
    place = np.asarray(area, dtype=np.int64)
    if len(place) and (place.min() < 0 or place.max() >= areas):
        raise ValueError("an area number is out of range")
    columns = {TOTAL: np.bincount(place, minlength=areas)}
    for names, groups in ((RISK, risk), (AGES, age)):
        word = groups.to_numpy(dtype=object)
        for name in names:
            columns[name] = np.bincount(place[word == name], minlength=areas)
    table = pd.DataFrame(columns, dtype=np.int64)
    if not (table[list(RISK)].sum(axis=1) == table[TOTAL]).all():
        raise ValueError("risk has words other than its groups")
    if not (table[list(AGES)].sum(axis=1) == table[TOTAL]).all():
        raise ValueError("age has words other than its groups")
    return table
