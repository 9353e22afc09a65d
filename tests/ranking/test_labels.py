from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from riskmap.ranking.labels import (
    label_systems,
    suspect_features,
    visit_weights,
)

START, END = pd.Timestamp("2020-01-01"), pd.Timestamp("2025-01-01")


def visits() -> pd.DataFrame:
    rows = [
        ("a", "2019-12-31", "routine", "failed"),
        ("b", "2020-01-01", "complaint", "failed"),
        ("b", "2021-06-01", "routine", "sound"),
        ("c", "2024-12-31", "audit", "stressed"),
        ("d", "2025-01-01", "audit", "failed"),
        ("e", "2022-01-01", "sale", None),
        ("x", "2022-01-01", "sale", "failed"),
    ]
    frame = pd.DataFrame(rows, columns=["parcel_id", "date", "reason", "stage"])
    return frame.assign(date=pd.to_datetime(frame["date"]))


class TestAgainstEnumeration:
    def test_labels_by_hand(self) -> None:
        found = label_systems(visits(), pd.Index(list("abcdef")), start=START, end=END)
        assert found["visited"].tolist() == [False, True, True, False, False, False]
        assert found["failed"].fillna(-1).tolist() == [-1, 1, 0, -1, -1, -1]
        assert found["audited"].tolist() == [False, False, True, False, False, False]
        assert found.loc["b", "reason"] == "complaint"
        assert found.index.tolist() == list("abcdef")

    def test_stressed_may_count_and_repairs_do(self) -> None:
        repairs = pd.DataFrame({"parcel_id": ["f"], "date": pd.to_datetime(["2023-01-01"])})
        found = label_systems(
            visits(), pd.Index(list("cf")), start=START, end=END, repairs=repairs,
            failing=("failed", "stressed"),
        )  # fmt: skip
        assert found["failed"].tolist() == [1.0, 1.0]
        assert found.loc["f", "reason"] == "repair"


class TestLeaks:
    def test_a_feature_that_tells_the_outcome_is_named(self) -> None:
        rng = np.random.default_rng(0)
        failed = (rng.random(500) < 0.2).astype(float)
        frame = pd.DataFrame(
            {
                "age_yr": 20 + 10 * failed + rng.normal(0, 8, 500),
                "fee": np.where(failed > 0, rng.random(500), np.nan),
                "code": -failed + rng.normal(0, 0.1, 500),
                "constant": 1.0,
            }
        )
        assert suspect_features(frame, failed) == ["fee", "code"]


class TestVisitWeights:
    def county(self, n: int = 20_000) -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
        rng = np.random.default_rng(1)
        age = rng.normal(size=n)
        failed = rng.random(n) < 1 / (1 + np.exp(2.0 - age))
        visited = rng.random(n) < 1 / (1 + np.exp(2.5 - 1.2 * age))
        return pd.DataFrame({"age": age}), failed.astype(float), visited

    def test_a_choice_that_features_explain_is_undone(self) -> None:
        features, failed, visited = self.county()
        found = visit_weights(features, visited, largest=50)
        naive = failed[visited].mean()
        weighted = np.average(failed[visited], weights=found.weight[visited])
        assert naive > failed.mean() + 0.05
        assert weighted == pytest.approx(failed.mean(), abs=0.02)
        assert np.isnan(found.weight[~visited]).all()
        assert np.nanmean(found.weight) == pytest.approx(1.0)
        assert found.effective < visited.sum()

    def test_clipping_is_counted(self) -> None:
        features, _, visited = self.county()
        found = visit_weights(features, visited, largest=2)
        assert 0 < found.clipped < 0.3
        assert np.nanmax(found.weight) < 3.5

    def test_a_choice_because_of_failing_is_not_undone_but_audits_are_unbiased(self) -> None:
        rng = np.random.default_rng(2)
        features, failed, _ = self.county()
        audited = rng.random(len(failed)) < 0.05
        complained = rng.random(len(failed)) < np.where(failed > 0, 0.5, 0.05)
        found = visit_weights(features, complained | audited)
        rows = complained | audited
        weighted = np.average(failed[rows], weights=found.weight[rows])
        assert weighted > failed.mean() + 0.1
        assert failed[audited].mean() == pytest.approx(failed.mean(), abs=0.04)

    def test_everyone_or_no_one(self) -> None:
        features = pd.DataFrame({"age": [1.0, 2.0]})
        assert visit_weights(features, np.array([True, True])).weight.tolist() == [1.0, 1.0]
        assert np.isnan(visit_weights(features, np.array([False, False])).weight).all()
