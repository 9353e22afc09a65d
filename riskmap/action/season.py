"""Which stops on which day of a season: as much found as the inspectors' hours allow.

A prize-collecting vehicle-routing problem: every visit has a worth, every day its hours, and the
solver (PyVRP: Wouda, Lan and Kool 2024, INFORMS Journal on Computing 36:943) picks stops and their
order. Simple ways to spend the same days are reckoned beside it; the search starts from the best
of them, so that it never ends below.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
import pandas as pd
import pyvrp
from pyvrp.stop import MaxIterations

from riskmap.action.stops import plan_days
from riskmap.contract.arrays import Floats, Whole

TICKS: Final = 10
"""Ticks of the solver's clock in a minute: it counts in whole numbers."""
DAY_MIN: Final = 24 * 60
PRIZE: Final = 200 * TICKS
"""A sure find is worth this many ticks of driving, a chance of 1% two minutes: the hours are paid
for in any case, so driving counts little beside finds."""
DUTY: Final = 50 * PRIZE
"""Prize of a visit that is owed: it is left out only where it does not fit."""

SEARCH: Final = pyvrp.SolveParams(ils=pyvrp.IteratedLocalSearchParams(history_length=1))
"""Takes no step back: on 3,000 stops and 60 days this found 3% more in 10,000 rounds than waiting
longer before it gives up a worse way, which found nothing new."""

Routes = list[list[int]]
"""Rows of the stops of each day, in driving order; a list a day, empty where nobody goes."""


@dataclass(frozen=True)
class Day:
    """A working day of one inspector: hours in minutes from midnight, place of the office."""

    inspector: str
    number: int
    begins_min: float
    ends_min: float
    office: int


@dataclass(frozen=True)
class Choice:
    """What a season may choose from; arrays (n,) by stop.

    ``minutes`` (k + n, k + n) is the way between the k offices and the stops, offices first;
    ``duty`` marks visits that are owed. An appointment has a day's number (else -1) and hours,
    and in ``by`` the inspector's name where one was promised. ``area`` codes the neighborhood.
    Stops stand in the order of the list, most urgent first.
    """

    minutes: Floats
    way_m: Floats
    offices: int
    points: Floats
    worth: Floats
    service_min: Floats
    duty: np.ndarray
    area: Whole
    on_day: Whole
    by: tuple[str, ...]
    from_min: Floats
    to_min: Floats

    def suits(self, day: Day, stop: int) -> bool:
        """Whether a visit may be made on a day, by what was promised of it."""
        return self.on_day[stop] in (-1, day.number) and self.by[stop] in ("", day.inspector)

    def leg(self, office: int, first: int, second: int) -> float:
        """Minutes from a stop to another; -1 is the office."""
        return float(self.minutes[self.place(office, first), self.place(office, second)])

    def place(self, office: int, stop: int) -> int:
        """Row of a stop, or of the office for -1, in the matrices."""
        return office if stop < 0 else self.offices + stop


def plan_season(
    choice: Choice, days: Sequence[Day], *, together_min: float, rounds: int, seed: int
) -> tuple[Routes, dict[str, Routes]]:
    """Choose the stops of a season.

    Parameters
    ----------
    choice
        What to choose from.
    days
        Working days of the inspectors.
    together_min
        Minutes that going to another neighborhood counts beside the way.
    rounds, seed
        Rounds of search and the seed of its chances.

    Returns
    -------
    The chosen routes by day, and those of the simple ways by their name.
    """
    simple = {
        "top of the list in order": in_order(choice, days),
        "nearest first": nearest_first(choice, days),
        "clusters": clusters(choice, days),
    }
    if not len(choice.worth):
        return [[] for _ in days], simple
    best = max(simple.values(), key=lambda routes: _gain(choice, routes))
    problem = _Problem(choice, days, together_min)
    routes = problem.solve(best, rounds=rounds, seed=seed)
    return first_comes_first(choice, days, routes), simple


def first_comes_first(choice: Choice, days: Sequence[Day], routes: Routes) -> Routes:
    """Put the routes with the most urgent stops on the first of the days that are alike.

    Days are alike if office and hours are the same; one that keeps an appointment stays.
    """
    kept = {n for n, route in enumerate(routes) if any(choice.on_day[s] >= 0 for s in route)}
    result = list(routes)
    alike: dict[tuple[float, ...], list[int]] = {}
    for place, day in enumerate(days):
        if place not in kept:
            alike.setdefault((day.office, day.begins_min, day.ends_min), []).append(place)
    for places in alike.values():
        ordered = sorted(places, key=lambda place: (days[place].number, place))
        urgent = sorted((routes[place] for place in places), key=_urgency)
        for place, route in zip(ordered, urgent, strict=True):
            result[place] = route
    return result


def _urgency(route: list[int]) -> tuple[float, int]:
    """Mean place on the list; days without stops come last."""
    return (float(np.mean(route)), min(route)) if route else (np.inf, 0)


def in_order(choice: Choice, days: Sequence[Day], order: Sequence[int] | None = None) -> Routes:
    """Drive down the list, owed visits first; what does not fit a day begins the next."""
    left = list(_owed_first(choice)) if order is None else list(order)
    routes: Routes = []
    for day in days:
        route: list[int] = []
        clock, here = day.begins_min, -1
        while left and (done := _after(choice, day, clock, here, left[0])) is not None:
            here = left.pop(0)
            clock = done
            route.append(here)
        routes.append(route)
    return routes


def nearest_first(choice: Choice, days: Sequence[Day]) -> Routes:
    """Drive to the nearest stop that is left and fits, owed visits first."""
    left = np.ones(len(choice.worth), dtype=bool)
    routes: Routes = []
    for day in days:
        route: list[int] = []
        clock, here = day.begins_min, -1
        while (stop := _nearest(choice, day, clock, here, left)) is not None:
            left[stop] = False
            clock += choice.leg(day.office, here, stop) + float(choice.service_min[stop])
            here = stop
            route.append(stop)
        routes.append(route)
    return routes


def clusters(choice: Choice, days: Sequence[Day]) -> Routes:
    """Cut a tour of the first of the list into days, and leave out what does not fit them."""
    working = [day for day in days if day.ends_min > day.begins_min]
    stops = sum(map(len, in_order(choice, days)))
    if not working or not stops:
        return [[] for _ in days]
    per_day = -(-stops // len(working))
    chosen = list(_owed_first(choice))[: min(per_day * len(working), 2000)]
    plan = plan_days(*choice.points[chosen].T, per_day=per_day)
    parts = [
        [chosen[row] for row in rows.sort_values("stop").index] for _, rows in plan.groupby("day")
    ]
    routes: Routes = []
    for day in days:
        part = parts.pop(0) if parts else []
        (route,) = in_order(choice, [day], part)
        routes.append(route)
    return routes


def _owed_first(choice: Choice) -> Whole:
    return np.argsort(~choice.duty, kind="stable")


def _after(choice: Choice, day: Day, clock: float, here: int, stop: int) -> float | None:
    """Minute at which a further stop is done; None if the day is over before one is back."""
    done = clock + choice.leg(day.office, here, stop) + float(choice.service_min[stop])
    return done if done + choice.leg(day.office, stop, -1) <= day.ends_min else None


def _nearest(choice: Choice, day: Day, clock: float, here: int, left: np.ndarray) -> int | None:
    offices = choice.offices
    way = choice.minutes[choice.place(day.office, here), offices:]
    back = choice.minutes[offices:, day.office]
    fits = left & (clock + way + choice.service_min + back <= day.ends_min)
    for group in (fits & choice.duty, fits):
        if group.any():
            return int(np.argmin(np.where(group, way, np.inf)))
    return None


def _gain(choice: Choice, routes: Routes) -> float:
    """Reckon what the solver would collect, so that simple ways can be compared."""
    stops = [stop for route in routes for stop in route]
    return float(_prizes(choice)[stops].sum())


def _prizes(choice: Choice) -> Whole:
    prizes: Whole = np.rint(choice.worth * PRIZE + choice.duty * DUTY).astype(np.int64)
    return prizes


class _Problem:
    """The season in the solver's terms: whole ticks, a kind of vehicle for days that are alike."""

    def __init__(self, choice: Choice, days: Sequence[Day], together_min: float) -> None:
        self.choice, self.days = choice, days
        dated = {int(number) for number in choice.on_day if number >= 0}
        self.promised = [name for name in dict.fromkeys(choice.by) if name]
        self.groups: dict[tuple[float, ...], list[int]] = {}
        for place, day in enumerate(days):
            offset = (day.number + 1) * DAY_MIN if day.number in dated else 0
            own = self.promised.index(day.inspector) + 1 if day.inspector in self.promised else 0
            key = (day.office, offset + day.begins_min, offset + day.ends_min, own)
            self.groups.setdefault(key, []).append(place)
        self.data = self._data(together_min)

    def _data(self, together_min: float) -> Any:
        choice = self.choice
        way: Any = np.rint(choice.minutes * TICKS).astype(np.int64)
        cost = way.copy()
        inner = cost[choice.offices :, choice.offices :]
        inner += (choice.area[:, None] != choice.area[None, :]) * round(together_min * TICKS)
        np.fill_diagonal(cost, 0)
        np.fill_diagonal(way, 0)
        places = [pyvrp.Location(0, 0) for _ in range(len(way))]
        vehicles = [
            pyvrp.VehicleType(
                num_available=len(members), start_depot=int(office), end_depot=int(office),
                tw_early=_ticks(begins), tw_late=_ticks(ends), unit_distance_cost=1,
                profile=int(own),
            )
            for (office, begins, ends, own), members in self.groups.items()
        ]  # fmt: skip
        clients = [self._client(stop, int(prize)) for stop, prize in enumerate(_prizes(choice))]
        depots = [pyvrp.Depot(location=office) for office in range(choice.offices)]
        ways = [self._closed(way, name) for name in ("", *self.promised)]
        return pyvrp.ProblemData(places, clients, depots, vehicles, [cost] * len(ways), ways)

    def _closed(self, way: Any, inspector: str) -> Any:
        """Return an inspector's ways: longer than any season to visits promised of another."""
        choice = self.choice
        others = [n for n, name in enumerate(choice.by) if name and name != inspector]
        if not others:
            return way
        closed = way.copy()
        closed[:, choice.offices + np.array(others)] = _ticks(1000 * DAY_MIN)
        np.fill_diagonal(closed, 0)
        return closed

    def _client(self, stop: int, prize: int) -> Any:
        choice = self.choice
        hours: dict[str, Any] = {}
        if choice.on_day[stop] >= 0:
            offset = (int(choice.on_day[stop]) + 1) * DAY_MIN
            hours = {
                "tw_early": _ticks(offset + float(choice.from_min[stop])),
                "tw_late": _ticks(offset + float(choice.to_min[stop])),
            }
        return pyvrp.Client(
            location=choice.offices + stop,
            service_duration=_ticks(float(choice.service_min[stop])),
            prize=prize,
            required=False,
            **hours,
        )

    def solve(self, start: Routes, *, rounds: int, seed: int) -> Routes:
        first = self._solution(start)
        found = pyvrp.solve(
            self.data,
            stop=MaxIterations(rounds),
            seed=seed,
            collect_stats=False,
            params=SEARCH,
            initial_solution=first if first.is_feasible() else None,
        ).best
        routes: Routes = [[] for _ in self.days]
        waiting = {kind: list(members) for kind, members in enumerate(self.groups.values())}
        for route in found.routes() if found.is_feasible() else first.routes():
            place = waiting[route.vehicle_type()].pop(0)
            routes[place] = [int(stop.idx) for stop in route if stop.is_client()]
        return routes

    def _solution(self, start: Routes) -> Any:
        """Return the simple way as the solver holds it, with the promised visits on their days.

        The search fills up the days that begin with promised visits alone.
        """
        choice = self.choice
        begun = [[s for s in route if choice.on_day[s] < 0] for route in start]
        kept: dict[int, list[int]] = {}
        promised = np.flatnonzero(choice.on_day >= 0)
        for stop in promised[np.argsort(choice.from_min[promised], kind="stable")].tolist():
            for place, day in enumerate(self.days):
                with_it = [*kept.get(place, []), stop]
                if choice.suits(day, stop) and self._route(place, with_it).is_feasible():
                    begun[place] = kept[place] = with_it
                    break
        routes = [self._route(place, stops) for place, stops in enumerate(begun) if stops]
        return pyvrp.Solution(self.data, routes)

    def _route(self, place: int, stops: list[int]) -> Any:
        kind = next(k for k, members in enumerate(self.groups.values()) if place in members)
        return pyvrp.Route(self.data, stops, kind)


def _ticks(minutes: float) -> int:
    return round(minutes * TICKS)


def day_times(choice: Choice, day: Day, route: Sequence[int]) -> tuple[list[float], float]:
    """Minute at which each visit of a day begins, and at which one is back.

    One waits for the hour of an appointment.
    """
    begins: list[float] = []
    clock, here = day.begins_min, -1
    for stop in route:
        clock += choice.leg(day.office, here, stop)
        if choice.on_day[stop] >= 0:
            clock = max(clock, float(choice.from_min[stop]))
        begins.append(clock)
        clock += float(choice.service_min[stop])
        here = stop
    return begins, clock + (choice.leg(day.office, here, -1) if here >= 0 else 0.0)


def summary(
    choice: Choice, days: Sequence[Day], routes: Routes, chance: Floats, failed: Floats | None
) -> dict[str, float]:
    """Sum up a way to spend the season.

    Parameters
    ----------
    choice, days, routes
        The season.
    chance
        (n,) chance to find a failure nobody knew of; 0 for systems on file as failed.
    failed
        (n,) what is truly so, where an invented world tells it; None in earnest.

    Returns
    -------
    ``stops``, ``expected``, ``expected_per_day`` (an inspector-day), ``way_m``, ``hours``
    and, where told, ``found``.
    """
    stops = [stop for route in routes for stop in route]
    way = sum(
        float(choice.way_m[choice.place(day.office, a), choice.place(day.office, b)])
        for day, route in zip(days, routes, strict=True)
        for a, b in pairwise([-1, *route, -1] if route else [])
    )
    spent = sum(
        day_times(choice, day, route)[1] - day.begins_min
        for day, route in zip(days, routes, strict=True)
        if route
    )
    told = {
        "stops": float(len(stops)),
        "expected": float(chance[stops].sum()),
        "expected_per_day": float(chance[stops].sum()) / max(1, len(days)),
        "way_m": way,
        "hours": spent / 60,
    }
    return told if failed is None else {**told, "found": float(failed[stops].sum())}


def comparison(table: dict[str, dict[str, float]]) -> pd.DataFrame:
    """Put the plan and the simple ways side by side, a row each."""
    return pd.DataFrame(table).T.rename_axis("way")
