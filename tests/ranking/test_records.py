from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import lognorm, norm

from riskmap.ranking.records import UncertainRecord, UncertainWord, learned, pick

N = 4001
EVEN = (np.arange(N) + 0.5) / N
ONE = np.ones(N)


class TestAgainstOtherSoftware:
    """scipy's distributions."""

    def test_errors_are_normal_or_lognormal(self) -> None:
        normal = UncertainRecord(30 * ONE, 4 * ONE).at(EVEN)
        assert normal == pytest.approx(norm(30, 4).ppf(EVEN), rel=1e-9)
        log = UncertainRecord(30 * ONE, 0.4 * ONE, log=True).at(EVEN)
        assert log == pytest.approx(lognorm(0.4, scale=30).ppf(EVEN), rel=1e-9)


class TestAgainstEnumeration:
    def test_guesses_miss_as_the_county_does(self) -> None:
        misses = learned(np.repeat([-20.0, 0.0], [30, 10]))
        guess = UncertainRecord(40 * ONE, ONE, guessed=ONE > 0, misses=misses)
        values, counts = np.unique(guess.at(EVEN), return_counts=True)
        assert values.tolist() == [20.0, 40.0]
        assert counts / N == pytest.approx([0.75, 0.25], abs=0.005)

    def test_the_unknown_is_like_any_of_the_county(self) -> None:
        county = learned(np.array([1.0] * 15 + [9.0] * 5 + [np.nan] * 7))
        drawn = UncertainRecord(np.nan * ONE, ONE, county=county).at(EVEN)
        assert np.mean(drawn == 9.0) == pytest.approx(0.25, abs=0.005)
        assert set(drawn) == {1.0, 9.0}

    def test_words_are_redrawn_by_their_chance(self) -> None:
        county = np.repeat([0, 2], [3, 1])
        known = UncertainWord(np.full(N, 2), 0.2 * ONE, county).at(EVEN)
        assert np.mean(known == 0) == pytest.approx(0.2 * 0.75, abs=0.005)
        open_ = UncertainWord(np.full(N, -1), 0.2 * ONE, county).at(EVEN)
        assert np.mean(open_ == 0) == pytest.approx(0.75, abs=0.005)


class TestProperties:
    def test_too_few_to_learn_from_leaves_the_unknown_unknown(self) -> None:
        county = learned(np.arange(19.0))
        assert len(county) == 0
        drawn = UncertainRecord(np.array([np.nan, 5.0]), np.zeros(2), county=county)
        assert np.isnan(drawn.at(np.array([0.5, 0.5]))).tolist() == [True, False]
        nothing = UncertainWord.of(np.array([-1, 3]), np.ones(2))
        assert nothing.at(np.array([0.1, 0.1])).tolist() == [-1, 3]

    @settings(max_examples=40)
    @given(
        value=st.floats(0, 1e3),
        spread=st.floats(0, 50),
        uniform=st.floats(1e-6, 1 - 1e-6),
        least=st.floats(0, 10),
    )
    def test_never_below_the_least_and_rising_with_luck(
        self, value: float, spread: float, uniform: float, least: float
    ) -> None:
        record = UncertainRecord(np.full(2, value), np.full(2, spread), least=least)
        low, high = record.at(np.array([uniform / 2, uniform]))
        assert least <= low <= high

    def test_quantiles_stand_for_the_sample(self) -> None:
        sample = np.random.default_rng(1).gamma(2.0, 3.0, 5000)
        assert pick(learned(sample), EVEN).mean() == pytest.approx(sample.mean(), rel=0.01)
