"""Capture zones, setbacks and virus times against published formulas and figures.

35 Ill. Adm. Code 671, Appendices A and C; US EPA (1987) Florida example (from memory); Blaschke et
al. (2016, Sci. Total Environ. 573:278); Yates, Gerba and Kelley (1985; from memory).
"""

from __future__ import annotations

import numpy as np
import pytest

from riskmap.contract.rules import Rules
from riskmap.contract.units import FOOT_M, GALLON_L
from riskmap.groundwater.capture import capture_width_m, fixed_radius_m, stagnation_m
from riskmap.groundwater.setbacks import (
    distance_beside_time,
    virus_decay_log10_d,
    virus_time_d,
)

CUBIC_FOOT_M3 = FOOT_M**3


class TestPublishedValues:
    def test_volumetric_radius(self) -> None:
        # Q = 19,250 ft3/d, n = .21, H = 50 ft, 5 years -> 1,032.0 ft, by both published forms.
        radius = fixed_radius_m(
            19_250 * CUBIC_FOOT_M3, time_d=5 * 365, porosity_frac=0.21, thickness_m=50 * FOOT_M
        )
        assert radius / FOOT_M == pytest.approx(1032.0, abs=0.1)
        regulatory = np.sqrt(19_250 * 5 * 365 * 1440 / (4524 * 0.21 * 50))
        assert radius / FOOT_M == pytest.approx(regulatory, rel=2e-5)

    def test_florida_example(self) -> None:
        gallons_d = 694.4 * 1440
        radius = fixed_radius_m(
            gallons_d * GALLON_L / 1000, time_d=5 * 365, porosity_frac=0.2,
            thickness_m=300 * FOOT_M,
        )  # fmt: skip
        assert radius / FOOT_M == pytest.approx(1138.0, abs=0.5)

    def test_uniform_flow_widths(self) -> None:
        # X = 1.19 Q / (T i), Y = 7.48 Q / (T i) with Q ft3/d, T gal/d/ft: 297.5 ft and 1,870 ft.
        pumped = 10_000 * CUBIC_FOOT_M3
        transmissivity = 20_000 * GALLON_L / 1000 / FOOT_M  # m2/d
        through = {"flux_m_d": transmissivity * 0.002, "thickness_m": 1.0}
        down = stagnation_m(pumped, **through) / FOOT_M
        width = capture_width_m(pumped, **through) / FOOT_M
        assert down == pytest.approx(1.19 * 10_000 / 40, rel=1e-3)
        assert width == pytest.approx(7.48 * 10_000 / 40, rel=1e-3)
        assert width / down == pytest.approx(2 * np.pi, rel=1e-12)

    def test_setbacks_of_the_mortgage_standard(self) -> None:
        # 24 CFR 200.926d: 100 ft from field to well, 10 ft to the lot line
        assert Rules.well_setback_m == pytest.approx(30.48)
        assert Rules.line_setback_m == pytest.approx(3.048)

    def test_virus_times(self) -> None:
        np.testing.assert_allclose(
            virus_decay_log10_d([12.0, 15.0, 20.0]), [0.0758, 0.140, 0.247], atol=5e-4
        )
        np.testing.assert_allclose(virus_time_d([12.0, 15.0, 20.0]), [92, 50, 28], atol=0.5)

    def test_hundred_feet_is_short_of_every_published_aquifer(self) -> None:
        table = distance_beside_time(
            [30.48] * 3 + [100.0, 3000.0, np.nan], [10.0] * 6, temperature_c=12.0,
            aquifer=["sand", "gravel", "coarse gravel", "Sand ", "coarse gravel", "sand"],
        )  # fmt: skip
        assert table["against_published"].tolist() == [
            "shorter than published", "shorter than published", "shorter than published",
            "within the range", "beyond the range", "unknown",
        ]  # fmt: skip
        assert table["published_low_m"].tolist()[:3] == [39, 66, 1000]
        assert table["published_high_m"].tolist()[:3] == [144, 289, 2500]
