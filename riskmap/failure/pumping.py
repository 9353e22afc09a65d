"""When a tank is due: pump-out interval, years overdue, the weeks after a pump-out."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.interpolate import RegularGridInterpolator

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.units import GALLON_L, YEAR_D
from riskmap.failure.rules_data import (
    PUMP_TABLE_GAL,
    PUMP_TABLE_YR,
    PUMPED_SHARE,
    PUMPED_SHARE_YR,
)

DEFAULT_TANK_L: Final = 1000 * GALLON_L
"""Tank volume when unknown, 1,000 gal (common practice, no source)."""
RECOVERY_WEEKS: Final = 8.0
"""A pumped tank needs 6 to 8 weeks to regain its biology; stronger waste reaches the field
meanwhile (common practice, no source)."""
PUMP_OUT_RATE_YR: Final = float(-np.log(1 - PUMPED_SHARE) / PUMPED_SHARE_YR)
"""Chance per year that a system is pumped, from the share pumped within 38 months."""

_WEEKS_PER_YEAR: Final = YEAR_D / 7


def _table() -> Floats:
    """Return the printed table; the cell without a value repeats its left neighbor."""
    rows = np.array([[np.nan if cell is None else cell for cell in row] for row in PUMP_TABLE_YR])
    left = np.roll(rows, 1, axis=1)
    return np.where(np.isnan(rows), left, rows)


_INTERVAL: Final = RegularGridInterpolator(
    (np.asarray(PUMP_TABLE_GAL, float) * GALLON_L, np.arange(1.0, 11.0)),
    _table(),
    bounds_error=False,
)


def pump_interval_yr(tank_volume_l: npt.ArrayLike, persons: npt.ArrayLike) -> Floats:
    """Recommended years between pump-outs, by the published table.

    Bilinear between printed cells, hence exact at them and monotone: longer for larger tanks,
    shorter for more persons. Outside 500-2,500 gal and 1-10 persons the nearest edge holds: no
    extrapolation. NaN where either is NaN.

    Examples
    --------
    >>> from riskmap.contract.units import GALLON_L
    >>> round(float(pump_interval_yr(1000 * GALLON_L, 4)), 6)
    2.6
    """
    volume, people = np.broadcast_arrays(
        np.asarray(tank_volume_l, float), np.asarray(persons, float)
    )
    low, high = PUMP_TABLE_GAL[0] * GALLON_L, PUMP_TABLE_GAL[-1] * GALLON_L
    points = np.stack([np.clip(volume, low, high), np.clip(people, 1.0, 10.0)], axis=-1)
    return np.asarray(_INTERVAL(points), float).reshape(volume.shape)


def pump_overdue_yr(years_since_pumped_yr: npt.ArrayLike, interval_yr: npt.ArrayLike) -> Floats:
    """Years past the recommended interval; 0 when not yet due."""
    late = np.asarray(years_since_pumped_yr, float) - np.asarray(interval_yr, float)
    return np.where(np.isnan(late), np.nan, np.maximum(late, 0.0))


def recovering(years_since_pumped_yr: npt.ArrayLike, *, weeks: float = RECOVERY_WEEKS) -> Flags:
    """Whether the tank is within `weeks` of a pump-out; False where unknown."""
    since = np.asarray(years_since_pumped_yr, float)
    return np.asarray((since >= 0) & (since * _WEEKS_PER_YEAR <= weeks), bool)


def assumed_years_since_pumped_yr(
    age_yr: npt.ArrayLike, *, rate_yr: float = PUMP_OUT_RATE_YR
) -> Floats:
    """Mean time since the last pump-out of a system of this age when no record exists, yr.

    Pump-outs come at random at `rate_yr`; never pumped counts from the year of installation:
    (1 - exp(-rate age)) / rate.
    """
    return np.asarray(-np.expm1(-rate_yr * np.asarray(age_yr, float)) / rate_yr, float)


def neglect(years_since_pumped_yr: npt.ArrayLike, interval_yr: npt.ArrayLike) -> Floats:
    """Mean overload of solids, 0 (tank kept) to 1 (never pumped), own formulation.

    The owner's habit is taken as one pump-out every max(time since the last, interval). Within such
    a cycle the carry-over of solids is nil up to the recommended interval, rises in proportion to
    full at twice the interval and stays there; this is its mean over the cycle. NaN if unknown.
    """
    x = np.asarray(years_since_pumped_yr, float) / np.asarray(interval_yr, float)
    safe = np.maximum(x, 1.0)
    ramp = (np.minimum(safe, 2.0) - 1.0) ** 2 / 2 + np.maximum(safe - 2.0, 0.0)
    return np.where(np.isnan(x), np.nan, ramp / safe)
