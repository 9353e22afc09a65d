from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from sklearn.metrics import roc_auc_score
from sklearn.utils.estimator_checks import parametrize_with_checks

from riskmap.ranking.classifier import FailureClassifier, calibrate
from riskmap.ranking.explanations import explain

WHY = "folds and bins are made of rows, so a weight of two is not quite the same as two rows"


def known_gaps(estimator: Any) -> dict[str, str]:
    return {
        "check_sample_weight_equivalence_on_dense_data": WHY,
        "check_sample_weights_invariance": WHY,
        "check_sample_weight_equivalence_on_sparse_data": WHY,
    }


@parametrize_with_checks(
    [
        FailureClassifier(rounds=10, strengths=(4,), folds=2),
        FailureClassifier("logistic", strengths=(0.1,), folds=2),
    ],
    expected_failed_checks=known_gaps,
)
def test_is_a_proper_scikit_learn_classifier(estimator: Any, check: Any) -> None:
    check(estimator)


def county(seed: int, n: int = 1500) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    features = rng.normal(size=(n, 4))
    odds = 1.2 * features[:, 0] - 0.8 * features[:, 1] - 1.5
    return features, (rng.random(n) < 1 / (1 + np.exp(-odds))).astype(int)


class TestProperties:
    @pytest.mark.parametrize("method", ["boosting", "logistic"])
    def test_chances_are_calibrated_on_new_systems(self, method: str) -> None:
        features, failed = county(1)
        new, outcome = county(2, 6000)
        chance = FailureClassifier(method).fit(features, failed).predict_proba(new)[:, 1]
        assert roc_auc_score(outcome, chance) > 0.75
        assert chance.mean() == pytest.approx(outcome.mean(), abs=0.03)
        high = chance > 0.5
        assert outcome[high].mean() == pytest.approx(chance[high].mean(), abs=0.08)

    def test_a_worse_input_never_lowers_the_chance(self) -> None:
        features, failed = county(3)
        learner = FailureClassifier(signs=[1, -1, 0, 0]).fit(features, failed)
        grid = np.zeros((50, 4))
        grid[:, 0] = np.linspace(-3, 3, 50)
        assert (np.diff(learner.predict_proba(grid)[:, 1]) >= 0).all()
        grid[:, 1], grid[:, 0] = grid[:, 0], 0.0
        assert (np.diff(learner.predict_proba(grid)[:, 1]) <= 0).all()

    @pytest.mark.parametrize("method", ["boosting", "logistic"])
    def test_unknown_values_are_welcome(self, method: str) -> None:
        features, failed = county(4)
        features[::3, 0] = np.nan
        chance = FailureClassifier(method).fit(features, failed).predict_proba(features)
        assert np.isfinite(chance).all()

    def test_noise_is_held_back_by_calibration(self) -> None:
        rng = np.random.default_rng(5)
        features = rng.normal(size=(800, 6))
        failed = (rng.random(800) < 0.2).astype(int)
        learner = FailureClassifier().fit(features, failed)
        chance = learner.predict_proba(rng.normal(size=(4000, 6)))[:, 1]
        assert chance.std() < 0.06
        assert chance.mean() == pytest.approx(0.2, abs=0.04)

    def test_same_seed_same_chances(self) -> None:
        features, failed = county(6, 400)
        one = FailureClassifier().fit(features, failed).predict_proba(features)
        two = FailureClassifier().fit(features, failed).predict_proba(features)
        assert (one == two).all()

    def test_blocks_are_held_out_whole(self) -> None:
        _, failed = county(7, 300)
        groups = np.arange(300) // 30
        learner = FailureClassifier()
        for train, test in learner._folds(failed.astype(float), groups):
            assert not set(groups[train]) & set(groups[test])

    def test_unknown_method(self) -> None:
        features, failed = county(8, 100)
        with pytest.raises(ValueError, match="method must be one of"):
            FailureClassifier("other").fit(features, failed)

    def test_a_slope_is_never_negative(self) -> None:
        rng = np.random.default_rng(9)
        odds = rng.normal(size=500)
        truth = (rng.random(500) < 1 / (1 + np.exp(odds))).astype(float)
        slope, offset = calibrate(odds, truth, np.ones(500))
        assert slope == 0.0
        assert 1 / (1 + np.exp(-offset)) == pytest.approx(truth.mean())

    def test_calibration_finds_the_true_line(self) -> None:
        rng = np.random.default_rng(10)
        odds = rng.normal(size=50_000)
        truth = (rng.random(50_000) < 1 / (1 + np.exp(-(0.5 * odds - 1)))).astype(float)
        slope, offset = calibrate(odds, truth, np.ones(50_000))
        assert slope == pytest.approx(0.5, abs=0.05)
        assert offset == pytest.approx(-1.0, abs=0.05)


@pytest.mark.parametrize("method", ["boosting", "logistic"])
def test_a_feature_that_nobody_knows_changes_nothing(method: str) -> None:
    rng = np.random.default_rng(5)
    known = pd.DataFrame({"age_yr": rng.uniform(0, 60, 400)})
    failed = (rng.random(400) < known["age_yr"] / 70).astype(int)
    wide = known.assign(slope_pct=np.nan)
    alone = FailureClassifier(method, rounds=20).fit(known, failed)
    both = FailureClassifier(method, rounds=20).fit(wide, failed)
    assert np.allclose(alone.predict_proba(known), both.predict_proba(wide), atol=1e-4)
    told = explain(both, wide.head(5), wide.tail(50))
    assert np.allclose(told.shares["slope_pct"], 0, atol=1e-9)
    assert np.allclose(told.base + told.shares.sum(axis=1), both.decision_function(wide.head(5)))


def test_one_class_in_the_held_out_blocks_is_not_calibrated_on() -> None:
    """All sewered parcels in one block: inner folds can only test on the other class."""
    rng = np.random.default_rng(2)
    near = np.r_[rng.uniform(0, 1, 60), rng.uniform(2, 9, 240)][:, None]
    onsite = np.r_[np.zeros(60), np.ones(240)]
    block = np.r_[np.zeros(60), rng.integers(1, 7, 240)]
    learner = FailureClassifier(rounds=10).fit(near, onsite, groups=block)
    assert (learner.slope_, learner.offset_) == (1.0, 0.0)
    assert (learner.predict(near) == onsite).mean() > 0.95
