from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.evidence import EVIDENCE
from riskmap.contract.kinds import SYSTEM_KINDS
from riskmap.contract.rules import RulePeriod, Rules
from riskmap.contract.units import GALLON_L, GPD_PER_FT2_L_D_M2, MIN_IN_MIN_CM, SQUARE_FOOT_M2
from riskmap.contract.vocabulary import STAGES
from riskmap.failure.aging import DEFAULT_AGING
from riskmap.failure.assess import assess_failure
from riskmap.failure.mat import LOOK_AHEAD_YR
from riskmap.failure.settings import FailureSettings

KNOWN = {
    "kind": "trench",
    "age_yr": 18.0,
    "installed_year": 2006.0,
    "bedrooms": 3.0,
    "occupants": 4.0,
    "tank_volume_l": 1000 * GALLON_L,
    "design_flow_l_d": 450 * GALLON_L,
    "field_area_m2": 1800 * SQUARE_FOOT_M2,
    "texture": "sandy loam",
    "ksat_um_s": 9.0,
    "clay_pct": 14.0,
    "wet_depth_cm": 150.0,
    "restriction_cm": np.nan,
    "years_since_pumped_yr": 6.0,
}


def assess(
    systems: pd.DataFrame,
    *,
    physics: FailureSettings | None = None,
    hazard: Any = 1.0,
    **rules: Any,
) -> pd.DataFrame:
    return assess_failure(
        systems,
        rules=Rules(**rules),
        physics=physics or FailureSettings(),
        hazard_multiplier=hazard,
    )


def _table(n: int, seed: int = 0) -> pd.DataFrame:
    rng = np.random.default_rng(seed)

    def holed(values: np.ndarray, share: float) -> np.ndarray:
        return np.where(rng.random(n) < share, np.nan, values)

    return pd.DataFrame(
        {
            "kind": rng.choice([*SYSTEM_KINDS, None], n),
            "age_yr": holed(rng.uniform(0, 80, n), 0.2),
            "installed_year": holed(rng.integers(1940, 2025, n).astype(float), 0.2),
            "bedrooms": holed(rng.integers(0, 7, n).astype(float), 0.3),
            "occupants": holed(rng.integers(0, 9, n).astype(float), 0.6),
            "tank_volume_l": holed(rng.uniform(1500, 9000, n), 0.6),
            "design_flow_l_d": holed(rng.uniform(800, 3000, n), 0.7),
            "field_area_m2": holed(rng.uniform(20, 200, n), 0.7),
            "ksat_um_s": holed(np.exp(rng.normal(1, 2, n)), 0.2),
            "clay_pct": holed(rng.uniform(2, 60, n), 0.3),
            "wet_depth_cm": holed(rng.uniform(0, 200, n), 0.5),
            "restriction_cm": holed(rng.uniform(20, 250, n), 0.7),
            "years_since_pumped_yr": holed(rng.uniform(0, 30, n), 0.8),
        },
        index=pd.Index([f"P{i}" for i in range(n)], name="parcel_id"),
    )


class TestAgainstEnumeration:
    def test_one_house_by_hand(self) -> None:
        """4 persons at 68.6 gal = 274.4 gal/day on 1,800 ft2 of class II at .25: 450 gal/day."""
        row = assess(pd.DataFrame([KNOWN])).iloc[0]
        assert row["daily_flow_l_d"] == pytest.approx(274.4 * GALLON_L)
        assert row["accept_rate_l_d_m2"] == pytest.approx(0.25 * GPD_PER_FT2_L_D_M2)
        assert row["design_area_m2"] == pytest.approx(1800 * SQUARE_FOOT_M2)
        assert row["load_ratio"] == pytest.approx(274.4 / 450)
        assert row["pump_interval_yr"] == pytest.approx(2.6)
        assert row["pump_overdue_yr"] == pytest.approx(3.4)
        assert not row["after_pump_out"]
        shape, scale = DEFAULT_AGING["trench"].shape, DEFAULT_AGING["trench"].scale_yr
        expected = 1 - np.exp((18 / scale) ** shape - (23 / scale) ** shape)
        assert row["chance_failing_frac"] == pytest.approx(expected)
        assert row["load_ratio_evidence"] == "inferred"
        assert row["ponding_m_evidence"] == "inferred"

    def test_the_load_ratio_adds_up_for_every_system(self) -> None:
        table = assess(_table(400))
        ratio = table["daily_flow_l_d"] / table["field_area_used_m2"] / table["accept_rate_l_d_m2"]
        pd.testing.assert_series_equal(table["load_ratio"], ratio, check_names=False)

    def test_year_of_the_permit_decides_the_area(self) -> None:
        periods = (
            RulePeriod("bedroom_montana", "montana_percolation", None, 1979),
            RulePeriod("bedroom_illinois", "illinois_percolation", 1980, None),
        )
        systems = pd.DataFrame(
            {
                "kind": ["trench", "trench", "bed", "trench"],
                "installed_year": [1970.0, 1990.0, 1990.0, np.nan],
                "bedrooms": 3.0,
                "percolation_min_cm": 20.0 * MIN_IN_MIN_CM,
            }
        )
        table = assess(systems, sizing=periods)
        area = table["design_area_m2"] / SQUARE_FOOT_M2
        # Montana: 300 / .4; Illinois, 120 min for 6 in: 600 / .85, beds half as much again.
        np.testing.assert_allclose(area, [750, 600 / 0.85, 900 / 0.85, 600 / 0.85], rtol=1e-12)
        assert table["design_area_m2_evidence"].tolist() == ["inferred"] * 3 + ["assumed"]

    def test_sidewall_credit_does_not_change_the_trench(self) -> None:
        """The same trench counted with or without its sidewall carries the same load.

        1,000 ft2 of bottom plus one foot of wall on each side of a 0.9 m trench.
        """
        known = {**KNOWN, "loading_class": "II"}
        plain = (RulePeriod("bedroom_trade", "illinois_percolation"),)
        bottom = 1000 * SQUARE_FOOT_M2
        counted = bottom * (1 + 2 * 0.3048 / 0.9)
        with_wall = assess(pd.DataFrame([{**known, "field_area_m2": counted}]))
        without = assess(
            pd.DataFrame(
                [{**known, "field_area_m2": bottom, "percolation_min_cm": 12.0 * MIN_IN_MIN_CM}]
            ),
            sizing=plain,
        )
        for name in ("load_ratio", "ponding_m", "years_to_failed_yr"):
            assert with_wall[name].iloc[0] == pytest.approx(without[name].iloc[0], rel=1e-9)

    def test_what_nothing_is_known_of_is_assumed_but_never_the_soil(self) -> None:
        table = assess(pd.DataFrame(index=["a", "b"]))
        assert table.index.tolist() == ["a", "b"]
        for name in ("daily_flow_l_d", "chance_failing_frac"):
            assert (table[f"{name}_evidence"] == "assumed").all(), name
        for name in ("accept_rate_l_d_m2", "load_ratio", "ponding_m", "reserve_frac", "stage"):
            assert table[name].isna().all(), name
            assert (table[f"{name}_evidence"] == "unknown").all(), name
        assert table["pump_overdue_yr"].isna().all()
        assert (table["pump_overdue_yr_evidence"] == "unknown").all()

    def test_a_holding_tank_has_no_pond_and_says_why(self) -> None:
        row = assess(pd.DataFrame([{**KNOWN, "kind": "holding_tank"}])).iloc[0]
        assert row["stage"] is None
        assert np.isnan(row["ponding_m"])
        assert np.isnan(row["pump_interval_yr"])
        assert row["stage_evidence"] == "unknown"
        assert "no field" in row["field_note"]
        assert row["chance_failing_frac"] > 0

    def test_a_cesspool_gains_nothing_from_pumping(self) -> None:
        row = assess(pd.DataFrame([{**KNOWN, "kind": "cesspool"}])).iloc[0]
        assert row["years_gained_pumping_yr"] == 0
        assert np.isnan(row["pump_interval_yr"])

    def test_just_pumped(self) -> None:
        row = assess(pd.DataFrame([{**KNOWN, "years_since_pumped_yr": 0.1}])).iloc[0]
        assert row["after_pump_out"]
        assert row["pump_overdue_yr"] == 0

    def test_evidence_of_an_input_is_passed_on(self) -> None:
        systems = pd.DataFrame([{**KNOWN, "age_yr_evidence": "assumed"}])
        row = assess(systems).iloc[0]
        assert row["ponding_m_evidence"] == "assumed"
        assert row["chance_failing_frac_evidence"] == "assumed"
        assert row["load_ratio_evidence"] == "inferred"

    def test_a_value_without_a_mark_counts_as_assumed(self) -> None:
        systems = pd.DataFrame([{**KNOWN, "field_area_m2_evidence": None}])
        row = assess(systems).iloc[0]
        assert row["field_area_used_m2_evidence"] == "assumed"
        assert row["load_ratio_evidence"] == "assumed"

    def test_columns_of_any_pandas_type(self) -> None:
        systems = pd.DataFrame(
            {
                "kind": pd.Categorical(["bed", None]),
                "age_yr": pd.array([10, None], dtype="Int64"),
                "bedrooms": pd.Series([3, pd.NA], dtype=object),
                "texture": pd.array(["loam", None], dtype="string"),
            }
        )
        table = assess(systems)
        assert table["chance_failing_frac_evidence"].tolist() == ["inferred", "assumed"]
        assert table["accept_rate_l_d_m2_evidence"].tolist() == ["mapped", "unknown"]

    @pytest.mark.parametrize("kind", sorted(set(SYSTEM_KINDS) - {"holding_tank"}))
    def test_a_field_in_unknown_soil_is_never_sound(self, kind: str) -> None:
        """Neither its area on record nor the sand of a mound tells what the ground takes."""
        unknown = {**KNOWN, "kind": kind, "texture": None, "ksat_um_s": np.nan, "clay_pct": np.nan}
        row = assess(pd.DataFrame([unknown])).iloc[0]
        assert row["stage"] is None
        assert np.isnan(row["reserve_frac"])
        assert np.isnan(row["load_ratio"]) or kind == "mound", "sand takes what sand takes"
        found = assess(pd.DataFrame([{**unknown, "ponding_found_cm": 5.0}])).iloc[0]
        assert found["stage"] is not None, "what a visitor measured is known"

    def test_a_permit_s_class_tells_the_soil_that_no_survey_does(self) -> None:
        unknown = {**KNOWN, "texture": None, "ksat_um_s": np.nan, "clay_pct": np.nan}
        row = assess(pd.DataFrame([{**unknown, "loading_class": "III"}])).iloc[0]
        assert row["accept_rate_l_d_m2_evidence"] == "measured"
        assert row["stage"] is not None

    def test_a_measured_pond_is_the_pond(self) -> None:
        """Inlet of a trench at 30 cm: 15 cm leave half, 40 cm are over it."""
        found = {"ponding_found_cm": [15.0, 40.0, 0.0, np.nan]}
        table = assess(pd.DataFrame([KNOWN] * 4).assign(**found))
        assert table["ponding_m"].tolist()[:3] == [0.15, 0.4, 0.0]
        assert table["reserve_frac"].tolist()[:3] == pytest.approx([0.5, 0.0, 1.0])
        assert table["stage"].tolist()[:3] == ["sound", "failed", "sound"]
        assert table["ponding_m_evidence"].tolist() == ["measured"] * 3 + ["inferred"]
        assert table["years_to_failed_yr"].iloc[1] == 0.0
        plain = assess(pd.DataFrame([KNOWN]))
        pd.testing.assert_series_equal(table.iloc[3], plain.iloc[0], check_names=False)

    def test_years_are_unknown_where_the_model_says_another_stage(self) -> None:
        overloaded = {**KNOWN, "occupants": 30.0, "ponding_found_cm": 1.0}
        assert assess(pd.DataFrame([{**overloaded, "ponding_found_cm": np.nan}]))["stage"][0] == (
            "failed"
        )
        row = assess(pd.DataFrame([overloaded])).iloc[0]
        assert row["stage"] == "sound"
        assert np.isnan(row["years_to_failed_yr"])
        assert row["years_to_failed_yr_evidence"] == "unknown"

    def test_the_separation_that_rules_want_acts_in_wet_soil_only(self) -> None:
        wet = {**KNOWN, "wet_depth_cm": 75.0}
        deep = {**KNOWN, "wet_depth_cm": 500.0}
        less, more = (
            assess(pd.DataFrame([wet, deep]), vertical_separation_m=wanted)["ponding_m"]
            for wanted in (0.1, 0.9)
        )
        assert less[0] > more[0]
        assert less[1] == more[1]

    def test_hazard_multiplier_reads_as_hazard(self) -> None:
        systems = pd.DataFrame([KNOWN, KNOWN])
        one, two = assess(systems, hazard=[1.0, 2.0])["chance_failing_frac"]
        assert 1 - two == pytest.approx((1 - one) ** 2)


class TestProperties:
    @given(st.integers(0, 1000))
    @settings(max_examples=15, deadline=None)
    def test_every_system_comes_out_with_sound_values(self, seed: int) -> None:
        systems = _table(120, seed)
        table = assess(systems)
        pd.testing.assert_index_equal(table.index, systems.index)
        marks = [name for name in table if name.endswith("_evidence")]
        for mark in marks:
            name = mark.removesuffix("_evidence")
            assert table[mark].isin(EVIDENCE).all()
            unknown = table[name].isna()
            assert (table[mark][unknown] == "unknown").all(), name
            assert (table[mark][~unknown] != "unknown").all(), name
        field = table["stage"].notna()
        soil = systems[["ksat_um_s", "clay_pct"]].notna().any(axis=1)
        assert (field == ((systems["kind"] != "holding_tank") & soil)).all()
        assert table.loc[field, "stage"].isin(STAGES).all()
        assert table.loc[field, "reserve_frac"].between(0, 1).all()
        years = table.loc[field, ["years_to_stressed_yr", "years_to_failed_yr"]]
        assert ((years >= 0) & (years <= LOOK_AHEAD_YR)).all().all()
        assert (years.iloc[:, 0] <= years.iloc[:, 1] + 1e-6).all()

    @given(st.integers(0, 1000))
    @settings(max_examples=10, deadline=None)
    def test_stage_and_years_tell_one_story(self, seed: int) -> None:
        table = assess(_table(150, seed)).dropna(subset=["reserve_frac"])
        failed, sound = table["stage"] == "failed", table["stage"] == "sound"
        assert ((table["years_to_failed_yr"] == 0) == failed).all()
        assert (table.loc[sound, "years_to_stressed_yr"] > 0).all()
        assert (table.loc[failed, "reserve_frac"] == 0).all()

    def test_the_answer_does_not_depend_on_the_neighbors(self) -> None:
        systems = _table(300, 4)
        whole = assess(systems)
        halves = [assess(systems.iloc[:130]), assess(systems.iloc[130:])]
        pd.testing.assert_frame_equal(whole, pd.concat(halves), check_exact=True)

    def test_no_systems(self) -> None:
        assert len(assess(_table(0))) == 0

    def test_impossible_values_count_as_unknown(self) -> None:
        bad = {**KNOWN, "age_yr": -5.0, "occupants": -1.0, "field_area_m2": 0.0}
        gone = {k: v for k, v in KNOWN.items() if k not in ("age_yr", "occupants", "field_area_m2")}
        pd.testing.assert_frame_equal(assess(pd.DataFrame([bad])), assess(pd.DataFrame([gone])))

    def test_a_wrong_choice_is_refused(self) -> None:
        with pytest.raises(TypeError):
            Rules(flow_rules="x")  # type: ignore[call-arg]
        with pytest.raises(ValueError, match="flow_rule = 'x': use one of"):
            Rules(flow_rule="x")
