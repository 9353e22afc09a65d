from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.parameters import draw_parameters
from riskmap.groundwater.parameter_ranges import GROUNDWATER_PARAMETERS, GroundwaterParameters
from riskmap.groundwater.settings import ASSESSMENT, AssessmentSettings

RANGES = {one.name: one for one in GROUNDWATER_PARAMETERS}


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


class TestTable:
    def test_every_parameter_has_a_range_and_a_source(self) -> None:
        assert [f.name for f in fields(GroundwaterParameters)] == list(RANGES)
        for name, belief in RANGES.items():
            assert belief.low < belief.high
            assert len(belief.source) > 20
            assert (belief.of == "factor") == name.endswith("_factor")
            nothing = getattr(GroundwaterParameters(), name)
            assert belief.low <= nothing <= belief.high
            assert nothing == (1.0 if belief.of == "factor" else 0.0)

    def test_the_handbook_shows_it(self) -> None:
        page = Path(__file__).resolve().parents[2] / "docs" / "methods" / "plume.md"
        rows = re.findall(
            r"^\| `(\w+)` \| (\S+) \| (\S+) \| (\w+) \|", page.read_text(encoding="utf-8"), re.M
        )
        assert rows == [(n, f"{r.low:.2g}", f"{r.high:.3g}", r.shape) for n, r in RANGES.items()]

    def test_ends_are_drawn(self) -> None:
        edge = 1.6448536269514722
        low, high = draw_parameters(GROUNDWATER_PARAMETERS, [[-edge, edge]] * len(RANGES))
        found = GroundwaterParameters.of({**high, "another": 1.0})
        assert found.conductivity_factor == pytest.approx(5.0)
        assert found.decay_added_1_d == pytest.approx(2e-4)
        assert GroundwaterParameters.of(low).denitrified_shift_frac == pytest.approx(-0.05)
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

    @given(st.lists(st.floats(-4, 4), min_size=len(RANGES), max_size=len(RANGES)))
    @settings(max_examples=60, deadline=None)
    def test_any_draw_is_a_valid_assessment(self, normals: list[float]) -> None:
        (drawn,) = draw_parameters(GROUNDWATER_PARAMETERS, [[z] for z in normals])
        base = AssessmentSettings(porosity_frac=0.45, soil_denitrified_frac=0.85)
        found = GroundwaterParameters.of(drawn).settings(base)
        assert 0.01 <= found.porosity_frac <= 0.5
        assert found.soil_denitrified_frac <= 0.9
        assert found.plume.decay_1_d >= 0
