from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.groundwater import superpose
from riskmap.groundwater.assess import GroundwaterAssessment, assess_groundwater
from riskmap.groundwater.score import groundwater_score, nearness, receptor_part
from riskmap.groundwater.screens import draw_l_d, screen_windows
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings

NAN = float("nan")


def slope() -> Grid:
    grid = grid_from_bounds(west_m=0, north_m=3000, cell_m=30, values=np.zeros((100, 100)))
    return grid.with_values(60 - 0.005 * grid.centers()[0])


def village(n: int = 60, m: int = 25, seed: int = 0) -> tuple[pd.DataFrame, pd.DataFrame]:
    rng = np.random.default_rng(seed)
    systems = pd.DataFrame(
        {
            "x_m": rng.uniform(300, 1500, n), "y_m": rng.uniform(1000, 2000, n),
            "persons": rng.integers(1, 6, n).astype(float), "kind": "trench",
            "chance_failing_frac": rng.uniform(0, 0.4, n),
            "vulnerability_frac": rng.uniform(0.2, 0.8, n),
        },
        index=[f"S{i:03d}" for i in range(n)],
    )  # fmt: skip
    wells = pd.DataFrame(
        {
            "x_m": rng.uniform(600, 2500, m), "y_m": rng.uniform(1000, 2000, m),
            "depth_m": np.where(rng.random(m) < 0.7, rng.uniform(10, 40, m), NAN),
            "casing_m": rng.uniform(5, 9, m), "static_level_m": 4.0,
        },
        index=[f"W{i:02d}" for i in range(m)],
    )  # fmt: skip
    return systems, wells


PAIRS = pd.DataFrame(
    {
        "system": [0, 0, 1, 2, 2], "well": [1, 0, 1, 1, 2],
        "distance_m": [64.0, 90.0, 30.0, 10.0, 80.0],
        "travel_time_d": [400.0, 900.0, 300.0, 50.0, 4000.0],
        "nitrate_added_mg_l": [2.0, 1.0, 3.0, 5.0, 0.05],
    }
)  # fmt: skip


class TestSuperposition:
    def test_wells_by_eye(self) -> None:
        table = superpose.sum_at_wells(PAIRS, 4)
        assert table["nitrate_added_mg_l"].tolist() == [1.0, 10.0, 0.05, 0.0]
        assert table["systems_reaching"].tolist() == [1, 3, 1, 0]
        assert table["shortest_travel_time_d"].tolist()[:3] == [900, 50, 4000]
        assert table["leading_system"].tolist() == [0, 2, 2, -1]
        assert table["leading_share_frac"].tolist()[:2] == [1.0, 0.5]

    def test_systems_by_eye(self) -> None:
        table = superpose.sum_by_system(PAIRS, 4, soon_d=1000.0, least_mg_l=0.1)
        assert table["wells_reached"].tolist() == [2, 1, 1, 0]
        assert table["wells_soon"].tolist() == [2, 1, 1, 0]
        assert table["nearest_well_m"].tolist()[:3] == [64, 30, 10]
        assert table["nearest_well"].tolist() == [1, 1, 1, -1]
        assert table["first_well_d"].tolist()[:3] == [400, 300, 50]
        assert table["largest_added_mg_l"].tolist() == [2, 3, 5, 0]

    def test_waters(self) -> None:
        table = superpose.sum_at_waters([0, 5, 9, 9], [1.0, 2.0, 3.0, 4.0], [1.0, 7.0, 6.0, 5.0])
        assert table["water_id"].tolist() == [9, 5]
        assert table["load_kg_yr"].tolist() == [7.0, 2.0]
        assert table["shortest_travel_time_d"].tolist() == [5.0, 7.0]


def assess(
    systems: pd.DataFrame, wells: pd.DataFrame, head: Grid,
    water: GroundwaterSettings | None = None, **more: Any,
) -> GroundwaterAssessment:  # fmt: skip
    water, build = water or GroundwaterSettings(), WellSettings()
    return assess_groundwater(systems, wells, head, water, build, **more)


class TestScore:
    def test_parts_by_hand(self) -> None:
        table = groundwater_score(
            load_kg_yr=[10.0], chance_failing_frac=[0.5], vulnerability_frac=[0.6],
            receptor_frac=[1.0],
        )  # fmt: skip
        assert table["groundwater_score_frac"][0] == pytest.approx((0.5 * 0.7 * 0.6 * 1.0) ** 0.25)

    def test_receptors_by_hand(self) -> None:
        # A well half a life away counts .5; surface water at once counts .5: 1 - .5 x .5.
        pairs = pd.DataFrame(
            {"system": [0], "travel_time_d": [5 * 365.25], "nitrate_added_mg_l": [1.0]}
        )
        found = receptor_part(pairs, [0.0, NAN], n_systems=2)
        np.testing.assert_allclose(found, [0.75, 0.0])
        assert float(nearness(NAN)) == 0

    def test_unknown_source_or_receptor_is_unknown_but_a_missing_chance_is_named(self) -> None:
        table = groundwater_score(
            load_kg_yr=[NAN, 10.0, 10.0], chance_failing_frac=[0.1, NAN, 0.1],
            vulnerability_frac=[0.5, NAN, 0.5], receptor_frac=[0.5, 0.5, NAN],
        )  # fmt: skip
        score = table["groundwater_score_frac"]
        assert np.isnan(score[[0, 2]]).all()
        assert 0 < score[1] < 1
        assert table["unknown_parts"].tolist() == ["source", "failing, path", "receptor"]

    @given(st.lists(st.floats(0, 1), min_size=4, max_size=4), st.integers(0, 3), st.floats(0, 1))
    @settings(max_examples=60, deadline=None)
    def test_worse_never_lowers_it(self, parts: list[float], which: int, more: float) -> None:
        worse = list(parts)
        worse[which] = min(1.0, worse[which] + more)

        def score(values: list[float]) -> float:
            return float(
                groundwater_score(
                    load_kg_yr=[values[0] * 30], chance_failing_frac=[values[1]],
                    vulnerability_frac=[values[2]], receptor_frac=[values[3]],
                )["groundwater_score_frac"][0]
            )  # fmt: skip

        assert 0 <= score(parts) <= score(worse) + 1e-12 <= 1 + 1e-9


class TestAssessment:
    def test_one_system_one_well_by_hand(self) -> None:
        # v = 10 x .005 / .2 = .25 m/d: 240 m take 960 days; the well beside the path is reached.
        systems = pd.DataFrame({"x_m": [300.0], "y_m": [1500.0], "persons": [3.0], "kind": "bed"})
        wells = pd.DataFrame({"x_m": [540.0, 300.0], "y_m": [1505.0, 2500.0]})
        found = assess(systems, wells, slope())
        assert found.pairs[["system", "well"]].to_numpy().tolist() == [[0, 0]]
        assert found.pairs["distance_m"][0] == pytest.approx(240.0)
        assert found.pairs["travel_time_d"][0] == pytest.approx(960.0)
        assert found.systems["wells_soon"][0] == 1
        assert found.systems["nearest_well_m"][0] == pytest.approx(240.0)
        assert found.wells["nitrate_added_mg_l"].tolist()[1] == 0
        assert found.wells["screen_evidence"].tolist() == ["assumed", "assumed"]
        assert found.systems["unknown_parts"][0] == "failing, path"

    def test_indexes_sums_and_rows_are_kept(self) -> None:
        systems, wells = village()
        found = assess(systems, wells, slope())
        assert found.systems.index.equals(systems.index)
        assert found.wells.index.equals(wells.index)
        totals = found.pairs.groupby("well")["nitrate_added_mg_l"].sum()
        np.testing.assert_allclose(
            found.wells["nitrate_added_mg_l"].to_numpy()[totals.index], totals
        )
        assert len(found.pairs) > 20
        assert sorted(found.wells["sampling_order"]) == list(range(1, 26))

    def test_chunks_change_nothing(self, monkeypatch: pytest.MonkeyPatch) -> None:
        systems, wells = village()
        whole = assess(systems, wells, slope())
        monkeypatch.setattr("riskmap.groundwater.assess.CHUNK", 7)
        parts = assess(systems, wells, slope())
        pd.testing.assert_frame_equal(whole.systems, parts.systems)
        pd.testing.assert_frame_equal(whole.wells, parts.wells)
        pd.testing.assert_frame_equal(whole.pairs, parts.pairs)

    def test_each_system_alone_adds_what_it_adds_among_others(self) -> None:
        systems, wells = village(8, 15)
        together = assess(systems, wells, slope()).wells["nitrate_added_mg_l"]
        alone = sum(
            assess(systems.iloc[[i]], wells, slope()).wells["nitrate_added_mg_l"] for i in range(8)
        )
        np.testing.assert_allclose(together, alone, rtol=1e-9)

    def test_a_large_well_gathers_what_flows_to_its_width_of_draw(self) -> None:
        # 500 m3/d over 20 m at .05 m/d draws on 500 m: nearly the whole load, diluted.
        narrow = GroundwaterSettings(direction_sd_deg=5.0, thickness_m=20.0)
        systems = pd.DataFrame({"x_m": [300.0], "y_m": [1500.0], "persons": [3.0], "kind": "bed"})
        wells = pd.DataFrame(
            {"x_m": [900.0], "y_m": [1650.0], "flow_l_d": [500_000.0], "depth_m": [24.0],
             "casing_m": [4.0], "static_level_m": [4.0]}
        )  # fmt: skip
        found = assess(systems, wells, slope(), narrow)
        load_g_d = found.systems["nitrogen_load_kg_yr"].iloc[0] * 1000 / 365.25
        assert found.wells["nitrate_added_mg_l"][0] == pytest.approx(load_g_d / 500.0, rel=0.06)

    def test_young_system_has_not_arrived(self) -> None:
        systems = pd.DataFrame(
            {"x_m": [300.0] * 3, "y_m": [1500.0] * 3, "persons": [3.0] * 3, "kind": ["bed"] * 3,
             "age_yr": [0.5, 30.0, NAN]}
        )  # fmt: skip
        wells = pd.DataFrame({"x_m": [700.0], "y_m": [1500.0]})
        found = assess(systems, wells, slope())
        assert found.pairs["system"].tolist() == [1, 2]
        assert found.pairs["nitrate_added_mg_l"].nunique() <= 2

    def test_surface_water_ends_paths_and_takes_the_load(self) -> None:
        systems, wells = village()
        water = np.zeros((100, 100), int)
        water[:, 55] = 3
        found = assess(systems, wells, slope(), water_id=water)
        reached = found.systems["water_id"] == 3
        assert reached.all()
        loads = found.systems["nitrogen_load_kg_yr"]
        assert found.waters["load_kg_yr"].tolist() == pytest.approx([loads.sum()])
        beyond = np.flatnonzero(wells["x_m"] > 1720)
        assert not found.pairs["well"].isin(beyond).any()

    def test_rows_without_place_and_flat_land_come_back_unknown(self) -> None:
        systems, wells = village(5, 4)
        systems.iloc[0, :2] = NAN
        wells.iloc[0, :2] = NAN
        found = assess(systems, wells, slope())
        assert np.isnan(found.systems["groundwater_score_frac"].iloc[0])
        assert np.isnan(found.wells["well_risk_frac"].iloc[0])
        assert found.wells["sampling_order"].iloc[0] == 4
        flat = assess(systems, wells, slope().with_values(5.0))
        assert flat.systems["groundwater_score_frac"].isna().all()
        assert len(flat.pairs) == 0

    def test_nobody_there(self) -> None:
        systems, wells = village(3, 3)
        none = assess(systems.iloc[:0], wells, slope())
        assert len(none.systems) == 0
        assert (none.wells["nitrate_added_mg_l"] == 0).all()
        dry = assess(systems, wells.iloc[:0], slope())
        assert len(dry.wells) == 0
        assert (dry.systems["wells_reached"] == 0).all()

    def test_settings_stay_within_their_bounds(self) -> None:
        with pytest.raises(ValueError, match=r"porosity_frac = 0\.9: must lie between"):
            GroundwaterSettings(porosity_frac=0.9)

    def test_an_unknown_number_of_persons_is_an_unknown_load(self) -> None:
        systems, wells = village(5, 4)
        systems.iloc[0, systems.columns.get_loc("persons")] = NAN
        found = assess(systems, wells, slope())
        assert np.isnan(found.systems["nitrogen_load_kg_yr"].iloc[0])
        assert found.systems["load_evidence"].iloc[0] == "unknown"
        assert np.isnan(found.systems["groundwater_score_frac"].iloc[0])
        assert not (found.pairs["system"] == 0).any()

    def test_wells_draw_their_yield_or_what_the_county_says(self) -> None:
        wells = pd.DataFrame(
            {"use": ["public", "public", "domestic", None, "public"],
             "yield_l_d": [80_000.0, NAN, 30_000.0, NAN, 80_000.0],
             "flow_l_d": [NAN, NAN, NAN, NAN, 20_000.0]}
        )  # fmt: skip
        drawn, marks = draw_l_d(wells, WellSettings(home_l_d=900.0, public_l_d=60_000.0))
        assert drawn.tolist() == [80_000, 60_000, 900, 900, 20_000]
        assert marks.tolist() == ["measured", "assumed", "assumed", "assumed", "measured"]

    def test_a_public_well_draws_wider_than_a_home(self) -> None:
        systems = pd.DataFrame({"x_m": [300.0], "y_m": [1500.0], "persons": [3.0], "kind": "bed"})
        place = {"x_m": [900.0], "y_m": [1650.0], "depth_m": [24.0], "casing_m": [4.0]}
        narrow = GroundwaterSettings(
            direction_sd_deg=5.0, thickness_m=20.0, dispersivity_across_m=1.0,
            dispersivity_down_m=0.1,
        )  # fmt: skip
        home, public = (
            assess(systems, pd.DataFrame(place | {"use": [use]}), slope(), narrow)
            for use in ("domestic", "public")
        )
        assert home.wells["flow_l_d"].tolist() == [WellSettings.home_l_d]
        assert public.wells["flow_l_d"].tolist() == [WellSettings.public_l_d]
        assert home.wells["nitrate_added_mg_l"][0] < public.wells["nitrate_added_mg_l"][0]

    def test_screens(self) -> None:
        wells = pd.DataFrame(
            {"casing_m": [12.0, 3.0, NAN, 30.0], "depth_m": [20.0, 20.0, 20.0, 20.0],
             "static_level_m": [5.0, 5.0, 5.0, NAN]}
        )  # fmt: skip
        top, bottom, known = screen_windows(wells, unknown_screen_m=10.0)
        assert top.tolist() == [7, 0, 0, 0]
        assert bottom.tolist() == [15, 15, 10, 10]
        assert known.tolist() == [True, True, False, False]

    def test_a_screen_on_record_comes_before_casing_and_depth(self) -> None:
        wells = pd.DataFrame(
            {"screen_top_m": [15.0, NAN], "screen_bottom_m": [18.0, 19.0], "casing_m": [12.0, 12.0],
             "depth_m": [20.0, 20.0], "static_level_m": [5.0, 5.0]}
        )  # fmt: skip
        top, bottom, known = screen_windows(wells, unknown_screen_m=10.0)
        assert (top.tolist(), bottom.tolist(), known.all()) == ([10, 7], [13, 14], True)
