from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2

from riskmap.contract.errors import ModelError
from riskmap.contract.features import INVENTORY
from riskmap.ranking.fairness import (
    PROTECTED,
    compare_with_need,
    protected_features,
    refuse_protected,
)


def county(slant: float = 0.0) -> tuple[pd.Series, np.ndarray, np.ndarray, pd.Series]:
    """Twenty neighborhoods of equal need; picks lean toward the rich by `slant`."""
    rng = np.random.default_rng(0)
    place = np.repeat(np.arange(20), 500)
    need = rng.random(10_000) * 0.2
    chance = 0.1 * (1 + slant * (place - 9.5) / 9.5)
    picked = rng.random(10_000) < chance
    names = pd.Series([f"area {p:02d}" for p in place])
    income = pd.Series(np.arange(20) * 1000.0, index=[f"area {p:02d}" for p in range(20)])
    return names, need, picked, income.rename("median_income")


class TestAgainstEnumeration:
    def test_by_hand(self) -> None:
        place = pd.Series(["a"] * 50 + ["b"] * 50)
        need = np.repeat([0.3, 0.1], 50)
        picked = np.zeros(100, dtype=bool)
        picked[:10] = picked[50:80] = True
        found = compare_with_need(place, need, picked).table
        assert found["need_frac"].tolist() == pytest.approx([0.75, 0.25])
        assert found["expected_picks"].tolist() == pytest.approx([30.0, 10.0])
        assert found["ratio"].tolist() == pytest.approx([1 / 3, 3.0])
        assert found["verdict"].tolist() == ["fewer than its need", "more than its need"]

    def test_interval_is_near_the_exact_one(self) -> None:
        """Exact Poisson limits by chi-square quantiles (Garwood 1936)."""
        place = pd.Series(["a"] * 20)
        picked = np.arange(20) < 12
        found = compare_with_need(place, np.ones(20), picked).table.iloc[0]
        assert found["ratio_low"] * 12 == pytest.approx(chi2.ppf(0.025, 24) / 2, rel=0.01)
        assert found["ratio_high"] * 12 == pytest.approx(chi2.ppf(0.975, 26) / 2, rel=0.01)


class TestProperties:
    def test_even_picks_raise_no_alarm(self) -> None:
        place, need, picked, income = county()
        found = compare_with_need(place, need, picked, standing=income)
        assert (found.table["verdict"] == "in line with its need").mean() >= 0.85
        assert "No clear slant of inspections along median income" in found.words[1]
        assert found.table["need_frac"].sum() == pytest.approx(1.0)

    @pytest.mark.parametrize(("slant", "way"), [(0.8, "more"), (-0.8, "fewer")])
    def test_a_slant_is_found_and_said(self, slant: float, way: str) -> None:
        place, need, picked, income = county(slant)
        found = compare_with_need(place, need, picked, standing=income, what="letters")
        assert f"higher median income get {way} letters" in found.words[1]
        assert "fall short of need" in found.words[0]
        assert found.slant_p < 0.001

    def test_few_picks_say_nothing(self) -> None:
        place, need, _, income = county()
        picked = np.zeros(len(need), dtype=bool)
        picked[:10] = True
        found = compare_with_need(place, need, picked, standing=income)
        assert (found.table["verdict"] == "too few to say").all()
        assert "too few" in found.words[0]
        assert "Too few" in found.words[1]

    def test_missing_neighborhood_and_need_are_kept(self) -> None:
        place = pd.Series(["a", None, "a"])
        found = compare_with_need(place, np.array([1.0, 1.0, np.nan]), np.array([True] * 3))
        assert found.table.loc["unknown", "systems"] == 1
        assert found.table["systems"].sum() == 3


class TestGuard:
    def test_protected_names_are_refused(self) -> None:
        with pytest.raises(ModelError, match="median_income, pctHispanic: a protected attribute"):
            refuse_protected(["age_yr", "median_income", "pctHispanic"])

    def test_no_inventory_feature_is_protected(self) -> None:
        assert protected_features(feature.name for feature in INVENTORY) == []

    def test_every_word_is_caught_inside_a_name(self) -> None:
        assert all(protected_features([f"share_{word}_pct"]) for word in PROTECTED)
        assert protected_features(["trace_frac", "racetrack_m", "basement_m2"]) == []
