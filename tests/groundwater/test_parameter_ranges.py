from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from riskmap.groundwater.parameter_ranges import (
    RANGES,
    GroundwaterParameters,
    ParameterRange,
    draw_parameters,
    parameter_values,
)
from riskmap.groundwater.settings import ASSESSMENT, AssessmentSettings

EDGE = float(stats.norm.ppf(0.95))


class TestPublishedValues:
    def test_ranges_hold_the_published_figures(self) -> None:
        # Hantzsche and Finnemore (1992): .10-.35 lost in the soil, .5-1.0 mg/L background
        lost = ASSESSMENT["soil_denitrified_frac"].value
        shift = RANGES["denitrified_shift_frac"]
        assert (lost + shift.low, lost + shift.high) == pytest.approx((0.10, 0.35))
        background = ASSESSMENT["background_mg_l"].value
        assert background * RANGES["background_factor"].high >= 1.0
        # 35 Ill. Adm. Code 671 App. A, loose ground: .15 to .21; Washington practice .22
        pores = ASSESSMENT["porosity_frac"].value
        assert pores * RANGES["porosity_factor"].low <= 0.15
        assert pores * RANGES["porosity_factor"].high >= 0.22
        # 4.2 (a Florida basin budget), 4.68 (Amador et al. 2018), 4.09 (EPA, from memory) kg/yr
        low = GroundwaterParameters(per_person_factor=RANGES["per_person_factor"].low)
        high = GroundwaterParameters(per_person_factor=RANGES["per_person_factor"].high)
        assert 3.0 <= low.per_person_kg_yr <= 4.09
        assert 4.68 <= high.per_person_kg_yr <= 6.0


class TestAgainstOtherSoftware:
    @pytest.mark.parametrize("name", list(RANGES))
    def test_quantiles(self, name: str) -> None:
        belief = RANGES[name]
        low, high = belief.low, belief.high
        p = np.array([0.02, 0.05, 0.3, 0.5, 0.9, 0.95])
        if belief.distribution == "lognormal":
            middle, spread = np.log(low * high) / 2, np.log(high / low) / 2 / EDGE
            expected = stats.lognorm.ppf(p, spread, scale=np.exp(middle))
        else:
            width = (high - low) / 0.9
            expected = stats.uniform.ppf(p, low - 0.05 * width, width)
        found = parameter_values(stats.norm.ppf(p), belief)
        np.testing.assert_allclose(found, expected, rtol=1e-12, atol=1e-16)
        np.testing.assert_allclose(found[[1, 5]], [low, high], rtol=1e-12, atol=1e-16)

    def test_normal(self) -> None:
        belief = ParameterRange(-1.0, 3.0, "normal", "shift", "a test")
        z = np.array([-2.0, 0.0, 1.0])
        np.testing.assert_allclose(parameter_values(z, belief), 1.0 + 2.0 / EDGE * z)


class TestTable:
    def test_every_parameter_has_a_range_and_a_source(self) -> None:
        assert [f.name for f in fields(GroundwaterParameters)] == list(RANGES)
        for name, belief in RANGES.items():
            assert belief.low < belief.high
            assert len(belief.source) > 20
            assert (belief.acts == "factor") == name.endswith("_factor")
            nothing = getattr(GroundwaterParameters(), name)
            assert belief.low <= nothing <= belief.high
            assert nothing == (1.0 if belief.acts == "factor" else 0.0)

    def test_the_belief_is_cut_at_its_tails(self) -> None:
        far = parameter_values([-9.0, -np.inf, 9.0, np.inf], RANGES["conductivity_factor"])
        ends = parameter_values(stats.norm.ppf([0.01, 0.99]), RANGES["conductivity_factor"])
        np.testing.assert_allclose(far, np.repeat(ends, 2))

    def test_draws(self) -> None:
        z = {"porosity_factor": [0.0, EDGE], "denitrified_shift_frac": [EDGE, 0.0]}
        first, second = draw_parameters(z)
        assert first.denitrified_shift_frac == pytest.approx(0.2)
        assert second.porosity_factor == pytest.approx(1.4)
        assert first.conductivity_factor == 1.0
        assert draw_parameters({}) == ()
        with pytest.raises(ValueError, match="no range declared for salt"):
            draw_parameters({"salt": [0.0]})
        with pytest.raises(ValueError, match="as many"):
            draw_parameters({"porosity_factor": [0.0], "recharge_factor": [0.0, 1.0]})
        with pytest.raises(ValueError, match="positive"):
            GroundwaterParameters(porosity_factor=0.0)


class TestSettings:
    def test_nothing_changed(self) -> None:
        base = AssessmentSettings()
        assert GroundwaterParameters().settings(base) == base

    def test_by_hand(self) -> None:
        found = GroundwaterParameters(
            conductivity_factor=3.0, porosity_factor=1.2, dispersivity_factor=2.0,
            transverse_factor=0.5, thickness_factor=0.5, decay_added_1_d=1e-4,
        ).settings(AssessmentSettings())  # fmt: skip
        assert found.conductivity_m_d == 30.0
        assert found.porosity_frac == pytest.approx(0.24)
        plume = found.plume
        assert (plume.dispersivity_along_m, plume.dispersivity_across_m) == (20.0, 1.0)
        assert (plume.dispersivity_down_m, plume.thickness_m, plume.decay_1_d) == (0.1, 10.0, 1e-4)

    @given(st.lists(st.floats(-6, 6), min_size=len(RANGES), max_size=len(RANGES)))
    @settings(max_examples=60, deadline=None)
    def test_any_draw_is_a_valid_assessment(self, normals: list[float]) -> None:
        (drawn,) = draw_parameters({n: [z] for n, z in zip(RANGES, normals, strict=True)})
        found = drawn.settings(AssessmentSettings(porosity_frac=0.45, soil_denitrified_frac=0.85))
        assert 0.01 <= found.porosity_frac <= 0.5
        assert found.soil_denitrified_frac <= 0.9
