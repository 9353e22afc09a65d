from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from riskmap.contract.rules import Rules
from riskmap.failure.aging import AgingModel, survival_frac, weibull_through
from riskmap.failure.assess import assess_failure
from riskmap.failure.calibration import (
    LARGEST_MARGIN,
    FieldMargin,
    expected_failed_frac,
    fit_margin,
)
from riskmap.failure.settings import FailureSettings

RULES, PHYSICS = Rules(), FailureSettings()


def systems(count: int = 400) -> pd.DataFrame:
    rng = np.random.default_rng(8)
    return pd.DataFrame(
        {
            "kind": rng.choice(["trench", "bed", "mound", "seepage_pit"], count),
            "age_yr": rng.uniform(1, 60, count),
            "bedrooms": rng.integers(2, 6, count).astype(float),
            "ksat_um_s": np.exp(rng.uniform(-1, 4, count)),
            "clay_pct": rng.uniform(5, 55, count),
            "wet_depth_cm": rng.uniform(40, 200, count),
            "field_area_m2": rng.uniform(20, 150, count),
        }
    )


class TestPublishedValues:
    def test_watershed_study(self) -> None:
        """North Carolina county document: 2 to 3 % a year, five years unrepaired: 10 to 15 %."""
        low = expected_failed_frac(
            ["trench"], [30.0], models={"trench": _constant_rate(0.02)}, unrepaired_yr=5
        )
        high = expected_failed_frac(
            ["trench"], [30.0], models={"trench": _constant_rate(0.03)}, unrepaired_yr=5
        )
        assert 0.09 < low < 0.105
        assert 0.13 < high < 0.155


def _constant_rate(rate: float):

    return AgingModel("trench", shape=1.0, scale_yr=1 / rate)


class TestAgainstEnumeration:
    def test_expected_share_is_the_mean_over_systems(self) -> None:
        shape, scale = weibull_through(0.95, 0.80)
        age = np.array([3.0, 12.0, 40.0])
        by_hand = [
            1 - survival_frac(a, shape=shape, scale_yr=scale)
            / survival_frac(max(a - 5, 0), shape=shape, scale_yr=scale)
            for a in age
        ]  # fmt: skip
        found = expected_failed_frac(["trench"] * 3, age, unrepaired_yr=5.0)
        assert found == pytest.approx(np.mean(by_hand), abs=1e-12)

    def test_margin_is_the_least_on_a_fine_grid(self) -> None:
        table, wanted = systems(200), 0.15
        found = fit(table, wanted)
        tried = {m: failed(table, m) for m in np.exp(np.linspace(0, np.log(8), 120))}
        least = min(m for m, share in tried.items() if share <= wanted)
        assert found.margin == pytest.approx(least, rel=0.025)
        assert found.reached_frac <= wanted + 1e-12


def fit(table: pd.DataFrame, wanted: float) -> FieldMargin:
    return fit_margin(table, rules=RULES, physics=PHYSICS, expected_frac=wanted)


def assess(table: pd.DataFrame, margin: float) -> pd.DataFrame:
    return assess_failure(table, rules=RULES, physics=PHYSICS, margin=margin)


def failed(table: pd.DataFrame, margin: float) -> float:
    stage = assess(table, margin)["stage"].dropna()
    return float((stage == "failed").mean())


class TestProperties:
    def test_share_falls_with_the_margin(self) -> None:
        shares = [failed(systems(), m) for m in (1.0, 1.3, 2.0, 3.0, 5.0, 8.0)]
        assert all(b <= a for a, b in pairwise(shares))
        assert shares[0] > shares[-1]

    def test_rule_is_kept_where_it_is_not_too_severe(self) -> None:
        found = fit(systems(), 0.99)
        assert found.margin == 1.0
        assert "as they are" in found.words
        assert fit(systems(), float("nan")).margin == 1.0
        assert fit(systems(20), 0.0).margin == 1.0

    def test_margin_stays_within_its_bound(self) -> None:
        found = fit(systems(), -1.0)
        assert found.margin <= LARGEST_MARGIN + 1e-9

    def test_load_ratio_stays_that_of_the_rule(self) -> None:
        plain = assess(systems(), 1.0)
        scaled = assess(systems(), 2.0)
        pd.testing.assert_series_equal(plain["load_ratio"], scaled["load_ratio"])

    def test_words_name_the_shares(self) -> None:
        words = FieldMargin(2.5, 0.08, 0.079, 0.45).words
        assert "45%" in words
        assert "2.50 times" in words
