from __future__ import annotations

import json

import geopandas as gpd
import pandas as pd
import pytest
from pyproj import CRS
from shapely.geometry import Point

from data_pipelines.water_levels import read_water_levels
from riskmap.contract.check import check_layer
from riskmap.contract.errors import SourceFormatError
from riskmap.contract.layers import WATER_LEVELS
from riskmap.contract.sources import ColumnSource, Source

C = ColumnSource

LEVELS = (
    "# comment\n"
    "agency_cd\tsite_no\tsite_tp_cd\tlev_dt\tlev_va\tsl_lev_va\tsl_datum_cd\tlev_status_cd\n"
    "5s\t15s\t6s\t10d\t12s\t12s\t10s\t1s\n"
    "USGS\t01\tGW\t2016-10-26\t28.33\t\t\t\n"
    "USGS\t01\tGW\t1967-07\t 30.00\t\t\t\n"
    "USGS\t01\tGW\t2017-01-01\t-2.5\t\t\tF\n"
    "USGS\t01\tGW\t2018-01-01\t55.0\t\t\tP\n"
    "USGS\t01\tGW\t2019-01-01\t\t\t\tO\n"
    "USGS\t01\tGW\t2019-02-01\t\t871.5\tNAVD88\t\n"
    "USGS\t01\tGW\t2019-03-01\t\t870.0\tNAVD88\t\n"
    "USGS\t01\tGW\t2019-04-01\t\t871.5\tNGVD29\t\n"
    "USGS\t02\tGW\t2016-10-26\t10\t\t\t\n"
)
SITES = (
    "# comment\nagency_cd\tsite_no\tdec_lat_va\tdec_long_va\tdec_coord_datum_cd\n"
    "5s\t15s\t16s\t16s\t10s\nUSGS\t01\t45.0\t-93.0\tNAD83\n"
)


class TestRdb:
    def test_levels_with_a_site_file(self, write, utm, found):
        files = (write("levels.rdb", LEVELS), write("sites.rdb", SITES))
        reading = read_water_levels(Source("water_levels", files), utm)
        frame = reading.frame
        assert len(frame) == 8
        assert frame.geometry.x.tolist() == pytest.approx([500_000.0] * 8, abs=0.01)
        assert frame["depth_to_water_m"].tolist()[:3] == pytest.approx([8.634984, 9.144, -0.762])
        assert frame["depth_to_water_m"].isna().tolist()[3:5] == [True, True]
        assert frame["status"].tolist()[3:5] == ["pumping", "obstruction"]
        assert frame["status"].isna().tolist()[:3] == [True] * 3
        assert frame["water_elevation_m"].iloc[5] == pytest.approx(265.6332)
        assert frame["vertical_datum"].tolist()[5:] == ["NAVD88", "NAVD88", "NGVD29"]
        assert frame["date"].iloc[1] == pd.Timestamp("1967-07-01")
        defects = reading.defects
        assert list(found(defects, "partial_date").values()) == ["1967-07"]
        assert list(found(defects, "mixed_vertical_datum").values()) == ["NGVD29"]
        assert len(found(defects, "flowing")) == 1
        assert len(found(defects, "no_geometry")) == 1  # well 02 is in no site file
        assert check_layer(frame, WATER_LEVELS, crs=utm).empty

    def test_site_file_as_second_table(self, write, utm):
        source = Source(
            "water_levels",
            (write("levels.rdb", LEVELS),),
            attributes=write("sites.rdb", SITES),
            join_on=("site_no", "site_no"),
        )
        assert len(read_water_levels(source, utm).frame) == 8

    def test_daily_values(self, write, utm):
        text = (
            "# c\nagency_cd\tsite_no\tdatetime\t9_72019_00003\t9_72019_00003_cd\n"
            "5s\t15s\t20d\t14n\t10s\nUSGS\t01\t2020-02-14\t10.0\tA\n"
        )
        files = (write("dv.rdb", text), write("sites.rdb", SITES))
        frame = read_water_levels(Source("water_levels", files), utm).frame
        assert frame["depth_to_water_m"].tolist() == [3.048]


class TestJson:
    def test_feature_reply(self, write, utm, found):
        def feature(code: str, value: str, unit: str = "ft") -> dict[str, object]:
            return {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [-93.0, 45.0]},
                "properties": {
                    "monitoring_location_id": "USGS-01",
                    "parameter_code": code,
                    "value": value,
                    "unit_of_measure": unit,
                    "time": "2014-06-19T16:00:27+00:00",
                    "vertical_datum": "NGVD29" if code == "62610" else "None",
                },
            }

        features = [feature("72019", "10.0"), feature("62610", "900"), feature("00060", "3.14")]
        path = write("levels.json", json.dumps({"type": "FeatureCollection", "features": features}))
        reading = read_water_levels(Source("water_levels", (path,)), utm)
        frame = reading.frame
        assert frame["site_id"].tolist() == ["01", "01"]
        assert frame["depth_to_water_m"].tolist()[0] == 3.048
        assert frame["water_elevation_m"].tolist()[1] == pytest.approx(274.32)
        assert frame["vertical_datum"].fillna("").tolist() == ["", "NGVD29"]
        assert frame["date"].iloc[0] == pd.Timestamp("2014-06-19")
        assert list(found(reading.defects, "other_parameter").values()) == ["00060: 1 rows"]

    def test_broken_json(self, write, utm):
        with pytest.raises(SourceFormatError, match="not whole JSON"):
            read_water_levels(Source("water_levels", (write("x.json", "{"),)), utm)

    def test_a_county_geojson_is_read_by_its_mapping(self, tmp_path, utm):
        frame = gpd.GeoDataFrame(
            {"WELL": ["a"], "DTW": [12.0], "DAY": ["2001-02-03"]},
            geometry=[Point(-93, 45)],
            crs=4326,
        )
        frame.to_file(tmp_path / "levels.json", driver="GeoJSON")
        columns = {
            "site_id": C("WELL"),
            "depth_to_water_m": C("DTW", unit="ft"),
            "date": C("DAY"),
        }
        source = Source("water_levels", (tmp_path / "levels.json",), columns=columns)
        got = read_water_levels(source, utm).frame
        assert got["depth_to_water_m"].tolist() == pytest.approx([3.6576])


class TestRealReplies:
    ALBERS = CRS("EPSG:5070")

    def test_rdb_with_its_comment_lines(self, shared_data, write, found):
        path = shared_data / "records/water_levels_replies/waterservices_gwlevels.txt"
        assert sum(line.startswith("#") for line in path.read_text().splitlines()) == 71
        site = (
            "agency_cd\tsite_no\tdec_lat_va\tdec_long_va\tdec_coord_datum_cd\n"
            "USGS\t434400121275801\t43.7\t-121.5\tNAD83\n"
        )
        alone = read_water_levels(Source("water_levels", (path,)), self.ALBERS)
        assert alone.frame.empty
        assert len(found(alone.defects, "no_geometry")) == 1
        files = (path, write("site.rdb", site))
        frame = read_water_levels(Source("water_levels", files), self.ALBERS).frame
        assert frame["depth_to_water_m"].tolist() == pytest.approx([28.33 * 0.3048])
        assert frame["date"].tolist() == [pd.Timestamp("2016-10-26")]

    def test_discrete_levels(self, shared_data, found):
        path = (
            shared_data / "records/water_levels_replies/discrete_etl/discrete_ground_water_aqts.csv"
        )
        reading = read_water_levels(Source("water_levels", (path,)), self.ALBERS)
        frame, defects = reading.frame, reading.defects
        assert len(frame) == 16
        assert list(found(defects, "partial_date").values()) == ["1967-07"]
        obstructed = frame["status"].eq("obstruction").fillna(False)
        assert obstructed.sum() == 2
        assert frame.loc[obstructed, "depth_to_water_m"].isna().all()
        # Row 9 (246 ft in a well of 1,000 ft) is the only depth that its well can hold; the others
        # (4,102 ft in a well of 300 ft ...) are levels below the bottom.
        assert frame["depth_to_water_m"].dropna().to_dict() == {"9": pytest.approx(74.9808)}
        assert len(found(defects, "level_below_bottom")) == 9
        assert len(found(defects, "below_measuring_point")) == 1
        assert frame["vertical_datum"].dropna().unique().tolist() == ["NGVD29"]
        assert frame.loc["7", "water_elevation_m"] == pytest.approx(2180 * 0.3048)
        assert check_layer(frame, WATER_LEVELS, crs=self.ALBERS).empty

    def test_feature_and_daily_replies_of_streams_hold_no_levels(self, shared_data):
        folder = shared_data / "records/water_levels_replies"
        for name in ("waterdata_ogc_fixtures.json", "waterservices_dv.txt"):
            reading = read_water_levels(Source("water_levels", (folder / name,)), self.ALBERS)
            assert reading.frame.empty
            assert any(v.startswith("00060") for v in reading.defects["value"])
            assert check_layer(reading.frame, WATER_LEVELS, crs=self.ALBERS).empty

    def test_statistics_are_refused(self, shared_data):
        path = shared_data / "records/water_levels_replies/waterservices_stats.txt"
        with pytest.raises(SourceFormatError, match="without water levels"):
            read_water_levels(Source("water_levels", (path,)), self.ALBERS)
