from __future__ import annotations

from itertools import combinations
from math import factorial

import numpy as np
import pandas as pd
import pytest

from riskmap.ranking.classifier import FailureClassifier
from riskmap.ranking.explanations import explain, sample_background


def county(n: int = 500) -> tuple[pd.DataFrame, np.ndarray]:
    rng = np.random.default_rng(0)
    features = pd.DataFrame(rng.normal(size=(n, 4)), columns=["age", "wet", "load", "lot"])
    odds = features["age"] + features["wet"] * features["load"] - 1
    failed = (rng.random(n) < 1 / (1 + np.exp(-odds.to_numpy()))).astype(int)
    features.iloc[::5, 1] = np.nan
    features.iloc[::7, 3] = np.nan
    return features, failed


@pytest.fixture(scope="module", params=["boosting", "logistic"])
def fitted(request: pytest.FixtureRequest) -> tuple[FailureClassifier, pd.DataFrame]:
    features, failed = county()
    strengths = (8,) if request.param == "boosting" else (1.0,)
    learner = FailureClassifier(request.param, strengths=strengths, rounds=25)
    return learner.fit(features, failed), features


def shapley(learner: FailureClassifier, x: np.ndarray, others: pd.DataFrame) -> np.ndarray:
    """Shapley's formula over all coalitions: features in it from the system, the rest not."""
    k = len(x)

    def worth(coalition: tuple[int, ...]) -> float:
        mixed = others.copy()
        for f in coalition:
            mixed.iloc[:, f] = x[f]
        return float(learner.decision_function(mixed).mean())

    shares = np.zeros(k)
    for f in range(k):
        rest = [g for g in range(k) if g != f]
        for size in range(k):
            weight = factorial(size) * factorial(k - size - 1) / factorial(k)
            for coalition in combinations(rest, size):
                shares[f] += weight * (worth((*coalition, f)) - worth(coalition))
    return shares


class TestAgainstEnumeration:
    def test_every_coalition(self, fitted: tuple[FailureClassifier, pd.DataFrame]) -> None:
        learner, features = fitted
        others = features.iloc[100:120]
        found = explain(learner, features.iloc[:6], others)
        for row in range(6):
            exact = shapley(learner, features.iloc[row].to_numpy(), others)
            assert found.shares.iloc[row].to_numpy() == pytest.approx(exact, abs=1e-9)


class TestProperties:
    def test_shares_add_up(self, fitted: tuple[FailureClassifier, pd.DataFrame]) -> None:
        learner, features = fitted
        found = explain(learner, features, sample_background(features))
        total = found.base + found.shares.sum(axis=1)
        assert total.to_numpy() == pytest.approx(learner.decision_function(features), abs=1e-9)
        assert found.shares.index.equals(features.index)

    def test_a_feature_that_is_not_used_has_no_share(self) -> None:
        features, failed = county()
        features["constant"] = 1.0
        learner = FailureClassifier(strengths=(4,), rounds=10).fit(features, failed)
        found = explain(learner, features.iloc[:20], features.iloc[20:60])
        assert (found.shares["constant"] == 0).all()
        assert (found.shares["age"] != 0).any()

    def test_too_many_features(self) -> None:
        rng = np.random.default_rng(0)
        features = pd.DataFrame(rng.normal(size=(60, 61)))
        learner = FailureClassifier("logistic", strengths=(0.1,))
        learner.fit(features.to_numpy(), np.arange(60) % 2)
        with pytest.raises(ValueError, match="at most 60"):
            explain(learner, features, features)
