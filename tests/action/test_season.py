"""Stops chosen for a season, held against enumeration and against what simple ways do."""

from __future__ import annotations

from itertools import pairwise, permutations

import numpy as np
import pandas as pd
import pytest

from riskmap.action.aims import chance_to_find, on_file_as_failed, worth
from riskmap.action.season import (
    PRIZE,
    TICKS,
    Choice,
    Day,
    clusters,
    day_times,
    first_comes_first,
    in_order,
    nearest_first,
    plan_season,
    summary,
)
from riskmap.action.travel import straight

SERVICE = 40.0


def choice(
    points: np.ndarray, worths: np.ndarray, *, area: np.ndarray | None = None, **more: np.ndarray
) -> Choice:
    """Stops around an office in the middle of them."""
    office = points.mean(axis=0)
    travel = straight(np.vstack([office, points]), circuity=1.3, speed_km_h=50)
    n = len(points)
    rest = {
        "duty": np.zeros(n, dtype=bool),
        "on_day": np.full(n, -1),
        "by": ("",) * n,
        "from_min": np.zeros(n),
        "to_min": np.full(n, 1440.0),
    }
    return Choice(
        minutes=travel.minutes, way_m=travel.way_m, offices=1, points=points, worth=worths,
        service_min=np.full(n, SERVICE),
        area=np.zeros(n, dtype=np.int64) if area is None else area, **(rest | more),
    )  # fmt: skip


def some(seed: int, n: int) -> Choice:
    dice = np.random.default_rng(seed)
    worths = np.sort(dice.beta(1.2, 6, n))[::-1]
    return choice(dice.uniform(0, 20_000, (n, 2)), worths)


def best_by_enumeration(made: Choice, day: Day) -> float:
    """Most that one day can collect, less its driving, over every set of stops in every order."""
    best = 0.0
    for size in range(1, len(made.worth) + 1):
        for route in permutations(range(len(made.worth)), size):
            places = [-1, *route, -1]
            legs = [made.leg(0, a, b) for a, b in pairwise(places)]
            ticks = sum(round(leg * TICKS) for leg in legs)
            if ticks + size * SERVICE * TICKS <= (day.ends_min - day.begins_min) * TICKS:
                gain = sum(round(float(made.worth[s]) * PRIZE) for s in route) - ticks
                best = max(best, gain)
    return best


@pytest.mark.parametrize("seed", range(4))
def test_a_small_day_is_as_good_as_enumeration_finds(seed: int) -> None:
    made, day = some(seed, 6), Day("A", 0, 480.0, 660.0, 0)
    (route,), _ = plan_season(made, [day], together_min=0, rounds=500, seed=1)
    places = [-1, *route, -1]
    legs = [made.leg(0, a, b) for a, b in pairwise(places)]
    gain = sum(round(float(made.worth[s]) * PRIZE) for s in route)
    assert gain - sum(round(leg * TICKS) for leg in legs) == best_by_enumeration(made, day)


class TestSeason:
    DAYS = tuple(Day(name, number, 480.0, 930.0, 0) for number in range(3) for name in "AB")

    def test_it_never_ends_below_the_simple_ways(self) -> None:
        made = some(5, 150)
        routes, simple = plan_season(made, self.DAYS, together_min=0, rounds=200, seed=1)
        mine = summary(made, self.DAYS, routes, made.worth, None)["expected"]
        assert len(simple) == 3
        for way in simple.values():
            assert mine >= summary(made, self.DAYS, way, made.worth, None)["expected"] - 1e-9

    @pytest.mark.parametrize("way", [in_order, nearest_first, clusters])
    def test_simple_ways_keep_the_hours(self, way) -> None:
        made = some(6, 150)
        routes = way(made, self.DAYS)
        stops = [stop for route in routes for stop in route]
        assert len(stops) == len(set(stops)) > 0
        for day, route in zip(self.DAYS, routes, strict=True):
            assert day_times(made, day, route)[1] <= day.ends_min + 1e-9

    def test_the_list_in_order_is_the_list(self) -> None:
        made = some(7, 100)
        stops = [stop for route in in_order(made, self.DAYS) for stop in route]
        assert stops == list(range(len(stops)))

    def test_owed_visits_are_made(self) -> None:
        made = some(8, 80)
        duty = np.zeros(80, dtype=bool)
        duty[[70, 75, 79]] = True
        owing = choice(made.points, made.worth, duty=duty)
        routes, _ = plan_season(owing, self.DAYS, together_min=0, rounds=200, seed=1)
        assert {70, 75, 79} <= {stop for route in routes for stop in route}

    def test_neighborhoods_stay_together_where_that_is_wanted(self) -> None:
        dice = np.random.default_rng(9)
        points = dice.uniform(0, 6000, (60, 2))
        area = dice.integers(0, 3, 60)
        made = choice(points, np.full(60, 0.2), area=area)
        apart = []
        for minutes in (0.0, 60.0):
            routes, _ = plan_season(made, self.DAYS, together_min=minutes, rounds=600, seed=1)
            apart.append(sum(area[a] != area[b] for r in routes for a, b in pairwise(r)))
        assert apart[1] < apart[0] / 2

    def test_urgent_routes_get_the_first_days(self) -> None:
        made = some(10, 60)
        days = [Day("A", number, 480.0, 930.0, 0) for number in range(3)]
        routes = first_comes_first(made, days, [[40, 41], [], [1, 2]])
        assert routes == [[1, 2], [40, 41], []]

    def test_nothing_to_visit(self) -> None:
        made = choice(np.zeros((1, 2)), np.zeros(1))
        none = Choice(
            **{
                **{name: getattr(made, name)[:0] for name in
                   ("points", "worth", "service_min", "duty", "area", "on_day", "by", "from_min",
                    "to_min")},
                "minutes": np.zeros((1, 1)), "way_m": np.zeros((1, 1)), "offices": 1,
            }
        )  # fmt: skip
        routes, _ = plan_season(none, self.DAYS, together_min=0, rounds=5, seed=1)
        assert routes == [[] for _ in self.DAYS]


class TestAims:
    TABLE = pd.DataFrame(
        {
            "chance_failed_frac": [0.1, 0.3, None],
            "learned_chance_frac": [0.2, None, None],
            "priority": [10.0, None, 30.0],
            "worklist": ["on file", None, "to find"],
        }
    )

    def test_the_best_chance_that_is_told_counts(self) -> None:
        assert chance_to_find(self.TABLE).tolist() == [0.1, 0.3, 0.0]

    def test_aims(self) -> None:
        assert worth(self.TABLE, "failures").tolist() == [0.1, 0.3, 0.0]
        assert worth(self.TABLE, "priority") == pytest.approx([0.1, 0.0, 0.3])

    def test_on_file_as_failed(self) -> None:
        assert on_file_as_failed(self.TABLE).tolist() == [True, False, False]

    def test_a_table_that_tells_no_chance(self) -> None:
        with pytest.raises(ValueError, match="chance_failed_frac"):
            chance_to_find(self.TABLE[["priority"]])
