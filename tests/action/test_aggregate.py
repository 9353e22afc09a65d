from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from riskmap.action.aggregate import (
    AGES,
    RISK,
    TOTAL,
    age_groups,
    choose_width,
    count_areas,
    hexagon_centers,
    hexagon_corners,
    hexagon_of,
    risk_groups,
)


class TestAgainstOtherSoftware:
    @settings(max_examples=30)
    @given(st.integers(0, 2**31), st.sampled_from([250.0, 1000.0, 4000.0]))
    def test_a_point_belongs_to_its_nearest_center(self, seed: int, width_m: float) -> None:
        points = np.random.default_rng(seed).uniform(-9000, 9000, (200, 2))
        east, north = (part.ravel() for part in np.mgrid[-120:121:1, -120:121:1])
        reach = 2 * 9000 / width_m + 3
        near = (abs(east + north / 2) < reach) & (abs(north) < reach)
        east, north = east[near], north[near]
        tree = cKDTree(hexagon_centers(east, north, width_m=width_m))
        _, place = tree.query(points)
        got = hexagon_of(points[:, 0], points[:, 1], width_m=width_m)
        assert (got[0] == east[place]).all()
        assert (got[1] == north[place]).all()


class TestByHand:
    def test_corners_lie_half_a_width_over_cos_30_away_and_meet_the_neighbors(self) -> None:
        corners = hexagon_corners(np.array([0, 1]), np.array([0, 0]), width_m=100.0)
        assert np.allclose(np.hypot(*corners[0].T), 100 / np.sqrt(3))
        assert corners[0, :, 0].max() == pytest.approx(50)
        assert np.allclose(corners[0, [0, 1]], corners[1, [4, 3]])

    def test_groups_add_up(self) -> None:
        classes = pd.Series(["very high", "high", "low", "not ranked", None, "moderate"])
        risk = risk_groups(classes)
        assert risk.tolist() == [
            "raised", "raised", "not_raised", "no_score", "no_score", "not_raised",
        ]  # fmt: skip
        age = age_groups(pd.Series([1.0, 25.0, 60.0, np.nan, -3.0, 40.0]))
        table = count_areas(np.array([0, 0, 2, 2, 2, 2]), risk, age, areas=3)
        assert table[TOTAL].tolist() == [2, 0, 4]
        assert table[list(RISK)].to_numpy().tolist() == [[2, 0, 0], [0, 0, 0], [0, 2, 2]]
        assert table[list(AGES)].to_numpy().tolist() == [[1, 1, 0, 0], [0] * 4, [0, 0, 2, 2]]

    def test_unknown_words_are_refused(self) -> None:
        age = age_groups(pd.Series([1.0]))
        with pytest.raises(ValueError, match="risk"):
            count_areas(np.array([0]), pd.Series(["other"]), age, areas=1)

    def test_points_without_a_place_are_refused(self) -> None:
        with pytest.raises(ValueError, match="finite"):
            hexagon_of([np.nan], [1.0], width_m=100.0)


class TestWidth:
    def test_typical_cell_holds_three_times_the_threshold(self) -> None:
        rng = np.random.default_rng(5)
        x, y = rng.uniform(0, 10_000, (2, 4000))
        width = choose_width(x, y, threshold=10)
        # 40 systems a square kilometer: a hexagon of 800 m holds 22, of 1000 m 35.
        assert width == 1000.0
        cells = np.stack(hexagon_of(x, y, width_m=width), axis=-1)
        assert np.median(np.unique(cells, axis=0, return_counts=True)[1]) >= 30

    def test_few_systems_take_the_largest(self) -> None:
        assert choose_width([0.0, 9e4], [0.0, 9e4], threshold=10) == 8000.0
