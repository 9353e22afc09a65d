"""Saaty's analytic hierarchy process against published worked examples."""

from __future__ import annotations

import pytest

from riskmap.ranking.weights import RANDOM_INDEX, judge

DRINKS = {
    ("coffee", "wine"): 9, ("coffee", "tea"): 5, ("coffee", "beer"): 2, ("coffee", "soda"): 1,
    ("coffee", "milk"): 1, ("coffee", "water"): 1 / 2, ("wine", "tea"): 1 / 3,
    ("wine", "beer"): 1 / 9, ("wine", "soda"): 1 / 9, ("wine", "milk"): 1 / 9,
    ("wine", "water"): 1 / 9, ("tea", "beer"): 1 / 3, ("tea", "soda"): 1 / 4,
    ("tea", "milk"): 1 / 3, ("tea", "water"): 1 / 9, ("beer", "soda"): 1 / 2, ("beer", "milk"): 1,
    ("beer", "water"): 1 / 3, ("soda", "milk"): 2, ("soda", "water"): 1 / 2,
    ("milk", "water"): 1 / 3,
}  # fmt: skip


class TestPublishedValues:
    """Saaty's example of drinks (US consumption); printed ratio .022 from memory."""

    def test_drinks_weights(self) -> None:
        weights = judge([DRINKS]).weights
        expected = {
            "coffee": 0.1775, "wine": 0.0191, "tea": 0.0418, "beer": 0.1164, "soda": 0.1896,
            "milk": 0.1288, "water": 0.3268,
        }  # fmt: skip
        for name, value in expected.items():
            assert weights[name] == pytest.approx(value, abs=5.1e-5)

    def test_drinks_root_and_ratio(self) -> None:
        found = judge([DRINKS])
        assert found.largest_root == pytest.approx(7.176629, abs=1e-6)
        assert found.index == pytest.approx(0.029438, abs=1e-6)
        assert found.ratio == pytest.approx(0.0223, abs=5e-5)
        assert judge([DRINKS], series="later").ratio == pytest.approx(0.0218, abs=5e-5)
        assert round(found.ratio, 3) == 0.022
        assert found.accepted

    def test_four_by_four(self) -> None:
        """A worked example printed in a general-purpose library's readme; CR with RI .90."""
        found = judge(
            [{("a", "b"): 1, ("a", "c"): 5, ("a", "d"): 2, ("b", "c"): 3, ("b", "d"): 4,
              ("c", "d"): 3 / 4}]
        )  # fmt: skip
        assert found.weights.tolist() == pytest.approx([0.3742, 0.3917, 0.0991, 0.1349], abs=1e-4)
        assert found.largest_root == pytest.approx(4.092460, abs=1e-6)
        assert found.ratio == pytest.approx(0.0342, abs=5e-5)

    def test_random_indices(self) -> None:
        assert RANDOM_INDEX["classic"][2:8] == (0.58, 0.90, 1.12, 1.24, 1.32, 1.41)
        assert RANDOM_INDEX["later"][2:8] == (0.52, 0.89, 1.11, 1.25, 1.35, 1.40)
