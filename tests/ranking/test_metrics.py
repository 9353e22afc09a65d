from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import bootstrap as bootstrap_of_scipy
from scipy.stats import norm, skew
from sklearn.metrics import average_precision_score, brier_score_loss, roc_auc_score

from riskmap.ranking.metrics import (
    acceleration_of,
    area_error,
    area_under_roc,
    average_precision,
    bias_corrected_interval,
    block_draws,
    block_resamples,
    bootstrap,
    brier,
    found_in_top,
    found_per_100_visits,
    interval,
    lift,
    ranking_figures,
    reliability,
    without_each,
)


def county(seed: int, n: int = 400) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    chance = rng.beta(1, 6, n).round(2)
    truth = (rng.random(n) < chance).astype(float)
    truth[0] = 1.0
    return truth, chance, rng.integers(1, 4, n).astype(float)


class TestAgainstOtherSoftware:
    @settings(max_examples=30, deadline=None)
    @given(st.integers(0, 10_000))
    def test_same_as_scikit_learn_with_ties_and_weights(self, seed: int) -> None:
        truth, chance, weight = county(seed)
        assert average_precision(truth, chance, weight) == pytest.approx(
            average_precision_score(truth, chance, sample_weight=weight), rel=1e-12
        )
        assert brier(truth, chance, weight) == pytest.approx(
            brier_score_loss(truth, chance, sample_weight=weight), rel=1e-12
        )
        assert area_under_roc(truth, chance) == pytest.approx(roc_auc_score(truth, chance))


class TestAgainstEnumeration:
    def test_known_by_eye(self) -> None:
        truth = np.array([1.0, 0, 1, 0, 0, 0, 0, 0, 0, 0])
        ranking = np.arange(10.0, 0, -1)
        ones = np.ones(10)
        assert found_in_top(truth, ranking, ones, 0.1) == pytest.approx(0.5)
        assert lift(truth, ranking, ones, 0.2) == pytest.approx(2.5)
        assert found_per_100_visits(truth, ranking, ones, 0.1) == pytest.approx(100.0)
        assert average_precision(truth, ranking, ones) == pytest.approx((1 + 2 / 3) / 2)

    def test_ties_at_the_edge_are_shared(self) -> None:
        truth = np.array([1.0, 0, 1, 0])
        ranking = np.array([2.0, 1, 1, 1])
        assert found_in_top(truth, ranking, np.ones(4), 0.5) == pytest.approx((1 + 1 / 3) / 2)

    def test_weights_are_copies(self) -> None:
        truth, chance, weight = county(3)
        copies = np.repeat(np.arange(len(truth)), weight.astype(int))
        ones = np.ones(len(copies))
        for figure in ranking_figures().values():
            assert figure(truth, chance, weight) == pytest.approx(
                figure(truth[copies], chance[copies], ones), rel=1e-9
            )

    def test_simulated_error_of_the_area(self) -> None:
        rng = np.random.default_rng(0)
        areas = []
        for _ in range(400):
            ranking = np.concatenate([rng.exponential(1.0, 80), rng.exponential(3.0, 40)])
            areas.append(area_under_roc(np.repeat([0.0, 1.0], [80, 40]), ranking))
        assert np.std(areas) == pytest.approx(area_error(0.75, 40, 80), rel=0.12)


class TestProperties:
    def test_no_failures_gives_no_figure(self) -> None:
        zeros, ones = np.zeros(5), np.ones(5)
        assert np.isnan(average_precision(zeros, np.arange(5.0), ones))
        assert np.isnan(lift(zeros, np.arange(5.0), ones, 0.2))
        assert np.isnan(area_under_roc(zeros, np.arange(5.0)))

    def test_a_constant_ranking_is_a_random_pick(self) -> None:
        truth, _, weight = county(1)
        same = np.zeros(len(truth))
        assert lift(truth, same, weight, 0.1) == pytest.approx(1.0)
        share = (truth * weight).sum() / weight.sum()
        assert average_precision(truth, same, weight) == pytest.approx(share)

    def test_reliability_of_true_chances(self) -> None:
        rng = np.random.default_rng(5)
        chance = rng.random(20_000)
        truth = (rng.random(20_000) < chance).astype(float)
        table = reliability(truth, chance, np.ones(20_000))
        assert len(table) == 10
        assert table["visits"].tolist() == [2000] * 10
        assert (table["said"] - table["found"]).abs().max() < 0.04

    def test_bootstrap_of_a_mean_has_the_known_spread(self) -> None:
        rng = np.random.default_rng(6)
        truth = (rng.random(2000) < 0.3).astype(float)
        draws = block_draws(np.arange(2000), resamples=300, seed=1)
        drawn = bootstrap(brier, truth, np.zeros(2000), np.ones(2000), draws)
        found = interval(float(truth.mean()), drawn)
        half = 1.645 * np.sqrt(0.3 * 0.7 / 2000)
        assert found.high - found.low == pytest.approx(2 * half, rel=0.2)
        assert found.low < found.value < found.high

    def test_samples_by_weights_are_samples_by_rows(self) -> None:
        truth, chance, weight = county(8)
        blocks = np.arange(len(truth)) // 7
        draws = block_draws(blocks, resamples=60, seed=2)
        samples = block_resamples(blocks, resamples=60, seed=2)
        for figure in (*ranking_figures().values(), brier):
            drawn = bootstrap(figure, truth, chance, weight, draws)
            by_rows = [figure(truth[s], chance[s], weight[s]) for s in samples]
            assert drawn == pytest.approx(np.array(by_rows), rel=1e-9)

    def test_blocks_are_drawn_whole(self) -> None:
        blocks = np.array([7, 7, 3, 3, 3, 9])
        for sample in block_resamples(blocks, resamples=20, seed=0):
            counts = np.bincount(sample, minlength=6)
            assert counts[0] == counts[1]
            assert counts[2] == counts[3] == counts[4]

    def test_interval_of_nothing(self) -> None:
        assert np.isnan(interval(1.0, np.array([np.nan])).low)
        assert np.isnan(bias_corrected_interval(1.0, np.array([np.nan])).low)


class TestBiasCorrectedInterval:
    """Efron's own model: on some scale the draws are normal, off by `bias` spreads."""

    @pytest.mark.parametrize("bias", [-0.4, 0.0, 0.3])
    def test_exact_where_the_model_holds(self, bias: float) -> None:
        spread, value = 0.2, 1.5
        steps = norm.ppf((np.arange(200_000) + 0.5) / 200_000)
        drawn = value * np.exp(spread * (steps - bias))
        found = bias_corrected_interval(value, drawn, level=0.90)
        ends = value * np.exp(spread * (bias + np.array([-1.0, 1.0]) * norm.ppf(0.95)))
        assert [found.low, found.high] == pytest.approx(ends, rel=1e-3)

    def test_same_as_other_software_where_the_spread_is_constant(self) -> None:
        """The general method's acceleration is zero for the mean of symmetric data."""
        data = np.concatenate([np.arange(30.0), -np.arange(30.0)])
        other = bootstrap_of_scipy(
            (data,), np.mean, confidence_level=0.90, n_resamples=4000, method="BCa",
            random_state=np.random.default_rng(2),
        )  # fmt: skip
        found = bias_corrected_interval(0.0, other.bootstrap_distribution, level=0.90)
        assert found.low == pytest.approx(other.confidence_interval.low, rel=1e-9)
        assert found.high == pytest.approx(other.confidence_interval.high, rel=1e-9)

    def test_acceleration_as_other_software_has_it(self) -> None:
        """A skewed sample: the bound of its mean by the general method, on the same draws."""
        data = np.random.default_rng(4).exponential(size=40)
        other = bootstrap_of_scipy(
            (data,), np.mean, confidence_level=0.90, n_resamples=3000, method="BCa",
            random_state=np.random.default_rng(2),
        )  # fmt: skip
        without = (data.sum() - data) / (len(data) - 1)
        found = bias_corrected_interval(
            float(data.mean()), other.bootstrap_distribution, level=0.90,
            acceleration=acceleration_of(without),
        )  # fmt: skip
        assert found.low == pytest.approx(other.confidence_interval.low, rel=1e-9)
        assert found.high == pytest.approx(other.confidence_interval.high, rel=1e-9)

    def test_acceleration_of_a_mean_is_a_sixth_of_the_skewness(self) -> None:
        """Efron 1987: skewness / 6 / sqrt(n) for a mean."""
        data = np.random.default_rng(5).exponential(size=50)
        without = (data.sum() - data) / (len(data) - 1)
        expected = skew(data) / 6 / np.sqrt(len(data))
        assert acceleration_of(without) == pytest.approx(expected, rel=1e-9)
        assert acceleration_of(np.array([1.0, 1.0, np.nan])) == 0.0

    def test_samples_without_each_block(self) -> None:
        found = without_each(block_draws(np.array([4, 4, 9, 2]), resamples=3, seed=0))
        rows = found.times[:, found.block]
        assert sorted(rows.tolist()) == [[0, 0, 1, 1], [1, 1, 0, 1], [1, 1, 1, 0]]

    def test_no_bias_is_the_percentile_interval(self) -> None:
        drawn = np.linspace(-1, 1, 1001)
        plain, corrected = interval(0.0, drawn), bias_corrected_interval(0.0, drawn)
        assert [corrected.low, corrected.high] == pytest.approx([plain.low, plain.high])
