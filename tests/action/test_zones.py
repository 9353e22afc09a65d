from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.action.zone_reasons import ZoneSettings
from riskmap.action.zones import draw_zones, zone_ids, zone_table
from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.contract.results import ZONES

NAN = float("nan")
SETTINGS = ZoneSettings(least_area_m2=4_000.0, join_m=20.0)


def scene() -> tuple[Grid, dict[str, np.ndarray]]:
    """Capture area in the west, nitrate across the middle, vulnerable ground apart in the east."""
    grid = grid_from_bounds(west_m=0, north_m=1000, cell_m=20, values=np.zeros((50, 80)))
    flags = {kind: np.zeros((50, 80), bool) for kind in ("capture", "nitrate", "vulnerable")}
    flags["capture"][10:30, 5:20] = True
    flags["nitrate"][10:30, 10:40] = True
    flags["vulnerable"][5:15, 60:75] = True
    return grid, flags


def systems() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "x_m": [150.0, 250.0, 500.0, 600.0, 700.0, 1300.0], "y_m": [600.0] * 5 + [800.0],
            "failure_score": [40.0, 60.0, 10.0, 20.0, 30.0, 5.0], "groundwater_score": 50.0,
            "age_yr": [30.0, NAN, 10.0, 20.0, 60.0, 5.0], "nitrogen_load_kg_yr": 10.0,
            "lot_nitrate_mg_l": [4.0, 6.0, 8.0, 7.0, 6.0, 1.0], "chance_failing_frac": 0.1,
            "setback_short": [True, False, True, False, False, False],
        }
    )  # fmt: skip


def table(least_systems: int = 1) -> tuple[pd.DataFrame, np.ndarray]:
    grid, flags = scene()
    chosen = ZoneSettings(least_area_m2=4_000.0, join_m=20.0, least_systems=least_systems)
    drawn = draw_zones(grid, flags, chosen, systems=systems())
    wells = pd.DataFrame({"x_m": [200.0, 650.0, 20.0], "y_m": [600.0, 600.0, 20.0]})
    homes = pd.DataFrame({"x_m": [150.0, 250.0, 1550.0], "y_m": 600.0, "persons": [2.5, 4, 9]})
    found = zone_table(
        drawn, systems=systems(), wells=wells, homes=homes, settings=chosen, units="us"
    )
    return found, drawn.shapes


class TestByEye:
    def test_what_each_zone_holds(self) -> None:
        zones, _ = table()
        assert zones.columns.tolist() == ZONES.column_names
        assert zones["zone_id"].tolist() == ["C01", "N01", "V01"]
        assert zones["systems"].tolist() == [2, 3, 1]
        assert zones["wells"].tolist() == [1, 1, 0]
        assert zones["people"].tolist() == [6, 0, 0]
        assert zones["mean_failure_score"].tolist() == [50.0, 20.0, 5.0]
        assert zones["mean_age_yr"].tolist() == [30.0, 30.0, 5.0]
        assert zones["worst_nitrate_mg_l"].tolist() == [6.0, 8.0, 1.0]
        assert zones["nitrogen_kg_yr"].tolist() == [20.0, 30.0, 10.0]
        assert zones["failing_expected"].tolist() == pytest.approx([0.2, 0.3, 0.1])
        assert zones["setback_short"].tolist() == [1, 1, 0]

    def test_overlap_goes_to_the_capture_area_and_is_named_in_words(self) -> None:
        zones, shapes = table()
        assert zones["area_m2"].tolist() == pytest.approx(
            [300 * 400, 400 * 400, 300 * 200], rel=0.02
        )
        assert shapely.intersection(shapes[0], shapes[1]).area < 1e-6
        assert "high predicted nitrate (67% of the area)" in zones["why"][0]
        assert "Also" not in zones["why"][1]
        assert "action level of 5 mg/L as N; highest below a system 8.0" in zones["why"][1]
        assert "index of 160 or more" in zones["why"][2]

    def test_land_with_too_few_systems_is_no_zone_but_a_capture_area_is(self) -> None:
        zones, _ = table(least_systems=3)
        assert zones["kind"].tolist() == ["capture", "nitrate"]

    def test_no_reason_gives_an_empty_table(self) -> None:
        grid, flags = scene()
        nothing = {kind: np.zeros_like(part) for kind, part in flags.items()}
        drawn = draw_zones(grid, nothing, SETTINGS)
        points = pd.DataFrame({"x_m": [1.0], "y_m": [1.0], "persons": [1.0]})
        found = zone_table(
            drawn,
            systems=systems(),
            wells=points,
            homes=points,
            settings=SETTINGS,
            units="us",
        )
        assert found.empty
        assert found.columns.tolist() == ZONES.column_names


class TestProperties:
    def test_zones_stay_on_land(self) -> None:
        grid, flags = scene()
        grid.values[:, :12] = NAN
        drawn = draw_zones(grid, flags, SETTINGS)
        land = shapely.box(12 * 20, 0, 1600, 1000)
        outside = shapely.difference(shapely.union_all(drawn.shapes), land).area
        assert outside <= 0.02 * drawn.cells_m2.sum()

    def test_area_kept_and_left_out_are_those_of_the_cells(self) -> None:
        grid, flags = scene()
        flags["vulnerable"][45:48, 5:8] = True  # 3600 m2, alone
        drawn = draw_zones(grid, flags, SETTINGS)
        assert drawn.left_out_m2 == 9 * 400
        assert drawn.cells_m2.sum() == (20 * 35 + 150) * 400
        assert shapely.area(drawn.shapes).sum() == pytest.approx(drawn.cells_m2.sum(), rel=0.02)

    def test_largest_first_within_a_kind(self) -> None:
        grid, flags = scene()
        flags["vulnerable"][30:48, 50:78] = True
        drawn = draw_zones(grid, flags, SETTINGS)
        area = shapely.area(drawn.shapes)
        assert drawn.kind.tolist() == ["capture", "nitrate", "vulnerable", "vulnerable"]
        assert area[2] > area[3]

    def test_the_same_input_gives_the_same_table(self) -> None:
        first, second = table(), table()
        pd.testing.assert_frame_equal(first[0], second[0])
        assert [s.wkb for s in first[1]] == [s.wkb for s in second[1]]

    def test_ids_are_unique_and_say_the_kind(self) -> None:
        kinds = np.array(["hot_spot", "dense_old", "hot_spot"], object)
        assert zone_ids(kinds) == ["H01", "D01", "H02"]
        assert zone_ids(np.empty(0, object)) == []
