from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from pyproj import CRS
from shapely.geometry import box

from data_pipelines.flags import datum_differs
from data_pipelines.rasters import read_elevation
from data_pipelines.tables import parse_table
from data_pipelines.wells import check_elevation_unit, check_in_water, read_wells
from riskmap.contract.check import check_layer
from riskmap.contract.grid import Grid
from riskmap.contract.layers import WELLS
from riskmap.contract.sources import ColumnSource, Reading, Source

C = ColumnSource


def wells_at(elevation: list[float], x: list[float] | None = None) -> gpd.GeoDataFrame:
    x = x or [50.0 + 100 * i for i in range(len(elevation))]
    frame = pd.DataFrame({"ground_elevation_m": elevation}, index=list(map(str, range(len(x)))))
    return gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(x, [50.0] * len(x)), crs=26915)


# One row of four cells, 100 m wide: terrain at 300, 310, 320 and 330 m.
TERRAIN = Grid(np.array([[300.0, 310.0, 320.0, 330.0]]), 0, 100, 100, 100, CRS("EPSG:26915"))


class TestElevationUnitByEye:
    def test_meters_are_meters(self):
        assert check_elevation_unit(wells_at([301.0, 308.0, 320.0, 331.0]), TERRAIN).empty

    def test_feet_sold_as_meters(self, found):
        feet = [984.3, 1017.1, 1049.9, 1082.7]  # 300, 310, 320, 330 m
        defects = check_elevation_unit(wells_at(feet), TERRAIN)
        assert len(found(defects, "feet_sold_as_meters")) == 4

    def test_terrain_in_feet(self):
        terrain = Grid(TERRAIN.values / 0.3048, 0, 100, 100, 100, TERRAIN.crs)
        defects = check_elevation_unit(wells_at([301.0, 308.0, 320.0, 331.0]), terrain)
        assert set(defects["check"]) == {"terrain_in_feet"}

    def test_one_row_in_feet_and_one_merely_wrong(self, found):
        wells = wells_at([300.0, 310.0, 1049.9, 500.0, 300.0], [50, 150, 250, 350, 60])
        defects = check_elevation_unit(wells, TERRAIN)
        assert found(defects, "elevation_perhaps_feet") == {"2": "1049.9"}
        assert found(defects, "elevation_far_from_terrain") == {"3": "500.0"}

    def test_low_ground_cannot_be_judged(self):
        # At 3 m above sea feet and meters differ by less than any terrain model is wrong.
        low = Grid(np.full((1, 4), 3.0), 0, 100, 100, 100, TERRAIN.crs)
        assert check_elevation_unit(wells_at([9.8, 9.9, 10.0, 9.7]), low).empty

    def test_nothing_is_changed_and_wells_outside_do_not_count(self):
        wells = wells_at([984.3, 1017.1, 1049.9], [50, 5_000, 6_000])
        assert check_elevation_unit(wells, TERRAIN).empty
        assert wells["ground_elevation_m"].tolist() == [984.3, 1017.1, 1049.9]


def test_well_in_the_lake_is_reported(found):
    wells = wells_at([300.0, 310.0]).assign(well_id=["a", "b"])
    lake = gpd.GeoDataFrame(geometry=[box(100, 0, 200, 100)], crs=26915)
    assert found(check_in_water(wells, lake), "well_in_waterbody") == {"1": "b"}


class TestSmall:
    def test_depths_datums_and_flowing_wells(self, write, utm, found):
        path = write(
            "w.csv",
            "WELL,X,Y,DEPTH,CASING,STATIC,DATUM,DRILLED\n"
            "a,500000,5000000,100,40,20,NAVD88,1/1/1900\n"
            "b,500000,5000100,900,40,-3,NGVD29,0407-04-01\n"
            "c,500000,5000200,60,90,80,NAVD88,1967-07\n"
            "c,500000,5000200,60,90,80,NAVD88,1967-07\n"
            "c,500000,5000300,-9999,,,,\n",
        )
        source = Source(
            "wells",
            (path,),
            columns={
                "well_id": C("WELL"),
                "depth_m": C("DEPTH", unit="ft"),
                "casing_m": C("CASING", unit="ft"),
                "static_level_m": C("STATIC", unit="ft"),
                "vertical_datum": C("DATUM"),
                "drilled": C("DRILLED"),
            },
            x="X",
            y="Y",
            crs="EPSG:26915",
        )
        reading = read_wells(source, utm)
        assert reading.frame["well_id"].tolist() == ["a", "b", "c", "c (2)"]
        assert reading.frame["depth_m"].tolist()[:3] == [30.48, 274.32, 18.288]
        assert reading.frame["static_level_m"].tolist()[1] == pytest.approx(-0.9144)
        defects = reading.defects
        assert set(found(defects, "depth_over_200_m")) == {"2"}
        assert set(found(defects, "flowing")) == {"2"}
        assert set(found(defects, "casing_below_bottom")) == {"3"}
        assert set(found(defects, "level_below_bottom")) == {"3"}
        assert found(defects, "mixed_vertical_datum") == {"2": "NGVD29"}
        assert found(defects, "placeholder_date") == {"1": "1/1/1900"}
        assert found(defects, "impossible_date") == {"2": "0407-04-01"}
        assert found(defects, "duplicate_key") == {"5": "c"}
        assert check_layer(reading.frame, WELLS, crs=utm).empty

    def test_federal_site_file_with_two_horizontal_datums(self, write, utm, found):
        path = write(
            "sites.rdb",
            "# comment\nsite_no\tsite_tp_cd\tdec_lat_va\tdec_long_va\tdec_coord_datum_cd\talt_va"
            "\talt_datum_cd\twell_depth_va\n15s\t7s\t16s\t16s\t10s\t8s\t10s\t8s\n"
            "01\tGW\t45.0\t-93.0\tNAD83\t 1000.00\tNAVD88\t100\n"
            "02\tGW\t45.0\t-93.0\tNAD27\t 1000.00\tNGVD29\t100\n"
            "03\tST\t45.0\t-93.0\tNAD83\t 1000.00\tNAVD88\t\n",
        )
        reading = read_wells(Source("wells", (path,)), utm)
        assert reading.frame["well_id"].tolist() == ["01", "02"]
        assert reading.frame["ground_elevation_m"].tolist() == [304.8, 304.8]
        assert reading.frame["depth_m"].tolist() == [30.48, 30.48]
        a, b = reading.frame.geometry
        # NAD27 to NAD83 in Minnesota: some 15 to 20 m (NADCON, from memory), never nothing.
        assert 5 < a.distance(b) < 40
        assert found(reading.defects, "other_horizontal_datum") == {"2": "NAD27"}
        assert found(reading.defects, "not_a_well") == {"3": "ST"}


def heads(shared_data: Path, name: str, **columns: ColumnSource) -> Reading:
    path = shared_data / "terrain_water/sand_plain" / name
    source = Source("wells", (path,), columns=columns, x="x", y="y", crs="EPSG:3070")
    return read_wells(source, CRS("EPSG:3070"))


@pytest.fixture(scope="module")
def sand_plain(shared_data: Path) -> Grid:
    path = shared_data / "terrain_water/sand_plain/dem40m.tif"
    return read_elevation(Source("elevation", (path,), unit="m"), CRS("EPSG:3070")).raster


class TestRealSandPlain:
    """Two agencies' wells on one plain: one gives the ground in meters, the other in feet."""

    def test_meters_pass(self, shared_data, sand_plain):
        reading = heads(
            shared_data,
            "wgnhs_head_targets.csv",
            well_id=C("common_name"),
            ground_elevation_m=C("WELL_ELEV"),
        )
        assert len(reading.frame) == 154
        checks = set(check_elevation_unit(reading.frame, sand_plain)["check"])
        assert "feet_sold_as_meters" not in checks
        assert "elevation_perhaps_feet" not in checks

    def test_feet_sold_as_meters_are_caught_and_declared_feet_pass(self, shared_data, sand_plain):
        names = {"well_id": C("site_no"), "drilled": C("const_dt")}
        sold = heads(
            shared_data, "nwis_heads_info_file.csv", **names, ground_elevation_m=C("alt_va")
        )
        assert set(check_elevation_unit(sold.frame, sand_plain)["check"]) == {"feet_sold_as_meters"}
        told = heads(
            shared_data,
            "nwis_heads_info_file.csv",
            **names,
            ground_elevation_m=C("alt_va", unit="ft"),
        )
        assert check_elevation_unit(told.frame, sand_plain).empty
        # The agency's own meters (mp_elev = alt_va in feet) are the oracle of the conversion.
        path = shared_data / "terrain_water/sand_plain/nwis_heads_info_file.csv"
        own = pd.read_csv(path)["mp_elev"].to_numpy()
        assert np.allclose(told.frame["ground_elevation_m"], own, rtol=1e-12)

    def test_dates_of_two_kinds_in_one_column(self, shared_data):
        reading = heads(
            shared_data, "nwis_heads_info_file.csv", well_id=C("site_no"), drilled=C("const_dt")
        )
        drilled = reading.frame["drilled"]
        assert drilled.iloc[0] == pd.Timestamp("2005-01-10")  # 20050110.0
        partial = reading.defects[reading.defects["check"] == "partial_date"]
        assert partial["value"].tolist() == ["2013.0", "2013.0", "2014.0"]

    def test_mixed_datums_of_a_real_site_file(self, shared_data):
        path = shared_data / "records/water_levels_replies/nwis_sites.txt"
        datum = parse_table(path, layer="wells")["alt_datum_cd"].replace("", None)
        counts = datum.value_counts()
        assert {"NGVD29", "NAVD88", "COE1912"} <= set(counts.index)
        assert datum_differs(datum).sum() == counts.sum() - counts.max()

    def test_portal_and_service_site_files_hold_no_wells(self, shared_data):
        for name in ("water_levels_replies/nwis_sites.txt", "water_quality_replies/wqp_sites.txt"):
            path = shared_data / "records" / name
            reading = read_wells(Source("wells", (path,)), CRS("EPSG:5070"))
            assert reading.frame.empty
            assert set(reading.defects["check"]) == {"not_a_well", "no_rows"}
