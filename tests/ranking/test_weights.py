from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.errors import ModelError
from riskmap.ranking.model import parse_model
from riskmap.ranking.weights import apply_weights, judge


def consistent(weights: dict[str, float]) -> dict[tuple[str, str], float]:
    names = list(weights)
    return {(a, b): weights[a] / weights[b] for i, a in enumerate(names) for b in names[i + 1 :]}


class TestAgainstEnumeration:
    def test_two_people_are_joined_by_the_geometric_mean(self) -> None:
        found = judge([{("a", "b"): 8}, {("a", "b"): 2}])
        assert found.weights["a"] / found.weights["b"] == pytest.approx(4.0)
        assert found.people == 2

    def test_the_pair_that_was_turned_round_is_found(self) -> None:
        pairs = consistent({"a": 4, "b": 3, "c": 2, "d": 1})
        pairs["b", "d"] = 1 / 5
        found = judge([pairs])
        assert not found.accepted
        assert found.reconsider == ("b", "d")
        assert found.fitting == pytest.approx(3.0)
        assert "Reconsider b against d" in found.words
        assert "one 5th as important" in found.words


class TestProperties:
    @settings(max_examples=40, deadline=None)
    @given(st.lists(st.floats(1, 9), min_size=1, max_size=7))
    def test_consistent_comparisons_give_back_their_weights(self, raw: list[float]) -> None:
        truth = {f"f{i}": value for i, value in enumerate(raw)} | {"base": 1.0}
        found = judge([consistent(truth)])
        total = sum(truth.values())
        for name, value in truth.items():
            assert found.weights[name] == pytest.approx(value / total, rel=1e-6)
        assert found.ratio == pytest.approx(0.0, abs=1e-6)
        assert found.accepted

    def test_two_factors_have_no_ratio(self) -> None:
        assert judge([{("a", "b"): 7}]).ratio == 0.0

    @settings(max_examples=25, deadline=None)
    @given(st.lists(st.integers(-8, 8), min_size=10, max_size=10))
    def test_weights_add_up_and_the_root_is_at_least_n(self, raw: list[int]) -> None:
        pairs = [(a, b) for i, a in enumerate("vwxyz") for b in "vwxyz"[i + 1 :]]
        times = [float(1 + r) if r >= 0 else 1.0 / (1 - r) for r in raw]
        found = judge([dict(zip(pairs, times, strict=True))])
        assert found.weights.sum() == pytest.approx(1.0)
        assert found.largest_root >= 5 - 1e-9
        assert np.isfinite(found.ratio)


class TestRefusals:
    @pytest.mark.parametrize(
        ("comparisons", "words"),
        [
            ({("a", "b"): 2, ("a", "c"): 2}, "no comparison of 'b' with 'c'"),
            ({("a", "b"): 2, ("b", "a"): 2}, "given twice"),
            ({("a", "a"): 1}, "with itself"),
            ({("a", "b"): 12}, "outside 1/9 to 9"),
        ],
    )
    def test_says_what_is_wrong(
        self, comparisons: dict[tuple[str, str], float], words: str
    ) -> None:
        with pytest.raises(ModelError, match=words):
            judge([comparisons])

    def test_other_refusals(self) -> None:
        with pytest.raises(ModelError, match="no comparisons"):
            judge([])
        with pytest.raises(ModelError, match="first person"):
            judge([{("a", "b"): 2}, {("a", "z"): 2}])
        with pytest.raises(ModelError, match="no random index series"):
            judge([{("a", "b"): 2}], series="other")
        with pytest.raises(ModelError, match="too many"):
            judge([consistent({f"f{i}": 1.0 for i in range(11)})])


def test_weights_go_into_a_model() -> None:
    factor = {
        "score": "failure", "label": "", "low": 0, "high": 9, "unknown": 0.5, "source": "",
        "reason": "", "curve": [[0, 0], [1, 1]], "feature": "x_m",
    }  # fmt: skip
    model = parse_model(
        {
            "name": "m", "failure_share": 1.0, "min_known_frac": 0.0,
            "log_hazard_per_point": 0.0,
            "factor": [
                {**factor, "name": "a", "weight": 3}, {**factor, "name": "b", "weight": 1},
                {**factor, "name": "w", "weight": 1, "score": "groundwater"},
            ],
        }
    )  # fmt: skip
    changed = apply_weights(model, judge([{("a", "b"): 1}]).weights)
    assert [f.weight for f in changed.factors] == pytest.approx([2.0, 2.0, 1.0])
