from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.action.stops import EXACT_STOPS, plan_days, shortest_order, way_m

OFFICE = (0.0, 0.0)


class TestAgainstEnumeration:
    @pytest.mark.parametrize("start", [None, OFFICE])
    @pytest.mark.parametrize("seed", range(4))
    def test_a_day_is_in_its_shortest_order(
        self, seed: int, start: tuple[float, float] | None
    ) -> None:
        points = np.random.default_rng(seed).random((7, 2)) * 5000
        found = way_m(points[shortest_order(points, np.arange(7), start)], start)
        least = min(way_m(points[list(order)], start) for order in permutations(range(7)))
        assert found == pytest.approx(least, rel=1e-12)

    def test_four_stops_on_a_road_known_by_eye(self) -> None:
        # stops at 300, 0, 200 and 100 m along a line: 0-100-200-300, in either direction
        plan = plan_days([300.0, 0.0, 200.0, 100.0], [0.0] * 4, per_day=4)
        assert plan["stop"].tolist() == [1, 4, 2, 3]
        assert plan["leg_m"].tolist() == pytest.approx([np.nan, 100, 100, 100], nan_ok=True)

    def test_two_far_groups_make_two_days(self) -> None:
        x = [0.0, 9000.0, 10.0, 9010.0, 20.0, 9020.0]
        plan = plan_days(x, [0.0] * 6, per_day=3)
        assert plan["day"].tolist() == [1, 2, 1, 2, 1, 2]


class TestAnalyticLimit:
    def test_long_ways_near_the_random_uniform_limit(self) -> None:
        # Beardwood, Halton, Hammersley (1959): shortest way through n random points of area A
        # tends to 0.7124 sqrt(n A) (constant: Johnson, McGeoch 1996); 2-opt is some 5-15 % above.
        points = np.random.default_rng(5).random((400, 2)) * 1000
        order = shortest_order(points, np.arange(400))
        limit = 0.7124 * np.sqrt(400 * 1e6)
        assert sorted(order) == list(range(400))
        assert 0.92 * limit < way_m(points[order]) < 1.35 * limit  # from a random first order


class TestProperties:
    @given(st.integers(1, 60), st.integers(1, 12), st.booleans(), st.integers(0, 10**6))
    @settings(max_examples=25, deadline=None)
    def test_every_stop_once_in_the_fewest_days(
        self, count: int, per_day: int, office: bool, seed: int
    ) -> None:
        points = np.random.default_rng(seed).integers(0, 50, (count, 2)) * 100.0
        plan = plan_days(
            points[:, 0], points[:, 1], per_day=per_day, start=OFFICE if office else None
        )
        sizes = plan.groupby("day").size()
        assert sizes.max() <= per_day
        assert len(sizes) == -(-count // per_day)
        for _, day in plan.groupby("day"):
            assert sorted(day["stop"]) == list(range(1, len(day) + 1))
        assert plan["leg_m"].isna().sum() == (0 if office else len(sizes))
        again = plan_days(
            points[:, 0], points[:, 1], per_day=per_day, start=OFFICE if office else None
        )
        assert plan.equals(again)

    def test_urgent_days_come_first(self) -> None:
        points = np.random.default_rng(3).random((60, 2)) * 20_000
        plan = plan_days(points[:, 0], points[:, 1], per_day=8)
        first = plan.assign(urgency=np.arange(60)).groupby("day")["urgency"].min()
        assert first.is_monotonic_increasing
        assert plan["day"].iloc[0] == 1


def test_what_is_refused() -> None:
    with pytest.raises(ValueError, match="position"):
        plan_days([np.nan], [1.0])
    with pytest.raises(ValueError, match="per_day"):
        plan_days([1.0], [1.0], per_day=0)
    with pytest.raises(ValueError, match="too many"):
        plan_days(np.zeros(3001), np.zeros(3001))


def test_no_stops_and_one_stop() -> None:
    assert len(plan_days([], [])) == 0
    assert plan_days([5.0], [5.0])["day"].tolist() == [1]
    assert EXACT_STOPS >= 8  # the usual day is ordered exactly
