from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtri
from scipy.stats import lognorm, norm, uniform

from riskmap.contract.parameters import Z_95, UncertainParameter, draw_parameters
from riskmap.failure.mat import MATURING_YR, SOLIDS_GAIN
from riskmap.failure.parameter_ranges import FAILURE_PARAMETERS, FailureParameters
from riskmap.failure.soil_hydraulics import ALPHA_PER_M

EVEN = ndtri((np.arange(20_000) + 0.5) / 20_000)


class TestAgainstOtherSoftware:
    """scipy's distributions, fitted to the same 5 and 95 % ends."""

    @pytest.mark.parametrize("shape", ["lognormal", "normal", "uniform"])
    def test_quantiles(self, shape: str) -> None:
        one = UncertainParameter("x", 0.5, 3.0, shape, "", "")  # type: ignore[arg-type]
        ranks = np.array([0.01, 0.05, 0.3, 0.5, 0.95, 0.999])
        sigma, middle = np.log(6.0) / (2 * Z_95), np.sqrt(1.5)
        expected = {
            "lognormal": lognorm(sigma, scale=middle),
            "normal": norm(1.75, 2.5 / (2 * Z_95)),
            "uniform": uniform(0.5 - 2.5 / 18, 2.5 * 20 / 18),
        }[shape].ppf(ranks)
        assert one.at(ndtri(ranks)) == pytest.approx(expected, rel=1e-9)


class TestProperties:
    @pytest.mark.parametrize("one", FAILURE_PARAMETERS, ids=lambda one: one.name)
    def test_nine_tenths_lie_in_the_range_and_the_source_is_named(
        self, one: UncertainParameter
    ) -> None:
        drawn = one.at(EVEN)
        assert np.mean((drawn >= one.low) & (drawn <= one.high)) == pytest.approx(0.9, abs=2e-4)
        assert len(one.source) > 20

    def test_what_the_plain_assessment_takes_lies_in_every_range(self) -> None:
        plain = FailureParameters()
        for one in FAILURE_PARAMETERS:
            assert one.low <= getattr(plain, one.name) <= one.high, one.name
        assert (plain.alpha_per_m, plain.maturing_yr) == (ALPHA_PER_M, MATURING_YR)
        assert plain.growth.solids_gain == SOLIDS_GAIN

    def test_sets_are_drawn_by_name(self) -> None:
        sets = draw_parameters(FAILURE_PARAMETERS, np.zeros((len(FAILURE_PARAMETERS), 3)))
        assert len(sets) == 3
        middle = FailureParameters.of(sets[0])
        assert middle.alpha_per_m == pytest.approx(12.0)
        assert middle.field_margin == pytest.approx(np.sqrt(0.7 * 1.4))
