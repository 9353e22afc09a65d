from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import weibull_min

from riskmap.contract.kinds import SYSTEM_KINDS
from riskmap.failure.aging import (
    DEFAULT_AGING,
    AgingModel,
    chance_failing_frac,
    curve_of_kind,
    survival_frac,
)

kinds = st.sampled_from(SYSTEM_KINDS)
ages = st.floats(0, 90)


def _chance(kind: str, age: float, within: float, multiplier: float = 1.0) -> float:
    found = chance_failing_frac([kind], [age], within_yr=within, hazard_multiplier=multiplier)
    return float(found[0])


class TestAgainstOtherSoftware:
    @given(kinds, ages, st.floats(0.1, 30))
    @settings(max_examples=50, deadline=None)
    def test_scipy_weibull(self, kind: str, age: float, within: float) -> None:
        model = DEFAULT_AGING[kind]
        curve = weibull_min(model.shape, scale=model.scale_yr)
        assert float(
            survival_frac(age, shape=model.shape, scale_yr=model.scale_yr)
        ) == pytest.approx(curve.sf(age))
        expected = 1 - curve.sf(age + within) / curve.sf(age)
        assert _chance(kind, age, within) == pytest.approx(expected, rel=1e-9, abs=1e-12)


class TestAgainstEnumeration:
    def test_every_kind_has_a_curve_with_a_reason(self) -> None:
        assert set(DEFAULT_AGING) == set(SYSTEM_KINDS)
        assert all(model.why and not model.fitted for model in DEFAULT_AGING.values())

    def test_a_doubled_hazard_by_hand(self) -> None:
        """Trench, new, 10 years: .95 survive; at twice the hazard .95 ** 2."""
        assert _chance("trench", 0, 10, 2.0) == pytest.approx(1 - 0.95**2)

    def test_unheard_of_kind_goes_by_unknown(self) -> None:
        assert _chance("spaceship", 10, 5) == _chance("unknown", 10, 5)

    def test_own_models_replace_the_defaults_one_by_one(self) -> None:
        own = {"bed": AgingModel("bed", 1.0, 50.0)}
        shape, scale = curve_of_kind(["bed", "trench"], models=own)
        assert (shape[0], scale[0]) == (1.0, 50.0)
        assert scale[1] == DEFAULT_AGING["trench"].scale_yr

    def test_unknown_age_gives_no_chance(self) -> None:
        found = chance_failing_frac(["bed", "bed"], [np.nan, -1], within_yr=5)
        assert np.isnan(found).all()


class TestProperties:
    @given(kinds, ages, st.floats(0.01, 30), st.floats(0.01, 30), st.floats(0.1, 20))
    @settings(max_examples=60, deadline=None)
    def test_monotone(
        self, kind: str, age: float, more: float, within: float, multiplier: float
    ) -> None:
        base = _chance(kind, age, within)
        assert 0 <= base < 1
        assert _chance(kind, age + more, within) >= base - 1e-12
        assert _chance(kind, age, within + more) >= base
        assert (_chance(kind, age, within, multiplier) >= base) == (
            multiplier >= 1
        ) or multiplier == pytest.approx(1)

    @given(kinds, ages, st.floats(0.1, 20), st.floats(0.1, 20))
    @settings(max_examples=40, deadline=None)
    def test_chances_of_two_spells_join(self, kind: str, age: float, a: float, b: float) -> None:
        together = 1 - (1 - _chance(kind, age, a)) * (1 - _chance(kind, age + a, b))
        assert _chance(kind, age, a + b) == pytest.approx(together, abs=1e-12)
