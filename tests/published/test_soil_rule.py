"""The national absorption-field rule against published values.

Sources, with the status of each value:

- S-curve and rule: USDA-NRCS interpretation rule 208 and its evaluations, agency's open database,
  21 March 2025 (read there; the curve recomputed with R 4.2.2).
- Component vectors: worked by hand from that rule.
- Hydrologic soil groups: USDA-NRCS decision tree after NEH 630 chapter 7 (2009), table 7-1.
- Aggregation: methods of the agency's soil reports; numbers worked by hand.
- Classic table: USDA-SCS National Soils Handbook; EPA 625/1-80-012 (1980), table 3-2.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from riskmap.contract.units import INCH_PER_HOUR_UM_S
from riskmap.inventory.soil_aggregate import (
    dominant_component,
    dominant_condition,
    rate_mapunits,
    weighted_average,
)
from riskmap.inventory.soil_classic import classic_limits
from riskmap.inventory.soil_curves import ksat_class, rating_class, s_curve
from riskmap.inventory.soil_hydrologic import hydrologic_group
from riskmap.inventory.soil_limits import rate_components
from riskmap.inventory.soil_rule import SUB_RULES

NAN = math.nan


def _rule(column: str, value: float) -> float:
    sub = next(sub for sub in SUB_RULES if sub.column == column)
    return float(sub.rate(pd.Series([value])).iloc[0])


class TestSCurve:
    """Recomputed with R 4.2.2 to four decimals; tolerance 1e-4."""

    @pytest.mark.parametrize(
        ("x", "expected"), [(8, 0), (9.75, 0.1251), (11.5, 0.5001), (13, 0.8368), (15, 1)]
    )
    def test_rising(self, x: float, expected: float) -> None:
        assert s_curve(x, low=7.999, high=15) == pytest.approx(expected, abs=1e-4)

    @pytest.mark.parametrize(
        ("column", "value", "expected"),
        [
            *[("limit_saturated_zone", x, y) for x, y in
              [(90, 1), (120, 1), (135, 0.8733), (150, 0.4967), (165, 0.1233), (180, 0)]],
            *[("limit_slow_water", x, y) for x, y in
              [(1, 1), (4, 1), (6.5, 0.8740), (9, 0.4980), (9.17, 0.4646), (11.5, 0.1240),
               (14, 0)]],
            *[("limit_bedrock", x, y) for x, y in
              [(100, 1), (120, 0.875), (140, 0.5), (160, 0.125), (180, 0)]],
            *[("limit_cemented_pan", x, y) for x, y in [(140.95, 0.5), (160, 0.143)]],
            *[("limit_large_stones", x, y) for x, y in
              [(25, 0), (30, 0.0802), (37.5, 0.5), (45, 0.9198), (50.01, 1)]],
            *[("limit_slope", x, y) for x, y in [(9, 0.0409), (10, 0.1634), (12, 0.6328)]],
        ],
    )  # fmt: skip
    def test_sub_rules(self, column: str, value: float, expected: float) -> None:
        tolerance = 5e-4 if column == "limit_cemented_pan" else 1e-4  # printed to 3 decimals there
        assert _rule(column, value) == pytest.approx(expected, abs=tolerance)


def _one_component(
    *,
    slope: float,
    flood: str = "none",
    pond: tuple[str, str | None] = ("none", None),
    bedrock: float = NAN,
    water: float = NAN,
    slow: float,
    bottom: float,
    stones: float = 0.0,
    aridic: bool = False,
) -> pd.Series:
    """Rate one made-up component; `slow` is the layer at 60-90 cm, `bottom` the one below it."""
    components = pd.DataFrame(
        {
            "cokey": ["1"], "mukey": ["1"], "comppct": [100.0], "compkind": ["series"],
            "slope_pct": [slope], "drainage_class": ["well"], "hydrologic_group": ["B"],
            "tax_subgroup": ["Typic Torriorthents" if aridic else "Typic Hapludalfs"],
            "tax_great_group": ["Torriorthents" if aridic else "Hapludalfs"],
            "tax_order": ["Entisols" if aridic else "Alfisols"],
            "subsidence_cm": [NAN], "local_phase": [None], "gaps": [None],
        }
    )  # fmt: skip
    horizons = pd.DataFrame(
        {
            "cokey": "1", "chkey": ["a", "b"], "top_cm": [0.0, 90.0], "bottom_cm": [90.0, 120.0],
            "ksat_um_s": [slow, bottom], "sand_pct": NAN, "clay_pct": NAN, "texture": None,
            "fragments_76_250_pct": stones, "fragments_over_250_pct": 0.0,
        }
    )  # fmt: skip
    restrictions = pd.DataFrame(
        {"cokey": ["1"], "kind": ["lithic bedrock"], "hardness": ["indurated"], "top_cm": [bedrock]}
    )
    months = pd.DataFrame(
        {
            "cokey": ["1"], "month": [4.0], "flooding_frequency": [flood],
            "ponding_frequency": [pond[0]], "ponding_duration": [pond[1]], "wet_top_cm": [water],
        }
    )  # fmt: skip
    if math.isnan(bedrock):
        restrictions = restrictions.iloc[:0]
    return rate_components(components, horizons, restrictions, months).loc["1"]


class TestComponentVectors:
    """Eleven vectors worked by hand from the rule; ratings within 0.005, classes equal."""

    def _check(self, row: pd.Series, rating: float, named: str, reasons: str) -> None:
        if math.isnan(rating):
            assert math.isnan(row["rating"])
        else:
            assert row["rating"] == pytest.approx(rating, abs=0.005)
        assert row["rating_class"] == named
        assert row["reasons"] == reasons

    def test_e1(self) -> None:
        row = _one_component(slope=4, slow=9, bottom=9)
        self._check(row, 0.498, "somewhat limited", "slow water movement")

    def test_e2(self) -> None:
        row = _one_component(slope=12, slow=9.17, bottom=9.17)
        self._check(row, 0.633, "somewhat limited", "steep slope; slow water movement")
        assert row["limit_slow_water"] == pytest.approx(0.46, abs=0.005)

    def test_e3(self) -> None:
        row = _one_component(slope=2, water=15, slow=9, bottom=9)
        self._check(row, 1, "very limited", "high water table; slow water movement")

    def test_e4(self) -> None:
        row = _one_component(slope=3, flood="rare", slow=28, bottom=28, aridic=True)
        self._check(row, 0.40, "somewhat limited", "flooding")

    def test_e5(self) -> None:
        row = _one_component(slope=3, slow=92, bottom=92)
        reasons = "soil too fast to filter; seepage through the bottom layer"
        self._check(row, 1, "very limited", reasons)

    def test_e6(self) -> None:
        self._check(_one_component(slope=3, slow=28, bottom=28, aridic=True), 0, "not limited", "")

    def test_e7(self) -> None:
        # bedrock at 140 cm lies below both layers, so it cuts neither
        row = _one_component(slope=3, bedrock=140, slow=28, bottom=28, stones=37.5, aridic=True)
        self._check(row, 0.50, "somewhat limited", "shallow bedrock; large stones")
        assert row["limit_bedrock"] == pytest.approx(row["limit_large_stones"])

    def test_e8(self) -> None:
        self._check(
            _one_component(slope=NAN, slow=9, bottom=9), NAN, "not rated", "slow water movement"
        )

    def test_e9(self) -> None:
        row = _one_component(slope=3, flood="occasional", slow=28, bottom=28, aridic=True)
        self._check(row, 1, "very limited", "flooding")

    def test_e10(self) -> None:
        pond = ("occasional", "brief")
        row = _one_component(slope=3, pond=pond, slow=28, bottom=28, aridic=True)
        self._check(row, 1, "very limited", "ponding")

    def test_e11(self) -> None:
        row = _one_component(slope=3, slow=28, bottom=28)
        self._check(row, 1, "very limited", "seepage through the bottom layer")

    def test_not_limited_is_almost_never_reached_outside_arid_soils(self) -> None:
        """Only a slowest layer of at least 13.99 and a bottom layer of at most 14 um/s gives 0."""
        ksats = np.array([3.0, 13.0, 13.995, 14.0, 14.01, 28, 60])
        rated = [_one_component(slope=3, slow=k, bottom=k)["rating_class"] for k in ksats]
        assert [k for k, name in zip(ksats, rated, strict=True) if name == "not limited"] == [
            13.995,
            14.0,
        ]


class TestRatingClass:
    """USDA-NRCS interpretation descriptions: 0 not, between somewhat, 1 very limited."""

    def test_names(self) -> None:
        assert rating_class([0, 0.001, 0.5, 0.999, 1, NAN]).tolist() == [
            "not limited",
            "somewhat limited",
            "somewhat limited",
            "somewhat limited",
            "very limited",
            "not rated",
        ]


class TestHydrologicGroupTree:
    """NEH 630 chapter 7 (2009), table 7-1, as the agency's decision tree; exact."""

    @pytest.mark.parametrize(
        ("restriction", "water", "ksat", "group"),
        [
            (40, 200, 50, "D"),
            (75, 80, 41, "A"),
            (75, 80, 40, "B"),
            (75, 30, 12, "B/D"),
            (75, 80, 1, "D"),
            (150, 200, 11, "A"),
            (150, 200, 9.17, "B"),
            (NAN, 45, 0.5, "C/D"),
            (150, 200, 0.4, "D"),
        ],
    )
    def test_vectors(self, restriction: float, water: float, ksat: float, group: str) -> None:
        assert hydrologic_group([restriction], [water], [ksat]).tolist() == [group]


class TestKsatClasses:
    """USDA-NRCS Custom Soil Resource Report, glossary."""

    def test_class_and_unit(self) -> None:
        assert ksat_class([9.17]).tolist() == ["moderately high"]
        in_per_hour = 9.17 / INCH_PER_HOUR_UM_S
        assert in_per_hour == pytest.approx(1.30, abs=0.005)

    def test_borders_belong_to_the_faster_class(self) -> None:
        values = [0.0099, 0.01, 0.1, 1, 10, 99.9, 100]
        assert ksat_class(values).tolist() == [
            "very low",
            "low",
            "moderately low",
            "moderately high",
            "high",
            "high",
            "very high",
        ]


def _mixture(*parts: tuple[float, float]) -> pd.DataFrame:
    table = pd.DataFrame(parts, columns=["comppct", "rating"]).assign(mukey="1")
    table.index = pd.Index([str(key) for key in range(101, 101 + len(parts))], name="cokey")
    return table.assign(rating_class=rating_class(table["rating"]))


class TestAggregation:
    """Methods of the agency's soil reports; weighted mean within 1e-4."""

    def test_first_mixture(self) -> None:
        table = _mixture((60, 0.5), (30, 1.0), (10, NAN))
        assert dominant_component(table).loc["1", "rating"] == 0.5
        condition = dominant_condition(table).loc["1"]
        assert (condition["class"], condition["rating"]) == ("somewhat limited", 0.5)
        assert weighted_average(table).loc["1", "mean_rating"] == pytest.approx(0.6667, abs=1e-4)
        assert weighted_average(table).loc["1", "rated_pct"] == 90

    def test_second_mixture(self) -> None:
        table = _mixture((40, 1.0), (30, 0.2), (30, 0.4))
        summed = rate_mapunits(table).loc["1"]
        assert (summed["component_class"], summed["component_rating"]) == ("very limited", 1.0)
        assert summed["condition_class"] == "somewhat limited"
        assert summed["condition_rating"] == pytest.approx(0.30)
        assert summed["mean_rating"] == pytest.approx(0.58)


CLASSIC_BEST: dict[str, object] = {
    "slope_pct": 2.0,
    "flooding_frequency": "none",
    "is_ponded": False,
    "bedrock_cm": NAN,
    "cemented_pan_cm": NAN,
    "wet_top_cm": NAN,
    "ksat_min_um_s": 3 * INCH_PER_HOUR_UM_S,
    "ksat_filter_um_s": 3 * INCH_PER_HOUR_UM_S,
    "subsidence_cm": 0.0,
    "large_stones_pct": 0.0,
    "permafrost_rating": 0.0,
}
IN, FT = 2.54, 30.48


class TestClassicTable:
    """USDA-SCS National Soils Handbook; EPA 625/1-80-012 (1980), table 3-2: one row per border."""

    @pytest.mark.parametrize(
        ("feature", "reason", "borders"),
        [
            ("slope_pct", "slope",
             {7.9: "slight", 8: "moderate", 15: "moderate", 15.1: "severe"}),
            ("flooding_frequency", "flooding",
             {"none": "slight", "rare": "moderate", "occasional": "severe", "frequent": "severe"}),
            ("is_ponded", "ponding", {False: "slight", True: "severe"}),
            ("bedrock_cm", "depth to rock",
             {73 * IN: "slight", 72 * IN: "moderate", 40 * IN: "moderate", 39.9 * IN: "severe"}),
            ("cemented_pan_cm", "cemented pan",
             {73 * IN: "slight", 72 * IN: "moderate", 40 * IN: "moderate", 39.9 * IN: "severe"}),
            ("wet_top_cm", "wetness",
             {6.1 * FT: "slight", 6 * FT: "moderate", 4 * FT: "moderate", 3.9 * FT: "severe"}),
            ("ksat_min_um_s", "percs slowly",
             {2.0 * INCH_PER_HOUR_UM_S: "slight", 1.9 * INCH_PER_HOUR_UM_S: "moderate",
              0.6 * INCH_PER_HOUR_UM_S: "moderate", 0.59 * INCH_PER_HOUR_UM_S: "severe"}),
            ("ksat_filter_um_s", "poor filter",
             {6.0 * INCH_PER_HOUR_UM_S: "slight", 6.1 * INCH_PER_HOUR_UM_S: "severe"}),
            ("subsidence_cm", "subsides", {24 * IN: "slight", 24.1 * IN: "severe"}),
            ("large_stones_pct", "large stones",
             {24.9: "slight", 25: "moderate", 50: "moderate", 50.1: "severe"}),
            ("permafrost_rating", "permafrost", {0.0: "slight", 1.0: "severe"}),
        ],
    )  # fmt: skip
    def test_borders(self, feature: str, reason: str, borders: dict[object, str]) -> None:
        rows = pd.DataFrame([{**CLASSIC_BEST, feature: value} for value in borders])
        judged = classic_limits(rows)
        assert judged[reason].tolist() == list(borders.values())
        assert judged["classic_class"].tolist() == list(borders.values())

    def test_the_worst_property_decides(self) -> None:
        row = {**CLASSIC_BEST, "slope_pct": 10.0, "wet_top_cm": 30.0}
        judged = classic_limits(pd.DataFrame([row])).iloc[0]
        assert judged["classic_class"] == "severe"
        assert judged["slope"] == "moderate"
