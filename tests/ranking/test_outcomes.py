"""Scenarios drawn beforehand, carried into scores, ranks and chances."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from riskmap.ranking.inputs import Input
from riskmap.ranking.layout import parcel_keys
from riskmap.ranking.model import Factor
from riskmap.ranking.outcomes import Outcomes, roll, thousandths
from riskmap.ranking.uncertainty import Doubt, propagate_inputs

LINE = np.array([0.0, 1.0])
NAMES = pd.Index(["a", "b", "c"])


def plain(name: str, values: list[float], weight: float = 1.0) -> Input:
    zero = np.zeros(len(values))
    return Input(
        name, "failure", weight, 1.0, 1.0, LINE, LINE,
        value=np.array(values), spread=zero, redraw=zero,
    )  # fmt: skip


def doubt_of(outcomes: Outcomes, draws: int = 64) -> Doubt:
    inputs = [plain("load", [0.0, 0.0, 0.0], 3.0), plain("slope", [0.2, 0.4, 0.6])]
    return propagate_inputs(inputs, NAMES, failure_share=1.0, top=1, draws=draws, outcomes=outcomes)


LIMITS = np.array([[900, 100, 400, 0], [300, 300, 300, 300], [0, 200, 400, 300]], np.uint16)


class TestAgainstEnumeration:
    """Four scenarios, three systems: the truth is one of four columns, each with a quarter."""

    def test_scores_ranks_and_chances(self) -> None:
        found = doubt_of(Outcomes(("load",), LIMITS[:, None, :], {}))
        scores = 100 * (0.75 * LIMITS / 1000 + 0.25 * np.array([[0.2], [0.4], [0.6]]))
        first = np.argmax(scores, axis=0)
        chance = [np.mean(first == row) for row in range(3)]
        assert found.table["failure_score_top_chance"].tolist() == chance == [0.25, 0.25, 0.5]
        assert found.table["failure_score_mean"].to_numpy() == pytest.approx(
            scores.mean(axis=1), abs=0.002
        )
        assert found.table["failure_score_p95"].to_numpy() == pytest.approx(
            scores.max(axis=1), abs=0.002
        )
        assert found.cuts["failure_score"][0, :4] == pytest.approx(scores.max(axis=0), abs=0.002)

    def test_error_counts_scenarios_not_draws(self) -> None:
        """Every draw of a scenario says the same, so more draws tell nothing new."""
        few = doubt_of(Outcomes(("load",), LIMITS[:, None, :], {}), draws=64)
        many = doubt_of(Outcomes(("load",), LIMITS[:, None, :], {}), draws=1024)
        expected = np.std([1, 0, 0, 0], ddof=1) / 2
        for found in (few, many):
            assert found.table["failure_score_top_error"].iloc[0] == pytest.approx(expected)

    def test_what_the_chances_say_takes_the_place_of_the_sum(self) -> None:
        learned = np.array([[10, 10, 90, 90], [50, 50, 50, 50], [20, 60, 20, 20]], np.float32)
        found = doubt_of(Outcomes(("load",), LIMITS[:, None, :], {}, learned))
        assert found.table["priority_mean"].to_numpy() == pytest.approx(
            learned.mean(axis=1), abs=0.002
        )
        assert found.table["priority_top_chance"].tolist() == [0.5, 0.25, 0.25]


class TestProperties:
    def test_dice_depend_on_the_parcel_not_on_its_place(self) -> None:
        names = pd.Index([f"p{i}" for i in range(50)])
        whole = roll(parcel_keys(names), ("age", "soil"), parameters=3, scenarios=16, seed=2)
        part = roll(parcel_keys(names[30:]), ("age", "soil"), parameters=3, scenarios=16, seed=2)
        for scenario in (0, 7):
            assert (whole.uniform("soil", scenario)[30:] == part.uniform("soil", scenario)).all()
        assert (whole.shared == part.shared).all()

    def test_each_parcel_sees_evenly_spread_numbers(self) -> None:
        dice = roll(parcel_keys(NAMES), ("age", "soil"), parameters=1, scenarios=64, seed=5)
        drawn = np.stack([dice.uniform("age", k) for k in range(64)], axis=1)
        counts = np.stack([np.histogram(row, 16, (0, 1))[0] for row in drawn])
        assert counts.min() >= 3
        assert counts.max() <= 5
        assert abs(np.corrcoef(drawn)[0, 1]) < 1

    def test_limitations_are_whole_thousandths_and_the_unknown_is_the_models(self) -> None:
        factor = Factor(
            "age", "failure", "age_yr", "Age", 1, 0, 2, 0.55, "", "", curve=((0, 0), (30, 1))
        )
        assert thousandths(factor, np.array([10.0, 90.0, np.nan])).tolist() == [333, 1000, 550]
        words = Factor("k", "failure", "kind", "", 1, 0, 2, 0.6, "", "", table=(("bed", 0.45),))
        assert thousandths(words, pd.Series(["bed", None, "hut"])).tolist() == [450, 600, 600]
