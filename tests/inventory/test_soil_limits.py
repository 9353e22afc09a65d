"""Soil ratings: each property on a case known by eye, and rules that must always hold."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.inventory import soil_properties as properties
from riskmap.inventory import soil_rule as rule
from riskmap.inventory.soil_aggregate import dominant_component, dominant_condition, extremes
from riskmap.inventory.soil_curves import rating_class, s_curve
from riskmap.inventory.soil_limits import component_properties, rate_components
from riskmap.inventory.soil_rule import LIMIT_COLUMNS, SUB_RULES


def components(**changes: object) -> pd.DataFrame:
    row = {
        "cokey": "1", "mukey": "7", "comppct": 100.0, "compkind": "series", "slope_pct": 2.0,
        "drainage_class": "well", "hydrologic_group": "B", "tax_subgroup": "Typic Hapludalfs",
        "tax_great_group": "Hapludalfs", "tax_order": "Alfisols", "subsidence_cm": np.nan,
        "local_phase": None, "gaps": None,
    } | changes  # fmt: skip
    return pd.DataFrame([row])


def horizons(*layers: tuple[float, float, float], **changes: object) -> pd.DataFrame:
    table = pd.DataFrame(layers, columns=["top_cm", "bottom_cm", "ksat_um_s"], dtype=float)
    fixed = {
        "cokey": "1", "sand_pct": np.nan, "clay_pct": np.nan, "texture": None,
        "fragments_76_250_pct": 0.0, "fragments_over_250_pct": 0.0,
    } | changes  # fmt: skip
    return table.assign(**fixed)


def restrictions(*rows: tuple[str, float], hardness: str | None = None) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["kind", "top_cm"])
    return table.assign(cokey="1", hardness=hardness, top_cm=table["top_cm"].astype(float))


def months(**changes: object) -> pd.DataFrame:
    row = {
        "cokey": "1", "month": 1.0, "flooding_frequency": "none", "ponding_frequency": "none",
        "ponding_duration": None, "wet_top_cm": np.nan,
    } | changes  # fmt: skip
    return pd.DataFrame([row])


GOOD = ((0, 60, 14), (60, 150, 14))


class TestProperties:
    def test_slow_water_looks_below_60_cm_and_above_the_restriction(self) -> None:
        layers = horizons((0, 60, 0.1), (60, 90, 9), (90, 120, 5), (120, 200, 0.2))
        described = component_properties(
            components(), layers, restrictions(("fragipan", 120)), months()
        ).loc["1"]
        assert described["ksat_min_um_s"] == 5
        # the filter sub-rule is cut by a restriction above 150 cm only
        deep = component_properties(
            components(), layers, restrictions(("lithic bedrock", 160)), months()
        ).loc["1"]
        assert deep["ksat_min_um_s"] == 5
        assert deep["ksat_filter_um_s"] == 0.2

    def test_nothing_left_above_a_shallow_restriction_is_no_limit(self) -> None:
        rated = rate_components(
            components(), horizons((0, 50, 1)), restrictions(("fragipan", 50)), months()
        ).loc["1"]
        assert np.isnan(rated["ksat_min_um_s"])
        assert rated["limit_slow_water"] == 0
        assert rated["limit_cemented_pan"] == 1

    @pytest.mark.parametrize("kind", rule.NOT_A_BARRIER)
    def test_a_change_of_texture_hides_no_layer_below_it(self, kind: str) -> None:
        # Clay of 0.21 um/s from 43 cm on: very limited, whatever the survey calls the change.
        layers = horizons((0, 43, 14), (43, 152, 0.21))
        rated = rate_components(components(), layers, restrictions((kind, 43)), months()).loc["1"]
        assert np.isnan(rated["restriction_cm"])
        assert rated["ksat_min_um_s"] == 0.21
        assert rated["rating_class"] == "very limited"
        assert rated["reasons"] == "slow water movement"

    def test_an_unknown_kind_is_still_a_barrier(self) -> None:
        table = restrictions(("natric", 70)).assign(kind=pd.array([pd.NA], dtype="string"))
        assert properties.first_barrier_cm(table).to_dict() == {"1": 70}

    def test_seepage_takes_the_lowest_layer_above_bedrock(self) -> None:
        layers = horizons((0, 40, 2), (40, 100, 20), (100, 200, 0.01))
        rock = restrictions(("paralithic bedrock", 100))
        rated = rate_components(components(), layers, rock, months()).loc["1"]
        assert rated["ksat_bottom_um_s"] == 20
        assert rated["limit_seepage"] == 1

    def test_a_fragipan_does_not_end_the_profile_for_seepage(self) -> None:
        layers = horizons((0, 40, 2), (40, 100, 20), (100, 200, 0.01))
        bottom = properties.bottom_ksat_um_s(layers, pd.Series(dtype=float))
        assert bottom.to_dict() == {"1": 0.01}

    @pytest.mark.parametrize(
        "classified",
        [
            {"tax_subgroup": "Aridic Haplustalfs"},
            {"tax_great_group": "Torripsamments"},
            {"tax_order": "Aridisols"},
        ],
    )
    def test_dry_soils_do_not_seep(self, classified: dict[str, str]) -> None:
        rated = rate_components(
            components(**classified), horizons((0, 150, 30)), restrictions(), months()
        ).loc["1"]
        assert rated["limit_seepage"] == 0

    def test_stones_are_averaged_by_thickness_to_100_cm(self) -> None:
        layers = horizons((0, 50, 9), (50, 200, 9)).assign(
            fragments_76_250_pct=[10.0, 40.0], fragments_over_250_pct=[np.nan, 10.0]
        )
        # (50 cm x 10 + 50 cm x 50) / 100 cm
        free = properties.large_stones_pct(layers, pd.Series({"1": 250.0}))
        assert free["1"] == pytest.approx(30)
        # above a barrier at 80 cm: (50 x 10 + 30 x 50) / 80
        cut = properties.large_stones_pct(layers, pd.Series({"1": 80.0}))
        assert cut["1"] == pytest.approx(25)

    def test_ponding_needs_a_duration_and_a_frequency(self) -> None:
        table = pd.DataFrame(
            {
                "cokey": ["a", "b", "c", "d"],
                "ponding_frequency": ["frequent", "none", None, "none"],
                "ponding_duration": [None, "long", "long", None],
            }
        )
        # frequency unknown but a duration given: the rule takes it as ponded
        assert properties.is_ponded(table).to_dict() == {
            "a": False, "b": False, "c": True, "d": False,
        }  # fmt: skip

    def test_the_worst_month_counts(self) -> None:
        table = pd.concat([months(flooding_frequency="rare", wet_top_cm=90.0),
                           months(flooding_frequency="frequent"),
                           months(flooding_frequency=None, wet_top_cm=40.0)])  # fmt: skip
        rated = rate_components(components(), horizons(*GOOD), restrictions(), table).loc["1"]
        assert rated["flooding_frequency"] == "frequent"
        assert rated["wet_top_cm"] == 40
        assert rated["reasons"] == "flooding; high water table"

    def test_permafrost(self) -> None:
        by_depth = rate_components(
            components(), horizons(*GOOD), restrictions(("permafrost", 75)), months()
        ).loc["1"]
        assert by_depth["limit_permafrost"] == pytest.approx(0.5)  # midway between 50 and 100 cm
        frozen = rate_components(
            components(), horizons(*GOOD, frozen=True), restrictions(), months()
        ).loc["1"]
        assert frozen["limit_permafrost"] == 1

    def test_the_rest_of_the_flags(self) -> None:
        fill = components(local_phase="reclaimed, Unstable Fill")
        subsiding = components(subsidence_cm=61.0)
        under_water = components(drainage_class="subaqueous")
        for own, column, value in [
            (fill, "limit_unstable_fill", 1.0),
            (subsiding, "limit_subsidence", 1.0),
            (under_water, "rating", np.nan),
        ]:
            rated = rate_components(own, horizons(*GOOD), restrictions(), months()).loc["1"]
            assert rated[column] == value or np.isnan(value)
            assert np.isnan(rated["rating"]) == np.isnan(value)

    def test_without_layers_there_is_no_rating(self) -> None:
        rated = rate_components(components(), horizons(), restrictions(), months()).loc["1"]
        assert rated["rating_class"] == "not rated"

    def test_urban_land_without_entries_is_not_rated_but_beaches_are(self) -> None:
        blank = horizons(*GOOD, fragments_76_250_pct=np.nan, fragments_over_250_pct=np.nan)
        area = components(compkind="miscellaneous area")
        assert np.isnan(rate_components(area, blank, restrictions(), months())["rating"]["1"])
        entered = rate_components(area, horizons(*GOOD), restrictions(), months())
        assert entered["rating"]["1"] == 0
        soil = rate_components(components(), blank, restrictions(), months())
        assert soil["rating"]["1"] == 0  # for a soil, blank means no stones

    def test_what_the_survey_lacks_is_not_no_limit(self) -> None:
        own = pd.concat([components(), components(cokey="2", gaps="corestrictions")])
        own["hydrologic_group"] = None
        layers = pd.concat([horizons(*GOOD), horizons(*GOOD, cokey="2")])
        wet = pd.concat([months(), months(cokey="2")])
        rated = rate_components(own, layers, restrictions(), wet)
        assert rated["rating"].notna().tolist() == [True, False]
        assert rated["rating_class"].tolist()[1] == "not rated"
        assert rated["hydrologic_group_evidence"].tolist() == ["inferred", "unknown"]

    def test_layer_at_the_treatment_depth(self) -> None:
        layers = horizons((0, 60, 1), (60, 120, 2), (120, 150, 3)).assign(texture=["L", "CL", "C"])
        table = component_properties(
            components(), layers, restrictions(), months(), treatment_depth_cm=60
        ).loc["1"]
        assert (table["ksat_treatment_um_s"], table["texture_treatment"]) == (2, "CL")

    def test_hydrologic_group_is_given_or_inferred_and_marked(self) -> None:
        given_group = component_properties(components(), horizons(*GOOD), restrictions(), months())
        assert given_group.loc["1", "hydrologic_group_evidence"] == "mapped"
        own = components(hydrologic_group=None)
        inferred = component_properties(own, horizons((0, 150, 5)), restrictions(), months())
        assert inferred.loc["1", "hydrologic_group"] == "B"
        assert inferred.loc["1", "hydrologic_group_evidence"] == "inferred"
        unknown = component_properties(own, horizons(), restrictions(), months())
        assert unknown.loc["1", "hydrologic_group_evidence"] == "unknown"

    def test_every_component_comes_back_in_its_place(self) -> None:
        own = pd.concat([components(cokey=key) for key in ("9", "1", "5")])
        rated = rate_components(own, horizons(*GOOD), restrictions(), months())
        assert rated.index.tolist() == ["9", "1", "5"]
        with pytest.raises(ValueError, match="in soil_components once only"):
            rate_components(
                pd.concat([components(), components()]), horizons(), restrictions(), months()
            )


class TestAggregation:
    @pytest.fixture
    def tied(self) -> pd.DataFrame:
        table = pd.DataFrame(
            {"mukey": "7", "comppct": [50.0, 50.0], "rating": [0.5, 1.0]},
            index=pd.Index(["100", "99"], name="cokey"),
        )
        return table.assign(rating_class=rating_class(table["rating"]))

    def test_ties(self, tied: pd.DataFrame) -> None:
        assert dominant_component(tied).loc["7", "cokey"] == "99"
        assert dominant_condition(tied).loc["7", "class"] == "very limited"

    def test_not_rated_may_dominate(self) -> None:
        table = pd.DataFrame(
            {"mukey": "7", "comppct": [40.0, 30.0, 30.0], "rating": [1.0, np.nan, np.nan]},
            index=pd.Index(["1", "2", "3"], name="cokey"),
        )
        table = table.assign(rating_class=rating_class(table["rating"]))
        assert dominant_condition(table).loc["7", "class"] == "not rated"
        assert extremes(table).loc["7"].tolist() == ["not rated", "very limited"]


LIMITED = st.floats(0, 300, allow_nan=False)


class TestAlways:
    @settings(max_examples=60, deadline=None)
    @given(st.lists(st.floats(-50, 400), min_size=1, max_size=8), st.floats(0.5, 100))
    def test_curve_is_monotone_bounded_and_mirrored(self, xs: list[float], width: float) -> None:
        values = np.sort(xs)
        rising = s_curve(values, low=20, high=20 + width)
        assert (np.diff(rising) >= 0).all()
        assert ((rising >= 0) & (rising <= 1)).all()
        np.testing.assert_allclose(
            rising + s_curve(values, low=20, high=20 + width, falling=True), 1, atol=1e-12
        )

    def test_curve_midpoint_and_bad_bounds(self) -> None:
        assert s_curve(15, low=10, high=20) == 0.5
        with pytest.raises(ValueError, match="low must be below high"):
            s_curve(1, low=2, high=2)

    @settings(max_examples=40, deadline=None)
    @given(LIMITED, LIMITED, st.floats(0, 60), st.floats(0, 60), st.floats(0, 90))
    def test_worse_never_lowers_the_rating(
        self, water: float, rock: float, slope: float, stones: float, worse: float
    ) -> None:
        def rate(change: float) -> pd.Series:
            layers = horizons(*GOOD, fragments_76_250_pct=min(stones + change, 100))
            # rock below all layers, so that it cuts none of them
            return rate_components(
                components(slope_pct=slope + change),
                layers,
                restrictions(("lithic bedrock", max(160 + rock - change, 155))),
                months(wet_top_cm=max(water - change, 0)),
            ).loc["1"]

        before, after = rate(0), rate(worse)
        assert after["rating"] >= before["rating"] - 1e-12
        assert before["rating"] == before[list(LIMIT_COLUMNS)].max()

    def test_the_rule_has_fourteen_sub_rules_with_their_own_names(self) -> None:
        assert len(SUB_RULES) == 14
        for attribute in ("column", "reason", "source_id", "source_name", "feature"):
            assert len({getattr(sub, attribute) for sub in SUB_RULES}) == 14
