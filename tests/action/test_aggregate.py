from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from riskmap.action.aggregate import (
    AGES,
    RISK,
    TOTAL,
    age_groups,
    choose_width,
    count_areas,
    risk_groups,
)
from riskmap.spatial.hexagons import hexagon_of


class TestByHand:
    def test_groups_add_up(self) -> None:
        classes = pd.Series(["on file", "high", "middle", "not ranked", None, "lower"])
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


class TestWidth:
    def test_typical_cell_holds_three_times_the_threshold(self) -> None:
        rng = np.random.default_rng(5)
        x, y = rng.uniform(0, 10_000, (2, 4000))
        width = choose_width(x, y, threshold=10)
        # 40 systems a square kilometer: a hexagon of 800 m holds 22, of 1000 m 35.
        assert width == 1000.0
        cells = hexagon_of(x, y, across_m=width)
        assert np.median(np.unique(cells, axis=0, return_counts=True)[1]) >= 30

    def test_few_systems_take_the_largest(self) -> None:
        assert choose_width([0.0, 9e4], [0.0, 9e4], threshold=10) == 8000.0
