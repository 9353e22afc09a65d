from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskmap.groundwater.soil_media import layer_ratings, mapunit_ratings, texture_of
from riskmap.groundwater.vulnerability import SOIL_OF_TEXTURE

NAN = float("nan")


class TestPublishedValues:
    def test_middles_of_the_texture_triangle(self) -> None:
        # Middles of the classes of the USDA triangle (Soil Survey Manual, Handbook 18, ch. 3)
        middles = {
            "sand": (92, 3), "loamy sand": (82, 6), "sandy loam": (65, 10), "loam": (40, 18),
            "silt loam": (20, 15), "silt": (7, 6), "sandy clay loam": (60, 27),
            "clay loam": (33, 34), "silty clay loam": (10, 34), "sandy clay": (52, 42),
            "silty clay": (6, 47), "clay": (20, 60),
        }  # fmt: skip
        sand, clay = zip(*middles.values(), strict=True)
        assert texture_of(sand, clay).tolist() == list(middles)

    def test_bounds_of_the_triangle(self) -> None:
        # 7, 20, 27, 35 and 40 % clay; 45 and 52 % sand; 28, 50 and 80 % silt
        assert texture_of([52.1, 52.0], [10, 10]).tolist() == ["sandy loam", "loam"]
        assert texture_of([30, 30], [26.9, 27]).tolist() == ["loam", "clay loam"]
        assert texture_of([20.1, 20], [30, 30]).tolist() == ["clay loam", "silty clay loam"]
        assert texture_of([46, 45], [36, 36]).tolist() == ["sandy clay", "clay loam"]
        assert texture_of([30, 30], [39.9, 40]).tolist() == ["clay loam", "clay"]
        assert texture_of([15, 9], [5, 11.9]).tolist() == ["silt", "silt loam"]


class TestByEye:
    def test_codes_of_the_survey(self) -> None:
        codes = ["SIL", "GR-SL", "STV-LS", "MUCK", "grx-l", "UWB", None]
        found = layer_ratings(codes)
        assert found[:5].tolist() == [4, 6, 9, 2, 10]
        assert np.isnan(found[5:]).all()

    def test_grain_sizes_stand_in_where_the_code_is_missing(self) -> None:
        found = layer_ratings([None, "CL"], sand_pct=[92, 92], clay_pct=[3, 3])
        assert found.tolist() == [9, 3]

    def test_a_map_unit_by_hand(self) -> None:
        components = pd.DataFrame(
            {"cokey": ["a", "b", "c"], "mukey": ["m", "m", "n"], "comppct": [70.0, 30.0, 100.0]}
        )
        horizons = pd.DataFrame(
            {
                "cokey": ["a", "a", "b", "c"], "top_cm": [0.0, 30, 0, 0],
                "bottom_cm": [30.0, 120, 400, 50], "texture": ["SIL", "CL", "S", None],
                "sand_pct": NAN, "clay_pct": NAN,
            }
        )  # fmt: skip
        # a: (30 x 4 + 90 x 3) / 120 = 3.25; b: 9, looked at to 183 cm; c: nothing known
        found = mapunit_ratings(components, horizons)
        assert found.to_dict() == {"m": pytest.approx(0.7 * 3.25 + 0.3 * 9)}
        shallow = pd.DataFrame({"cokey": ["a"], "kind": ["Lithic bedrock"], "top_cm": [20.0]})
        assert mapunit_ratings(components, horizons, shallow)["m"] == pytest.approx(0.7 * 10 + 2.7)
        deep = shallow.assign(top_cm=80.0)
        assert mapunit_ratings(components, horizons, deep)["m"] == pytest.approx(found["m"])


class TestProperties:
    @given(st.floats(0, 100), st.floats(0, 1))
    def test_every_mixture_has_a_class(self, sand: float, share: float) -> None:
        clay = (100.0 - sand) * share
        assert texture_of([sand], [clay])[0] in SOIL_OF_TEXTURE

    def test_unknown_grain_has_none(self) -> None:
        assert texture_of([NAN, 80], [20, 40]).tolist() == [None, None]
