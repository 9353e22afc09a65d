"""Named data-quality flags: pure functions, usable alone.

Each takes columns and gives a boolean Series with the same index (True = suspicious). Missing
values are never flagged. :data:`FLAGS` names them all.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd

DEEP_WELL_M: Final = 200.0
PAIR_DISTANCE_M: Final = 100.0
OLDEST_YEAR: Final = 1850.0
MODIFICATION_YEARS: Final = 2.0

FLAGS: Final[Mapping[str, str]] = {
    "year_before_1850": "the year is before 1850: 0, 407 and 1389 are typing errors or blanks",
    "depth_over_200_m": "the well is deeper than 200 m: its depth may be in feet",
    "duplicate_parcel": "the parcel number occurs more than once",
    "well_in_waterbody": "the well lies in a lake or river: its point is wrong",
    "pairs_apart": "two coordinate pairs of one record lie more than 100 m apart",
    "casing_below_bottom": "the casing is longer than the well is deep",
    "screen_below_bottom": "the screen ends below the bottom of the well",
    "level_below_bottom": "the water level is below the bottom of the well",
    "flowing": "the water level is above ground: a flowing well (not an error)",
    "inspected_before_issue": "the work was inspected before the permit was issued",
    "inspected_in_later_year": "the inspection is in a later calendar year than the permit",
    "permit_long_after_house": "the permit is years younger than the house: perhaps a modification",
    "datum_differs": "the vertical datum is not the one most rows have",
}


def year_before_1850(year: pd.Series) -> pd.Series:
    """Years before 1850.

    >>> year_before_1850(pd.Series([0, 1389, 1850, None])).tolist()
    [True, True, False, False]
    """
    return year.astype("float64") < OLDEST_YEAR


def depth_over_200_m(depth_m: pd.Series) -> pd.Series:
    """Depths over 200 m."""
    return depth_m > DEEP_WELL_M


def duplicate_parcel(parcel_id: pd.Series) -> pd.Series:
    """Every row whose parcel number occurs on another row too."""
    return parcel_id.duplicated(keep=False) & parcel_id.notna()


def well_in_waterbody(wells: gpd.GeoSeries, waterbodies: gpd.GeoSeries) -> pd.Series:
    """Points strictly inside any of the polygons (same reference system)."""
    flag = pd.Series(False, index=wells.index)
    points, _ = waterbodies.sindex.query(wells.to_numpy(), predicate="within")
    flag.iloc[np.unique(points)] = True
    return flag


def pair_distance_m(
    x1_m: pd.Series, y1_m: pd.Series, x2_m: pd.Series, y2_m: pd.Series
) -> pd.Series:
    """Distance between two coordinate pairs of the same record, m; NaN where one is missing.

    Parameters
    ----------
    x1_m, y1_m, x2_m, y2_m
        Eastings and northings of both pairs, one row per record, projected m.
    """
    return pd.Series(np.hypot(x1_m - x2_m, y1_m - y2_m), index=x1_m.index)


def pairs_apart(distance_m: pd.Series, *, limit_m: float = PAIR_DISTANCE_M) -> pd.Series:
    """Pairs further apart than `limit_m`."""
    return distance_m > limit_m


def casing_below_bottom(casing_m: pd.Series, depth_m: pd.Series) -> pd.Series:
    """Casing longer than the well is deep."""
    return casing_m > depth_m


def screen_below_bottom(screen_bottom_m: pd.Series, depth_m: pd.Series) -> pd.Series:
    """Screen that ends below the bottom of the well."""
    return screen_bottom_m > depth_m


def level_below_bottom(level_m: pd.Series, depth_m: pd.Series) -> pd.Series:
    """Depth to water greater than the depth of the well."""
    return level_m > depth_m


def flowing(level_m: pd.Series) -> pd.Series:
    """Negative depth to water: the well flows."""
    return level_m < 0


def inspected_before_issue(issued: pd.Series, inspected: pd.Series) -> pd.Series:
    """Inspection earlier than the permit."""
    flag: pd.Series = (inspected < issued).astype(bool)
    return flag


def inspected_in_later_year(issued: pd.Series, inspected: pd.Series) -> pd.Series:
    """Inspection in a later calendar year than the permit."""
    flag: pd.Series = (inspected.dt.year > issued.dt.year).astype(bool)
    return flag


def permit_long_after_house(
    issued: pd.Series, year_built: pd.Series, *, years: float = MODIFICATION_YEARS
) -> pd.Series:
    """Permit long after the house was built: it may be for a change, not for the first system.

    Parameters
    ----------
    issued
        Dates of the permits.
    year_built
        Year of each permit's house; missing where unknown.
    years
        Years between the two above which the permit is flagged.

    Examples
    --------
    >>> issued = pd.Series(pd.to_datetime(["1995-06-01", "1975-06-01"]))
    >>> permit_long_after_house(issued, pd.Series([1974.0, 1974.0])).tolist()
    [True, False]
    """
    flag: pd.Series = (issued.dt.year - year_built > years).astype(bool)
    return flag


def datum_differs(datum: pd.Series) -> pd.Series:
    """Rows whose datum is not the most frequent one (ties: the first by name).

    >>> datum_differs(pd.Series(["NAVD88", "NGVD29", "NAVD88", None])).tolist()
    [False, True, False, False]
    """
    known = datum.dropna()
    if known.nunique() < 2:
        return pd.Series(False, index=datum.index)
    usual = known.mode().sort_values().iloc[0]
    flag: pd.Series = datum.notna() & (datum != usual).fillna(False).astype(bool)
    return flag
