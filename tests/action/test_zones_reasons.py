from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.action.zone_reasons import (
    ZONE_KINDS,
    ZoneSettings,
    density_and_age,
    hot_cells,
    hot_hexagons,
    near_cells,
    nitrate_field,
    reasons_of_cells,
    systems_per_cell,
    vulnerable_cells,
)
from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.groundwater.nitrogen import neighborhood_nitrate_mg_l
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.ranking.hotspots import benjamini_hochberg
from riskmap.spatial.hexagons import hexagon_of, middles_of, touching

NAN = float("nan")


def grid(rows: int = 100, columns: int = 120, cell_m: float = 20.0) -> Grid:
    return grid_from_bounds(
        west_m=0.0, north_m=rows * cell_m, cell_m=cell_m, values=np.zeros((rows, columns))
    )


def town(count: int = 200, seed: int = 1) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    return pd.DataFrame(
        {
            "x_m": rng.normal(700, 150, count), "y_m": rng.normal(1000, 150, count),
            "age_yr": rng.uniform(20, 60, count), "nitrogen_load_kg_yr": 10.0,
            "daily_flow_l_d": 600.0, "groundwater_score": rng.uniform(20, 60, count),
        }
    )  # fmt: skip


class TestAgainstEnumeration:
    def test_near_cells_by_every_distance(self) -> None:
        cells, x, y = grid(30, 30), [110.0, 410.0], [210.0, 90.0]
        found = near_cells(cells, x, y, within_m=85.0)
        east, north = cells.centers()
        holds = systems_per_cell(cells, x, y) > 0
        held = np.argwhere(holds)
        distance = np.min(
            [np.hypot(east - east[cell], north - north[cell]) for cell in map(tuple, held)], axis=0
        )  # fmt: skip
        assert (found == (distance <= 85.0)).all()
        assert holds.sum() == 2

    def test_nitrate_between_the_coarse_cells_is_the_balance(self) -> None:
        cells, systems = grid(), town()
        found = nitrate_field(cells, systems, GroundwaterSettings())
        rows, columns = np.array([20, 50, 50, 80]), np.array([30, 35, 60, 90])
        east, north = (part[rows, columns] for part in cells.centers())
        exact = neighborhood_nitrate_mg_l(
            systems["x_m"], systems["y_m"], load_kg_yr=systems["nitrogen_load_kg_yr"],
            flow_l_d=systems["daily_flow_l_d"], target_x_m=east, target_y_m=north,
            settings=GroundwaterSettings(),
        )  # fmt: skip
        assert found[rows, columns] == pytest.approx(exact, rel=0.06, abs=0.3)
        assert np.isfinite(found).all()

    def test_density_and_age_by_counting(self) -> None:
        cells, systems = grid(), town()
        systems.loc[0:20, "age_yr"] = NAN
        density, age = density_and_age(cells, systems, radius_m=300.0)
        row, column = 50, 35
        east, north = (part[row, column] for part in cells.centers())
        inside = np.hypot(systems["x_m"] - east, systems["y_m"] - north) <= 300.0
        per_km2 = inside.sum() / (np.pi * 0.3**2)
        assert density[row, column] == pytest.approx(per_km2, rel=0.05)
        assert age[row, column] == pytest.approx(systems["age_yr"][inside].mean(), rel=0.02)

    def test_gi_star_of_hexagons_by_its_formula(self) -> None:
        systems, chosen = town(400), ZoneSettings(hexagon_m=120.0)
        table = hot_hexagons(systems["x_m"], systems["y_m"], systems["groundwater_score"], chosen)
        known = table["mean_score"].notna().to_numpy()
        middle = middles_of(table[["q", "r"]], across_m=120.0)
        score = table["mean_score"].to_numpy()
        mean, sd, n = score[known].mean(), score[known].std(), known.sum()
        for place in np.flatnonzero(known):
            gap = np.hypot(*(middle - middle[place]).T)
            near = known & (gap < 1.01 * 120.0)
            k = near.sum()
            z = (score[near].sum() - mean * k) / (sd * np.sqrt((n * k - k**2) / (n - 1)))
            assert table["gi_star_z"][place] == pytest.approx(z)
        adjusted = benjamini_hochberg(table["p_value"])
        hot = (adjusted <= 0.05) & (table["gi_star_z"] > 0)
        assert ((table["spot"] == "hot") == hot).all()

    def test_few_systems_make_no_mean(self) -> None:
        table = hot_hexagons([0, 1, 5000], [0, 1, 0], [10, 20, 90], ZoneSettings())
        assert table["systems"].tolist() == [2, 1]
        assert table["mean_score"].isna().all()


class TestHexagons:
    @settings(max_examples=60, deadline=None)
    @given(
        st.lists(st.tuples(st.floats(-9e5, 9e5), st.floats(-9e5, 9e5)), min_size=1, max_size=40),
        st.floats(10, 5000),
    )
    def test_a_place_is_nearest_to_its_own_middle(
        self, places: list[tuple[float, float]], across: float
    ) -> None:
        xy = np.array(places)
        own = hexagon_of(xy[:, 0], xy[:, 1], across_m=across)
        here = middles_of(own, across_m=across)
        distance = np.hypot(*(xy - here).T)
        assert (distance <= across / np.sqrt(3.0) * (1 + 1e-6)).all()
        for step in ((1, 0), (0, 1), (-1, 1), (-1, 0), (0, -1), (1, -1)):
            there = middles_of(own + np.array(step), across_m=across)
            assert (distance <= np.hypot(*(xy - there).T) + 1e-6 * across).all()

    def test_touching_by_distance(self) -> None:
        rng = np.random.default_rng(4)
        cells = np.unique(rng.integers(-5, 6, (70, 2)), axis=0)
        middle = middles_of(cells, across_m=1.0)
        gap = np.hypot(*(middle[:, None] - middle[None]).transpose(2, 0, 1))
        expected = {tuple(pair) for pair in np.argwhere(np.triu(np.abs(gap - 1) < 1e-9))}
        first, second = touching(cells)
        assert {tuple(sorted(pair)) for pair in zip(first, second, strict=True)} == expected
        assert len(first) == len(expected)

    def test_nothing_touches_nothing(self) -> None:
        first, second = touching(np.empty((0, 2), np.int64))
        assert len(first) == len(second) == 0


class TestReasons:
    def found(self, **changes: float) -> dict[str, np.ndarray]:
        cells = grid()
        cells.values[:, :10] = NAN
        return reasons_of_cells(
            cells, town(), wellhead=cells.centers()[1] > 1900.0,
            capture=cells.centers()[0] < 300.0,
            vulnerability_frac=np.where(cells.centers()[1] < 1000.0, 0.9, 0.1),
            water=GroundwaterSettings(), settings=ZoneSettings(**changes),
        )  # fmt: skip

    def test_every_kind_in_order_and_only_on_land(self) -> None:
        found = self.found()
        assert tuple(found) == ZONE_KINDS
        assert not any(flags[:, :10].any() for flags in found.values())
        assert found["capture"][:, 10:14].all()
        assert found["wellhead"].any()

    def test_a_higher_action_level_names_less_land(self) -> None:
        low, high = self.found(action_mg_l=5.0), self.found(action_mg_l=8.0)
        assert high["nitrate"].sum() < low["nitrate"].sum()
        assert not (high["nitrate"] & ~low["nitrate"]).any()

    def test_young_systems_are_dense_but_not_old(self) -> None:
        assert self.found(old_yr=30.0)["dense_old"].any()
        assert not self.found(old_yr=61.0)["dense_old"].any()

    def test_vulnerable_ground_counts_only_near_systems(self) -> None:
        found = self.found()["vulnerable"]
        assert found[55, 35]
        assert not found[55, 118]
        assert not found[40, 35]

    def test_a_settlement_of_high_scores_is_hot(self) -> None:
        rng = np.random.default_rng(2)
        x, y = rng.uniform(0, 6000, 3000), rng.uniform(0, 6000, 3000)
        score = rng.normal(40, 5, 3000) + 12 * (np.hypot(x - 1500, y - 1500) < 900)
        cells = grid(300, 300)
        hexagons = hot_hexagons(x, y, score, ZoneSettings())
        hot = hot_cells(cells, hexagons, across_m=500.0)
        east, north = cells.centers()
        away = np.hypot(east - 1500, north - 1500)
        assert hot[away < 500].all()
        assert not hot[away > 2000].any()

    def test_index_bound_counts_as_in(self) -> None:
        # (160 - 23) / (226 - 23): bounds of the published index, 23-226
        share = 137 / 203
        assert vulnerable_cells([share, share - 0.001, NAN], least_index=160).tolist() == [
            True, False, False,
        ]  # fmt: skip

    def test_a_setting_that_makes_no_sense_is_refused(self) -> None:
        with pytest.raises(ValueError, match="least_area_m2"):
            ZoneSettings(least_area_m2=0.0)

    def test_published_marks(self) -> None:
        # 40 CFR 141.62: 10 mg/L as N; US EPA 1977: 40 systems per square mile = 15.44 per km2
        chosen = ZoneSettings()
        assert chosen.action_mg_l == 5.0
        assert chosen.dense_per_km2 == pytest.approx(15.44, abs=0.005)
