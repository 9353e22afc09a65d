"""Zones, wells' capture areas and the hold-out comparison on a small sample region."""

from __future__ import annotations

import csv
import dataclasses
import datetime
import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pyogrio
import pytest
import shapely

import riskmap
from riskmap.action.zone_reasons import ZONE_KINDS
from riskmap.action.zone_shapes import mean_width_m
from riskmap.contract.grid import Grid
from riskmap.contract.results import ZONES
from riskmap.contract.units import ACRE_M2
from riskmap.groundwater.setbacks import virus_time_d
from riskmap.publish.lists.zones_table import LAYERS, write_zone_layers, write_zone_list
from riskmap.publish.words.imprint import Imprint
from riskmap.stages.county import County
from riskmap.stages.groundwater import Groundwater
from riskmap.stages.result import Result
from riskmap.stages.vulnerability import (
    clay_rating,
    soil_ratings,
    system_vulnerability,
    vulnerability_grid,
)
from riskmap.stages.well_samples import learn_from_samples
from riskmap.stages.zones import Planning, parts_with_reasons, plan_zones, zone_grid
from sample_region.make import make_county


def planned(
    county: County, parcels: gpd.GeoDataFrame, groundwater: Groundwater, **more: Any
) -> Planning:
    learned = learn_from_samples(county, groundwater)
    found = plan_zones(county, parcels, groundwater, learned, **more)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    folder = tmp_path_factory.mktemp("county")
    make_county(folder, parcels=700)
    return riskmap.assess(riskmap.open_region(folder / "region.toml"))


@pytest.fixture(scope="module")
def groundwater(result: Result) -> Groundwater:
    assert result.groundwater is not None
    return result.groundwater


@pytest.fixture(scope="module")
def planning(result: Result, groundwater: Groundwater) -> Planning:
    return planned(result.county, result.parcels, groundwater)


class TestZones:
    def test_notes_speak_the_countys_units(self, planning: Planning, result: Result) -> None:
        """Two hectares are 4.94 acres, by definition of the acre."""
        assert result.region.county.units == "us"
        assert planning.settings.least_area_m2 == 20_000
        assert "smaller than 4.94 acres" in planning.notes[2]

    def test_topology(self, planning: Planning, result: Result) -> None:
        shapes = planning.zones.geometry.to_numpy()
        assert len(shapes) >= 3
        assert planning.zones.crs == result.county.crs
        assert (shapely.get_type_id(shapes) == 3).all()
        assert shapely.is_valid(shapes).all()
        assert shapely.coverage_is_valid(shapes)
        assert shapely.area(shapes).sum() - shapely.union_all(shapes).area < 1e-6
        assert (mean_width_m(shapes) >= 20.0).all()
        assert (planning.zones["area_m2"] >= 0.9 * planning.settings.least_area_m2).all()

    def test_counts_are_those_of_points_in_polygons(
        self, planning: Planning, result: Result, groundwater: Groundwater
    ) -> None:
        zones = planning.zones
        systems = gpd.GeoSeries.from_xy(
            groundwater.systems["x_m"], groundwater.systems["y_m"], crs=zones.crs
        )
        for zone, count in zip(zones.geometry, zones["systems"], strict=True):
            assert systems.intersects(zone).sum() == count
        assert zones["systems"].sum() <= len(systems)
        assert zones["wells"].sum() == planning.wells["zone_id"].notna().sum()
        mean = result.parcels.loc[groundwater.systems.index, "failure_score"]
        inside = systems.intersects(zones.geometry.iloc[0]).to_numpy()
        assert zones["mean_failure_score"].iloc[0] == pytest.approx(mean[inside].mean())

    def test_every_zone_says_why(self, planning: Planning) -> None:
        zones = planning.zones
        assert zones.columns.drop("geometry").tolist() == ZONES.column_names
        assert set(zones["kind"]) <= set(ZONE_KINDS)
        assert zones["zone_id"].is_unique
        assert zones["why"].str.endswith(".").all()
        assert zones["kind"].map(ZONE_KINDS.index).is_monotonic_increasing

    def test_the_same_run_gives_the_same_zones(
        self, planning: Planning, result: Result, groundwater: Groundwater
    ) -> None:
        again = planned(result.county, result.parcels, groundwater)
        assert (again.zones.geometry.to_wkb() == planning.zones.geometry.to_wkb()).all()
        pd.testing.assert_frame_equal(
            pd.DataFrame(again.wells.drop(columns="geometry")),
            pd.DataFrame(planning.wells.drop(columns="geometry")),
        )

    def test_chosen_wells_and_limits_are_the_planners(
        self, planning: Planning, result: Result, groundwater: Groundwater
    ) -> None:
        none = np.zeros(len(groundwater.wells), bool)
        zones = replace(result.region.zones, action_mg_l=100.0)
        county = replace(result.county, region=replace(result.region, zones=zones))
        found = planned(county, result.parcels, groundwater, chosen=none)
        assert not set(found.zones["kind"]) & {"capture", "nitrate"}
        assert "capture" in set(planning.zones["kind"])
        assert "0 of" in found.notes[0]
        assert "the planner chose" in found.notes[0]

    def test_delineated_areas_are_zones_of_their_own(
        self, planning: Planning, result: Result, groundwater: Groundwater
    ) -> None:
        place = groundwater.systems.dropna(subset=["x_m"]).iloc[0]
        area = shapely.Point(place["x_m"], place["y_m"]).buffer(300.0)
        given = gpd.GeoDataFrame({"name": ["North Field"]}, geometry=[area], crs=result.county.crs)
        county = replace(result.county, tables={**result.county.tables, "wellhead_areas": given})
        found = planned(county, result.parcels, groundwater)
        (zone,) = found.zones[found.zones["kind"] == "wellhead"].itertuples()
        assert zone.zone_id == "W01"
        assert zone.area_m2 == pytest.approx(area.area, rel=0.05)
        assert zone.why.startswith("Land inside a delineated protection area")
        assert "1 delineated protection areas" in found.notes[0]
        assert "wellhead" not in set(planning.zones["kind"])

    def test_empty_land_far_away_changes_nothing_and_is_not_cut_into_cells(
        self, planning: Planning, result: Result, groundwater: Groundwater
    ) -> None:
        """Land without a system to 100 km east, as a stray or a far part of a county adds it."""

        def wider(grid: Grid) -> Grid:
            more = round(100_000 / grid.cell_m)
            return replace(grid, values=np.pad(grid.values, ((0, 0), (0, more)), mode="edge"))

        far = replace(
            groundwater,
            land=wider(groundwater.land),
            surface=replace(groundwater.surface, head=wider(groundwater.surface.head)),
        )
        found = planned(result.county, result.parcels, far)
        assert found.zones["zone_id"].tolist() == planning.zones["zone_id"].tolist()
        np.testing.assert_allclose(found.zones["area_m2"], planning.zones["area_m2"], rtol=0.02)
        areas = [planning.capture_zones]
        parts = parts_with_reasons(far.land, groundwater.systems, areas, result.region)
        unused = far.land.values.shape[1] - max(columns.stop for _, columns in parts)
        assert unused * far.land.cell_m > 90_000

    def test_two_parts_of_a_county_are_drawn_apart(
        self, result: Result, groundwater: Groundwater
    ) -> None:
        land = groundwater.land
        wide = replace(land, values=np.pad(land.values, ((0, 0), (0, 2000)), mode="edge"))
        places = groundwater.systems[["x_m", "y_m"]]
        both = pd.concat([places, places.assign(x_m=places["x_m"] + 60_000.0)])
        one = parts_with_reasons(wide, places, [], result.region)
        two = parts_with_reasons(wide, both, [], result.region)
        assert len(two) == 2 * len(one)
        starts = [columns.start * wide.cell_m for _, columns in two]
        assert sum(start > 58_000.0 for start in starts) == len(one)

    def test_cells_nest_in_those_of_the_water(self, groundwater: Groundwater) -> None:
        fine = zone_grid(groundwater.land)
        x, y = fine.centers()
        assert fine.cell_m == 20.0
        same = groundwater.land.sample(x, y)
        np.testing.assert_array_equal(fine.values, same)


class TestWells:
    def test_capture_areas_hold_their_well_and_its_setback(
        self, planning: Planning, result: Result
    ) -> None:
        areas, wells = planning.capture_zones, planning.wells
        setback = result.region.rules.well_setback_m
        assert (areas["well_id"] == wells["well_id"]).all()
        assert shapely.is_valid(areas.geometry.to_numpy()).all()
        inner = wells.geometry.buffer(0.95 * setback)
        assert areas.geometry.covers(inner, align=False).all()
        assert (areas["area_m2"] >= 0.97 * np.pi * setback**2).all()
        assert set(areas["method"]) <= {"curved path", "fixed radius"}

    def test_capture_areas_reach_uphill(self, planning: Planning, groundwater: Groundwater) -> None:
        areas = planning.capture_zones
        long = areas[(areas["method"] == "curved path") & (areas["area_m2"] > 3e4)]
        head = groundwater.surface.head
        middle = long.geometry.centroid
        above = head.bilinear(middle.x, middle.y)
        at_well = head.bilinear(
            planning.wells.loc[long.index, "x_m"], planning.wells.loc[long.index, "y_m"]
        )
        known = np.isfinite(above + at_well)
        assert known.sum() > 10
        assert (above > at_well)[known].mean() > 0.95

    def test_systems_inside_by_points_in_polygons(
        self, planning: Planning, groundwater: Groundwater
    ) -> None:
        systems = gpd.GeoSeries.from_xy(groundwater.systems["x_m"], groundwater.systems["y_m"])
        areas = planning.capture_zones.head(40)
        counted = [int(systems.intersects(area).sum()) for area in areas.geometry]
        assert areas["systems"].tolist() == counted
        assert planning.wells["capture_systems"].head(40).tolist() == counted

    def test_setbacks_by_every_distance(
        self, planning: Planning, result: Result, groundwater: Groundwater
    ) -> None:
        systems, wells = groundwater.systems, groundwater.wells
        rules, table = result.region.rules, planning.setbacks
        gap = np.hypot(
            systems["x_m"].to_numpy()[:, None] - wells["x_m"].to_numpy()[None],
            systems["y_m"].to_numpy()[:, None] - wells["y_m"].to_numpy()[None],
        )
        near = table[table["to"] == "well"]
        assert len(near) == (gap < rules.well_setback_m).sum() > 0
        assert near["distance_m"].min() == pytest.approx(gap.min())
        whole = table["distance_m"] + table["short_by_m"]
        assert whole.to_numpy() == pytest.approx(table["required_m"].to_numpy())
        onsite = result.parcels.loc[systems.index]
        streams = onsite["stream_distance_m"] < rules.water_setback_m
        assert (table["to"] == "stream").sum() == streams.sum()
        per_well = planning.wells["setback_short_systems"]
        assert per_well.tolist() == (gap < rules.well_setback_m).sum(axis=0).tolist()

    def test_virus_time_stands_beside_distance(
        self, planning: Planning, groundwater: Groundwater
    ) -> None:
        wells, pairs = planning.wells, groundwater.pairs
        first = pairs.groupby("well")["travel_time_d"].min()
        assert wells["virus_time_d"].dropna().to_numpy() == pytest.approx(first.to_numpy())
        assert (wells["virus_needed_d"] == virus_time_d(12.0)).all()  # 7 log at 12 degrees C
        # The region's aquifer is sand and gravel: Blaschke et al. (2016) give 66-289 m for gravel.
        assert set(wells["published_low_m"]) == {66.0}
        near = wells[wells["virus_distance_m"] < 66.0]
        assert (near["against_published"] == "shorter than published").all()
        assert len(near) > 0


class TestLittle:
    """Counties that lack something."""

    def test_a_county_without_wells(self, result: Result, groundwater: Groundwater) -> None:
        bare = dataclasses.replace(
            groundwater,
            wells=groundwater.wells.iloc[:0].drop(columns=["use", "aquifer", "yield_l_d"]),
            pairs=groundwater.pairs.iloc[:0],
        )
        found = planned(result.county, result.parcels, bare)
        assert found.wells.empty
        assert found.capture_zones.empty
        assert "capture" not in set(found.zones["kind"])
        assert len(found.zones) > 0
        assert not (found.setbacks["to"] == "well").any()

    def test_a_well_where_the_water_is_unknown_gets_a_circle(
        self, result: Result, groundwater: Groundwater
    ) -> None:
        west = groundwater.land.west_m - 5000.0
        far = groundwater.wells.assign(x_m=west, y_m=groundwater.wells["y_m"]).head(3)
        lost = dataclasses.replace(
            groundwater, wells=far.set_geometry(gpd.points_from_xy(far["x_m"], far["y_m"])),
            pairs=groundwater.pairs.iloc[:0],
        )  # fmt: skip
        found = planned(result.county, result.parcels, lost).capture_zones
        assert (found["method"] == "fixed radius").all()
        setback = result.region.rules.well_setback_m
        assert found["area_m2"].to_numpy() == pytest.approx(np.pi * setback**2, rel=0.02)


class TestVulnerability:
    def test_soils_come_from_the_survey_and_clay_only_stands_in(
        self, result: Result, groundwater: Groundwater
    ) -> None:
        ratings = soil_ratings(result.county)
        assert ratings.between(1, 10).all()
        named = result.county.tables["soil_mapunits"].set_index("mukey")["muname"]
        left = set(result.county.tables["soil_units"]["mukey"]) - set(ratings.index)
        assert {named[mukey] for mukey in left} <= {"Water"}
        onsite = result.parcels.loc[groundwater.systems.index]
        here = system_vulnerability(onsite, result.county)
        assert here == pytest.approx(onsite["vulnerability"].to_numpy(float))
        nowhere = system_vulnerability(onsite.assign(x_m=0.0, y_m=0.0), result.county)
        assert np.isfinite(nowhere).mean() > 0.9
        assert (nowhere != here).any()

    def test_cells_agree_with_systems(self, result: Result, groundwater: Groundwater) -> None:
        cells = vulnerability_grid(result.county, groundwater.land, groundwater.surface.head)
        onsite = result.parcels.loc[groundwater.systems.index]
        here = cells.sample(onsite["x_m"], onsite["y_m"])
        own = onsite["vulnerability"].to_numpy(float)
        known = np.isfinite(here + own)
        assert known.mean() > 0.9
        assert np.abs(here - own)[known].mean() < 0.05

    def test_clay_by_eye(self) -> None:
        assert clay_rating([5, 15, 25, 35, 50]).tolist() == [9, 6, 5, 3, 1]
        assert np.isnan(clay_rating([np.nan])).all()


class TestSeasonalHigh:
    def test_the_shallower_governs_and_both_are_kept(self, result: Result) -> None:
        lots = result.parcels
        soil, regional = lots["wet_depth_cm"] / 100, lots["water_table_m"]
        unseen = (soil >= 2.0) & (regional > soil)
        expected = np.fmin(soil.mask(unseen), regional)
        pd.testing.assert_series_equal(
            lots["seasonal_depth_m"], expected, check_names=False, check_dtype=False
        )
        assert set(lots["seasonal_depth_by"]) == {"soil", "regional"}


DAY = datetime.date(2026, 5, 1)


class TestFiles:
    def test_layers_are_read_back_and_the_bytes_repeat(
        self, planning: Planning, tmp_path: Path
    ) -> None:
        tables = (planning.zones, planning.capture_zones, planning.wells)
        path = write_zone_layers(tmp_path, *tables)
        first = path.read_bytes()
        assert [name for name, _ in pyogrio.list_layers(path)] == list(LAYERS)
        for name, table in zip(LAYERS, tables, strict=True):
            back = gpd.read_file(path, layer=name)
            assert len(back) == len(table)
            assert back.crs == table.crs
        assert gpd.read_file(path, layer="zones")["why"].tolist() == planning.zones["why"].tolist()
        write_zone_layers(tmp_path, *tables)
        assert path.read_bytes() == first

    def test_the_table_for_a_plan(self, planning: Planning, tmp_path: Path) -> None:
        paths = write_zone_list(
            tmp_path, planning.zones, Imprint("Exampleshire", DAY), notes=planning.notes
        )
        assert [path.name for path in paths] == ["zones.csv", "zones.xlsx"]
        rows = list(csv.DictReader(io.StringIO(paths[0].read_text())))
        assert len(rows) == len(planning.zones)
        acres = planning.zones["area_m2"].iloc[0] / ACRE_M2
        assert float(rows[0]["area_acres"]) == pytest.approx(acres, abs=0.01)
        assert rows[0]["kind"] == "capture area of wells"
        book = openpyxl.load_workbook(paths[1])
        assert book["Zones"]["A2"].value == "C01"
        notes = [row[1].value for row in book["Notes"].iter_rows()]
        assert planning.notes[0] in notes

    def test_meters_where_the_region_reads_meters(self, planning: Planning, tmp_path: Path) -> None:
        path, _ = write_zone_list(tmp_path, planning.zones, Imprint("X", DAY, "si"))
        row = next(csv.DictReader(io.StringIO(path.read_text())))
        hectares = planning.zones["area_m2"].iloc[0] / 1e4
        assert float(row["area_ha"]) == pytest.approx(hectares, abs=0.01)

    def test_text_that_would_run_is_quoted(self, planning: Planning, tmp_path: Path) -> None:
        bad = planning.zones.assign(why="=1+1")
        path, _ = write_zone_list(tmp_path, bad, Imprint("X", DAY))
        assert next(csv.DictReader(io.StringIO(path.read_text())))["why"] == "'=1+1"
