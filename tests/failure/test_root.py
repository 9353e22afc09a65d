from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from riskmap.contract.errors import RiskmapError
from riskmap.failure.root import find_root


class TestAgainstOtherSoftware:
    def test_brentq_on_hard_functions(self) -> None:
        """scipy.optimize.brentq on a flat cubic, a steep exponential and a kink."""
        functions = [
            lambda x: (x - 0.3) ** 3,
            lambda x: np.exp(30 * x) - 1e5,
            lambda x: np.where(x < 0.7, x - 0.7, 100 * (x - 0.7)),
            lambda x: np.cos(x) - x,
        ]
        for function in functions:
            ours = find_root(function, np.zeros(1), np.ones(1))
            theirs = brentq(function, 0.0, 1.0, xtol=1e-13, maxiter=1000)
            assert ours[0] == pytest.approx(theirs, abs=2e-5 if function is functions[0] else 1e-12)


class TestAgainstEnumeration:
    def test_cubes_of_whole_numbers(self) -> None:
        cubes = np.arange(1.0, 10.0) ** 3
        roots = find_root(lambda x, c: x**3 - c, np.zeros(9), np.full(9, 10.0), (cubes,))
        np.testing.assert_allclose(roots, np.arange(1.0, 10.0), rtol=1e-12)


class TestProperties:
    @given(st.floats(1e-6, 1e6), st.floats(0.2, 5.0))
    @settings(max_examples=60, deadline=None)
    def test_power_root(self, target: float, power: float) -> None:
        high = np.array([max(target, 1.0) ** (1 / power) * 3])
        root = find_root(lambda x, t: x**power - t, np.zeros(1), high, (np.array([target]),))
        assert root[0] == pytest.approx(target ** (1 / power), rel=1e-9, abs=1e-12 * high[0])

    def test_root_at_an_end(self) -> None:
        roots = find_root(lambda x: x, np.array([0.0, -1.0]), np.array([1.0, 0.0]))
        np.testing.assert_array_equal(roots, [0.0, 0.0])

    def test_nan_in_nan_out_and_the_rest_is_solved(self) -> None:
        wanted = np.array([np.nan, 0.25])
        roots = find_root(lambda x, w: x - w, np.zeros(2), np.ones(2), (wanted,))
        assert np.isnan(roots[0])
        assert roots[1] == pytest.approx(0.25, abs=1e-14)

    def test_unbracketed_is_refused(self) -> None:
        with pytest.raises(RiskmapError, match="not bracketed"):
            find_root(lambda x: x + 1, np.zeros(1), np.ones(1))

    def test_empty(self) -> None:
        assert find_root(lambda x: x, np.zeros(0), np.zeros(0)).size == 0

    def test_few_evaluations(self) -> None:
        """Plain bisection to the same accuracy would take about 45."""
        calls = 0

        def function(x: np.ndarray, target: np.ndarray) -> np.ndarray:
            nonlocal calls
            calls += 1
            return np.expm1(3 * x) - target

        targets = np.linspace(0.01, 15, 1000)
        roots = find_root(function, np.zeros(1000), np.ones(1000), (targets,))
        np.testing.assert_allclose(roots, np.log1p(targets) / 3, rtol=1e-11)
        assert calls <= 20
