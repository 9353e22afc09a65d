from __future__ import annotations

import geopandas as gpd
import pandas as pd
import pytest
from pyproj import CRS
from shapely.geometry import box

from data_pipelines.floodplain import read_floodplain, zone_of
from riskmap.contract.check import check_layer
from riskmap.contract.errors import LayerError
from riskmap.contract.layers import FLOODPLAIN
from riskmap.contract.sources import ColumnSource, Source

# Zone designations and subtypes of the national flood hazard layer (44 CFR 64.3).
CASES = [
    ("AE", "FLOODWAY", "T", "floodway"),
    ("AE", None, "T", "hundred_year"),
    ("A", None, None, "hundred_year"),
    ("A12", None, None, "hundred_year"),
    ("AO", "", "T", "hundred_year"),
    ("VE", "RIVERINE FLOODWAY SHOWN IN COASTAL ZONE", "T", "floodway"),
    ("X", "0.2 PCT ANNUAL CHANCE FLOOD HAZARD", "F", "five_hundred_year"),
    ("X", "AREA WITH REDUCED FLOOD RISK DUE TO LEVEE", "F", "five_hundred_year"),
    ("X", "1 PCT DEPTH LESS THAN 1 FOOT", "F", "five_hundred_year"),
    ("B", None, None, "five_hundred_year"),
    ("X", "AREA OF MINIMAL FLOOD HAZARD", "F", "outside"),
    ("X", None, "F", "outside"),
    ("C", None, None, "outside"),
    ("D", None, "F", None),
    ("OPEN WATER", None, "F", None),
    ("-9999", "-9999", "-9999", None),
]


def layer(tmp_path, rows, *, lower: bool = False):
    names = ["FLD_ZONE", "ZONE_SUBTY", "SFHA_TF"]
    columns = {n.lower() if lower else n: [row[i] for row in rows] for i, n in enumerate(names)}
    shapes = [box(100 * i, 0, 100 * i + 100, 100) for i in range(len(rows))]
    path = tmp_path / ("low.geojson" if lower else "up.gpkg")
    frame = gpd.GeoDataFrame({**columns, "STATIC_BFE": -9999.0}, geometry=shapes, crs="EPSG:26915")
    (frame.to_crs(4326) if lower else frame).to_file(path)
    return path


class TestZones:
    @pytest.mark.parametrize(("zone", "subtype", "flag", "want"), CASES)
    def test_each_designation(self, zone, subtype, flag, want):
        columns = [pd.Series([cell], dtype="string") for cell in (zone, subtype, flag)]
        got = zone_of(*columns)[0]
        assert pd.isna(got) if want is None else got == want

    @pytest.mark.parametrize("lower", [False, True])
    def test_columns_in_upper_or_lower_case(self, tmp_path, utm, found, lower):
        reading = read_floodplain(Source("floodplain", (layer(tmp_path, CASES, lower=lower),)), utm)
        want = ["" if case[3] is None else case[3] for case in CASES]
        assert reading.frame["zone"].fillna("").tolist() == want
        assert len(found(reading.defects, "undetermined_zone")) == 3
        assert check_layer(reading.frame, FLOODPLAIN, crs=utm).empty

    def test_zone_and_flag_that_contradict_each_other(self, tmp_path, utm, found):
        path = layer(tmp_path, [("X", None, "T"), ("AE", None, "F")])
        reading = read_floodplain(Source("floodplain", (path,)), utm)
        assert reading.frame["zone"].tolist() == ["hundred_year"] * 2
        assert len(found(reading.defects, "zone_conflict")) == 2

    def test_county_layer_by_its_mapping(self, tmp_path, utm):
        path = tmp_path / "z.gpkg"
        gpd.GeoDataFrame({"RISK": ["1%"]}, geometry=[box(0, 0, 1, 1)], crs=26915).to_file(path)
        with pytest.raises(LayerError, match=r"no FLD_ZONE column.*Columns: RISK"):
            read_floodplain(Source("floodplain", (path,)), utm)
        columns = {"zone": ColumnSource("RISK", values={"1%": "hundred_year"})}
        frame = read_floodplain(Source("floodplain", (path,), columns=columns), utm).frame
        assert frame["zone"].tolist() == ["hundred_year"]


class TestRealData:
    def test_two_extracts_of_one_map(self, shared_data, found):
        folder = shared_data / "records/city_parcels_flood"
        names = ("FEMA_FloodPlains100Year.geojson", "FEMA_FloodPlains500Year.geojson")
        source = Source("floodplain", tuple(folder / name for name in names))
        reading = read_floodplain(source, CRS("EPSG:26919"))
        # 21 polygons of the first extract are in the second again: 3 floodway, 18 1% annual chance.
        counts = reading.frame["zone"].value_counts().to_dict()
        assert counts == {"hundred_year": 18, "five_hundred_year": 18, "floodway": 3}
        assert len(found(reading.defects, "repeated_polygon")) == 21
        assert check_layer(reading.frame, FLOODPLAIN, crs=CRS("EPSG:26919")).empty
