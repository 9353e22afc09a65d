"""When a tank is due: pump-out interval, years overdue, the weeks after a pump-out."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.interpolate import RegularGridInterpolator

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.units import GALLON_L, YEAR_D

PUMP_TABLE_GAL: Final = (500, 750, 900, 1000, 1250, 1500, 1750, 2000, 2250, 2500)
PUMP_TABLE_YR: Final = (
    (5.8, 2.6, 1.5, 1.0, 0.7, 0.4, 0.3, 0.2, 0.1, None),
    (9.1, 4.2, 2.6, 1.8, 1.3, 1.0, 0.7, 0.6, 0.4, 0.3),
    (11.0, 5.2, 3.3, 2.3, 1.7, 1.3, 1.0, 0.8, 0.7, 0.5),
    (12.4, 5.9, 3.7, 2.6, 2.0, 1.5, 1.2, 1.0, 0.8, 0.7),
    (15.6, 7.5, 4.8, 3.4, 2.6, 2.0, 1.7, 1.4, 1.2, 1.0),
    (18.9, 9.1, 5.9, 4.2, 3.3, 2.6, 2.1, 1.8, 1.5, 1.3),
    (22.1, 10.7, 6.9, 5.0, 3.9, 3.1, 2.6, 2.2, 1.9, 1.6),
    (25.4, 12.4, 8.0, 5.9, 4.5, 3.7, 3.1, 2.6, 2.2, 2.0),
    (28.6, 14.0, 9.1, 6.7, 5.2, 4.2, 3.5, 3.0, 2.6, 2.3),
    (31.9, 15.6, 10.2, 7.5, 5.9, 4.8, 4.0, 3.5, 3.0, 2.6),
)
"""Years between pump-outs: rows by tank volume (US gallons), columns by 1 to 10 persons. Table in
wide use by extension services; attributed to Mancl (1984), J. Environ. Eng. 110(1):283 (the table
was read, the attribution is from memory). The cell without a value has none in print."""

PUMPED_SHARE: Final = 0.122
PUMPED_SHARE_YR: Final = 38 / 12
"""12.2% of 8,826 systems were pumped within 38 months (Sci. Total Environ. 2023, one Georgia
county; abstract read)."""
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
