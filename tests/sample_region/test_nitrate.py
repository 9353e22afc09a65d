"""Nitrate goes where the county's own water table falls, sinks on its way, and keeps its mass."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.spatial import cKDTree
from scipy.stats import spearmanr

from sample_region import nitrate
from sample_region.nitrate import POROSITY, RECHARGE_M_YR, Plumes, follow_plumes, meetings
from sample_region.plan import Plan, make_plan
from sample_region.settlement import make_settlement
from sample_region.soil_map import make_soil_map
from sample_region.terrain import COARSE_M, Terrain, make_terrain
from sample_region.truth import Truth, make_truth
from sample_region.water_table import WaterTable, make_water_table, water_depth_m
from sample_region.well_records import true_wells
from sample_region.worlds import USUAL

Floats = np.ndarray


@cache
def _county() -> tuple[Plan, Terrain, Truth, pd.DataFrame]:
    plan = make_plan(3000, seed=11)
    terrain = make_terrain(plan)
    parcels = make_settlement(plan, terrain).table
    return (
        plan,
        terrain,
        make_truth(plan, terrain, make_soil_map(plan, terrain), parcels, USUAL),
        parcels,
    )


@cache
def _wells() -> tuple[pd.DataFrame, Floats]:
    return true_wells(*_county())


def _homes() -> pd.DataFrame:
    _, _, truth, parcels = _county()
    return parcels.iloc[truth.row]


def _plane(fall: float, direction: float) -> WaterTable:
    """Water table that falls evenly toward `direction` (radians), under dry sandless land."""
    side = 80
    none = np.zeros((side, side))
    x = COARSE_M * (np.arange(side) + 0.5)
    east, north = np.meshgrid(x, x[::-1])
    height = 500 - fall * (east * np.cos(direction) + north * np.sin(direction))
    terrain = Terrain(
        x_min_m=0.0, y_max_m=side * COARSE_M, cell_m=COARSE_M,
        elevation_m=none.astype(np.float32), above_stream_m=none.astype(np.float32),
        upstream_km2=none.astype(np.float32), slope_pct=none.astype(np.float32),
        lake=none.astype(bool), lake_levels_m=(), sandy=none, rocky=none, streams=(),
    )  # fmt: skip
    rise = -fall * np.cos(direction), -fall * np.sin(direction)
    return WaterTable(terrain, height, *(np.full((side, side), one) for one in rise))


def _plume(fall: float = 0.02, direction: float = 0.0) -> Plumes:
    middle = np.array([1600.0])
    return follow_plumes(_plane(fall, direction), middle, middle)


def _concentration(
    plumes: Plumes, ahead: Floats, aside: Floats, top: Floats, bottom: Floats
) -> Floats:
    """What wells see at places relative to a plume that goes east, in the order of the wells."""
    intake = pd.DataFrame({"leaked": np.zeros(len(ahead)), "top": top, "bottom": bottom})
    well, _, mg_l = meetings(
        plumes, 1600 + ahead, 1600 + aside, intake,
        kg_yr=np.array([10.0]), age_yr=np.array([100.0]),
    )  # fmt: skip
    return np.bincount(well, mg_l, minlength=len(ahead))


class TestDirection:
    """Oracle: a plane fitted by least squares to the water table around each home."""

    def _fitted_way(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        terrain = _county()[1]
        step = np.arange(-90.0, 91.0, 10.0)
        dx, dy = (axis.ravel() for axis in np.meshgrid(step, step))
        near = np.hypot(dx, dy) <= 90
        dx, dy = dx[near], dy[near]
        px, py = x[:, None] + dx, y[:, None] + dy
        height = terrain.sample(terrain.elevation_m, px, py) - water_depth_m(terrain, px, py)
        slope = np.linalg.lstsq(np.column_stack([dx, dy, np.ones(len(dx))]), height.T)[0]
        return -slope[0], -slope[1]

    def _turn(self, along: tuple[Floats, Floats], way: tuple[Floats, Floats]) -> Floats:
        cross = along[0] * way[1] - along[1] * way[0]
        return np.degrees(np.arctan2(cross, along[0] * way[0] + along[1] * way[1]))

    def test_plumes_leave_down_the_water_table(self) -> None:
        x, y = _homes().field_x.to_numpy(), _homes().field_y.to_numpy()
        plumes = follow_plumes(make_water_table(_county()[1]), x, y)
        turn = self._turn((plumes.way_x[:, 0], plumes.way_y[:, 0]), self._fitted_way(x, y))
        assert np.median(np.abs(turn)) < 6
        assert abs(np.median(turn)) < 1

    def test_the_wells_that_get_most_lie_down_the_water_table(self) -> None:
        wells, homes = _wells()[0], _homes()
        x, y = homes.field_x.to_numpy(), homes.field_y.to_numpy()
        shallow = pd.DataFrame({"leaked": 0.0, "top": 0.0, "bottom": np.full(len(wells), 5.0)})
        well, home, mg_l = meetings(
            follow_plumes(make_water_table(_county()[1]), x, y),
            wells.x.to_numpy(), wells.y.to_numpy(), shallow,
            kg_yr=np.ones(len(x)), age_yr=np.full(len(x), 100.0),
        )  # fmt: skip
        step = wells.x.to_numpy()[well] - x[home], wells.y.to_numpy()[well] - y[home]
        near = (np.hypot(*step) > 40) & (np.hypot(*step) < 120)
        way = tuple(one[home][near] for one in self._fitted_way(x, y))
        turn = self._turn((step[0][near], step[1][near]), way)
        order = np.argsort(np.abs(turn))
        met = np.cumsum(mg_l[near][order]) / mg_l[near].sum()
        assert np.abs(turn)[order][np.searchsorted(met, 0.5)] < 15
        assert abs(np.average(turn, weights=mg_l[near])) < 3

    @pytest.mark.parametrize("direction", np.radians([0, 45, 100, 190, 280]))
    def test_on_a_plane_the_way_is_straight_down(self, direction: float) -> None:
        plume = _plume(direction=direction)
        assert plume.x[0, -1] == pytest.approx(1600 + 500 * np.cos(direction), abs=1e-6)
        assert plume.y[0, -1] == pytest.approx(1600 + 500 * np.sin(direction), abs=1e-6)


class TestMass:
    @pytest.mark.parametrize("ahead", [60.0, 250.0, 430.0])
    def test_a_fence_of_wells_finds_what_the_household_gave(self, ahead: float) -> None:
        aside = np.arange(-400.0, 401.0, 2.0)
        top, bottom = np.zeros(len(aside)), np.full(len(aside), 60.0)
        plume = _plume()
        seen = _concentration(plume, np.full(len(aside), ahead), aside, top, bottom)
        carried_g = (seen * 2.0 * 60.0 * plume.flow_m_yr[0, 0]).sum()
        assert carried_g == pytest.approx(10_000, rel=1e-3)

    def test_slices_add_up_to_the_whole_depth(self) -> None:
        edge = np.arange(0.0, 61.0)
        same = np.full(60, 250.0), np.zeros(60)
        parts = _concentration(_plume(), *same, edge[:-1], edge[1:])
        whole = _concentration(_plume(), same[0][:1], same[1][:1], edge[:1], edge[-1:])
        assert parts.mean() == pytest.approx(whole[0], rel=1e-12)


class TestDepth:
    def test_the_middle_sinks_with_recharge_time_and_porosity(self) -> None:
        """Vogel (1967), in Cook and Boehlke (2000): depth H (1 - exp(-R t / n H)), H large."""
        plume = _plume()
        thick = 1e6
        age = RECHARGE_M_YR * plume.time_yr / (POROSITY * thick)
        np.testing.assert_allclose(plume.depth_m, -thick * np.expm1(-age), rtol=1e-4)
        assert plume.depth_m[0, -1] == pytest.approx(
            RECHARGE_M_YR * 500 / (365.25 * nitrate.CONDUCTIVITY_M_D * 0.02)
        )

    def test_a_screen_sees_most_where_the_plume_has_sunk_to(self) -> None:
        plume = _plume(fall=0.006)
        top = np.arange(0.0, 80.0, 2.0)
        count = len(top)
        for ahead in (100.0, 300.0):
            seen = _concentration(plume, np.full(count, ahead), np.zeros(count), top, top + 2)
            middle = plume.depth_m[0, round(ahead / 20)]
            assert abs(top[np.argmax(seen)] + 1 - middle) <= 2

    def test_deep_wells_of_the_county_have_less(self) -> None:
        wells = _wells()[0]
        third = pd.qcut(wells.depth_m, 3, labels=False)
        mean = wells.groupby(third).from_systems.mean()
        assert mean[0] > 2 * mean[1] > 2 * mean[2]


class TestWhoGives:
    def test_a_young_plume_has_not_arrived(self) -> None:
        plume = _plume()
        wells = np.array([1650.0, 2050.0]), np.array([1600.0, 1600.0])
        intake = pd.DataFrame({"leaked": [0.0, 0.0], "top": [0.0, 0.0], "bottom": [30.0, 30.0]})
        when = float(plume.time_yr[0, -1]) / 2
        well, _, mg_l = meetings(
            plume, *wells, intake, kg_yr=np.array([10.0]), age_yr=np.array([when])
        )
        assert well.tolist() == [0]
        assert mg_l[0] > 0

    def test_nothing_goes_up_the_slope_or_past_a_stream(self) -> None:
        water = _plane(0.02, 0.0)
        stream = water.terrain.upstream_km2
        stream[:, 45:47] = 5.0
        plume = follow_plumes(water, np.array([1600.0]), np.array([1600.0]))
        ahead = np.array([-60.0, 100.0, 400.0])
        seen = _concentration(plume, ahead, np.zeros(3), np.zeros(3), np.full(3, 30.0))
        assert (seen > 0).tolist() == [False, True, False]

    def test_seasonal_homes_give_less(self) -> None:
        plan, terrain, truth, parcels = _county()
        wells = _wells()[0].drop(columns=["nitrate", "from_systems", "from_fields"])
        given = [
            nitrate.true_nitrate(plan, terrain, truth, parcels.assign(seasonal=all_year), wells)[1]
            for all_year in (False, True)
        ]
        gives = given[0] > 0.01
        assert (given[1][gives] < 0.75 * given[0][gives]).all()

    def test_what_wells_have_is_what_systems_gave(self) -> None:
        wells, given = _wells()
        assert given.sum() == pytest.approx(wells.from_systems.sum())


class TestFigures:
    """The structure that the README states."""

    def _count_near(self, wells: pd.DataFrame) -> Floats:
        tree = cKDTree(_homes()[["field_x", "field_y"]].to_numpy())
        near = tree.query_ball_point(wells[["x", "y"]].to_numpy(), 229, return_length=True)
        return np.asarray(near)

    def test_correlations(self) -> None:
        wells = _wells()[0]
        near = self._count_near(wells)
        signal = wells.from_systems + wells.from_fields
        assert 0.45 < spearmanr(wells.from_systems, near)[0] < 0.60
        assert 0.10 < spearmanr(wells.nitrate, near)[0] < 0.25
        assert -0.45 < spearmanr(wells.nitrate, wells.depth_m)[0] < -0.25
        assert 0.75 < spearmanr(wells.nitrate, signal)[0] < 0.85
        assert 0.60 < np.corrcoef(wells.nitrate, signal)[0, 1] ** 2 < 0.80

    def test_levels(self) -> None:
        wells = _wells()[0]
        assert 0.02 < (wells.nitrate > 10).mean() < 0.10
        assert wells.from_systems.max() <= nitrate.EFFLUENT_MG_L

    def test_the_truth_of_wells_is_written(self, default_county: Path) -> None:
        truth = pd.read_csv(default_county / "truth_wells.csv", dtype={"parcel_id": str})
        log = pd.read_csv(default_county / "wells" / "wells.csv")
        assert truth.well_id.is_unique
        assert log.WELL_NO.isin(truth.well_id).all()
        results = pd.read_csv(default_county / "water_quality" / "result.csv", low_memory=False)
        found = results[
            (results.CharacteristicName == "Nitrate")
            & (results["ResultMeasure/MeasureUnitCode"] == "mg/l as N")
        ]
        found = found.assign(value=pd.to_numeric(found.ResultMeasureValue)).dropna(subset="value")
        joint = found.merge(truth, left_on="MonitoringLocationIdentifier", right_on="well_id")
        ratio = np.log(joint.value / joint.nitrate_mg_l)
        assert abs(ratio.mean()) < 0.02
        assert 0.12 < ratio.std() < 0.18
