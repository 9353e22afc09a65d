"""Stops in a sensible driving order, grouped into days, by straight lines.

No road network is read: the order keeps stops of a day close together and the way between them
short as the crow flies. It gives no directions.

The stops are strung on one tour (nearest neighbor, then 2-opt: Croes 1958, Operations Research
6:791), the tour is cut into days where that costs least (route first, cluster second: Beasley
1983, Omega 11:403), and each day is then put into its shortest order, exactly for up to 12 stops
(Held and Karp 1962, J. SIAM 10:196). All is deterministic: ties go to the earlier stop.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.spatial.distance import cdist

from riskmap.contract.arrays import Floats, Whole

EXACT_STOPS: Final = 12
"""Days up to this size are ordered exactly."""
MOST_STOPS: Final = 2000
"""More stops than this are a work plan for years; the method's time grows with the square."""
_SMALL_M: Final = 1e-6


def plan_days(
    x_m: ArrayLike,
    y_m: ArrayLike,
    *,
    per_day: int = 8,
    start: tuple[float, float] | None = None,
) -> pd.DataFrame:
    """Group stops into days and order each day.

    Parameters
    ----------
    x_m, y_m
        Easting and northing of the stops (n,), most urgent first, n at most :data:`MOST_STOPS`.
    per_day
        Most stops a day.
    start
        Where every day starts and ends (the office); None: wherever suits.

    Returns
    -------
    DataFrame
        A row a stop in the given order: ``day`` (1 holds the most urgent stop, 2 the most urgent
        of the rest, and so on), ``stop`` (1.. within the day), ``leg_m`` (straight line from the
        stop before; from the start for the first, NaN where there is none).

    Raises
    ------
    ValueError
        If there are too many stops, ``per_day`` is below 1 or a position is missing.
    """
    points = np.column_stack([np.asarray(x_m, float), np.asarray(y_m, float)])
    _refuse(points, per_day)
    if not len(points):
        return pd.DataFrame({"day": pd.Series(dtype=int), "stop": pd.Series(dtype=int),
                             "leg_m": pd.Series(dtype=float)})  # fmt: skip
    tour = _tour(points, start)
    days = [shortest_order(points, day, start) for day in _cut(points[tour], tour, per_day, start)]
    days.sort(key=lambda day: int(np.min(day)))
    table = pd.DataFrame(index=np.arange(len(points)), columns=["day", "stop", "leg_m"])
    for number, day in enumerate(days, start=1):
        table.loc[day, "day"] = number
        table.loc[day, "stop"] = np.arange(1, len(day) + 1)
        table.loc[day, "leg_m"] = _legs(points[day], start)
    return table.astype({"day": int, "stop": int, "leg_m": float})


def shortest_order(points: Floats, day: Whole, start: tuple[float, float] | None = None) -> Whole:
    """Order one day's stops by the shortest straight-line way, round trip if there is a start.

    Exact for up to :data:`EXACT_STOPS` stops, 2-opt beyond. Of the two directions the one with
    the more urgent end first is taken.

    Parameters
    ----------
    points
        Places of all stops (n, 2), m, the most urgent first.
    day
        Positions in `points` of the day's stops (k,), at least one.
    start
        Where the day begins and ends; None: the way is open at both ends.

    Returns
    -------
    ndarray
        The same positions in the order of the visits.
    """
    if len(day) > 2 or start is not None:
        if len(day) <= EXACT_STOPS:
            day = day[_held_karp(points[day], start)]
        else:
            day = day[_two_opt(points[day], np.arange(len(day)), start)]
    return day if day[0] <= day[-1] else day[::-1]


def way_m(points: Floats, start: tuple[float, float] | None = None) -> float:
    """Length of the way through the points in order (m), with the way out and back if a start."""
    return float(np.nansum(_legs(points, start))) + _home_m(points[-1], start)


def _refuse(points: Floats, per_day: int) -> None:
    if per_day < 1:
        raise ValueError("per_day must be at least 1")
    if len(points) > MOST_STOPS:
        raise ValueError(f"{len(points)} stops are too many to order; at most {MOST_STOPS}")
    if not np.isfinite(points).all():
        raise ValueError("every stop needs a position")


def _legs(points: Floats, start: tuple[float, float] | None) -> Floats:
    first = np.nan if start is None else float(np.hypot(*(points[0] - np.asarray(start))))
    return np.concatenate([[first], np.hypot(*np.diff(points, axis=0).T)])


def _home_m(point: Floats, start: tuple[float, float] | None) -> float:
    return 0.0 if start is None else float(np.hypot(*(point - np.asarray(start))))


def _tour(points: Floats, start: tuple[float, float] | None) -> Whole:
    """Nearest neighbor from the most urgent stop or the start, then 2-opt."""
    here = points[0] if start is None else np.asarray(start, float)
    left = np.ones(len(points), bool)
    order = np.empty(len(points), np.int64)
    for place in range(len(points)):
        away = np.where(left, np.hypot(*(points - here).T), np.inf)
        order[place] = nearest = int(np.argmin(away))
        left[nearest], here = False, points[nearest]
    return _two_opt(points, order, start)


def _two_opt(points: Floats, order: Whole, start: tuple[float, float] | None) -> Whole:
    """Turn stretches around while that shortens the way; ends are free unless there is a start."""
    path = order.copy()
    for _ in range(50):
        if not _two_opt_round(points, path, start):
            break
    return path


def _two_opt_round(points: Floats, path: Whole, start: tuple[float, float] | None) -> bool:
    """Give every stretch one chance to be turned; whether any was."""
    turned = False
    for first in range(len(path) - 1):
        here = points[path]
        before = _from(here[first - 1] if first else start, here)
        after = np.append(np.hypot(*np.diff(here, axis=0).T), 0.0)  # leg leaving each end
        new = np.zeros(len(path))
        new[:-1] = np.hypot(*(here[1:] - here[first]).T)
        if start is not None:
            after[-1] = _home_m(here[-1], start)
            new[-1] = _home_m(here[first], start)
        gain = before[first] + after - before - new
        gain[: first + 1] = 0.0
        best = int(np.argmax(gain))
        if gain[best] > _SMALL_M:
            path[first : best + 1] = path[first : best + 1][::-1].copy()
            turned = True
    return turned


def _from(point: Floats | tuple[float, float] | None, here: Floats) -> Floats:
    """Distance of every stop from the one before the stretch; 0 where the end is free."""
    if point is None:
        return np.zeros(len(here))
    return np.asarray(np.hypot(*(here - np.asarray(point)).T), float)


def _cut(
    strung: Floats, tour: Whole, per_day: int, start: tuple[float, float] | None
) -> list[Whole]:
    """Cut the tour into the fewest days, where the ways within days are shortest in sum."""
    count = len(tour)
    days = -(-count // per_day)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(strung, axis=0).T))])
    home = np.array([_home_m(point, start) for point in strung])
    cost = np.full((days + 1, count + 1), np.inf)
    cost[0, 0] = 0.0
    begun = np.zeros((days + 1, count + 1), np.int64)
    for day in range(1, days + 1):
        for end in range(1, count + 1):
            firsts = np.arange(max(0, end - per_day), end)
            way = along[end - 1] - along[firsts] + home[firsts] + home[end - 1]
            total = cost[day - 1, firsts] + way
            best = int(np.argmin(total))
            cost[day, end], begun[day, end] = total[best], firsts[best]
    parts, end = [], count
    for day in range(days, 0, -1):
        parts.append(tour[begun[day, end] : end])
        end = int(begun[day, end])
    return parts[::-1]


def _held_karp(points: Floats, start: tuple[float, float] | None) -> Whole:
    """Shortest order by dynamic programming over subsets of stops."""
    count = len(points)
    between = cdist(points, points)
    ends = np.array([_home_m(point, start) for point in points])
    cost = np.full((1 << count, count), np.inf)
    came = np.zeros((1 << count, count), np.int64)
    cost[1 << np.arange(count), np.arange(count)] = ends
    bits = 1 << np.arange(count)
    for visited in range(1, 1 << count):
        if not visited & (visited - 1):
            continue
        last = np.flatnonzero(visited & bits)
        ways = cost[visited ^ bits[last]][:, :] + between[last]
        came[visited, last] = np.argmin(ways, axis=1)
        cost[visited, last] = ways[np.arange(len(last)), came[visited, last]]
    visited, here = (1 << count) - 1, int(np.argmin(cost[-1] + ends))
    order = [here]
    while visited & (visited - 1):
        before = int(came[visited, here])
        visited ^= 1 << here
        here = before
        order.append(here)
    return np.array(order[::-1], np.int64)
