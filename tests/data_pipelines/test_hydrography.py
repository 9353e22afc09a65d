from __future__ import annotations

import geopandas as gpd
import pytest
from pyproj import CRS
from shapely.geometry import LineString, box

from data_pipelines.hydrography import read_streams, read_waterbodies
from riskmap.contract.check import check_layer
from riskmap.contract.layers import STREAMS, WATERBODIES
from riskmap.contract.sources import ColumnSource, Source


class TestSmall:
    @pytest.mark.parametrize("kind", ["Pipeline", "428", 428])
    def test_pipes_are_no_streams(self, tmp_path, utm, found, kind):
        lines = [LineString([(0, i), (100, i)]) for i in range(2)]
        other = 460 if isinstance(kind, int) else "StreamRiver"
        frame = gpd.GeoDataFrame(
            {"comid": [1, 2], "ftype": [other, kind], "gnis_name": ["Bad River", None]},
            geometry=lines,
            crs=26915,
        )
        frame.to_file(tmp_path / "s.gpkg")
        reading = read_streams(Source("streams", (tmp_path / "s.gpkg",)), utm)
        assert reading.frame["stream_id"].tolist() == ["1"]
        assert reading.frame["name"].tolist() == ["Bad River"]
        assert found(reading.defects, "not_surface_water") == {"2": str(kind)}

    def test_county_columns(self, tmp_path, utm):
        frame = gpd.GeoDataFrame({"LAKE": [" Clear  Lake "]}, geometry=[box(0, 0, 9, 9)], crs=26915)
        frame.to_file(tmp_path / "l.shp")
        source = Source(
            "waterbodies", (tmp_path / "l.shp",), columns={"name": ColumnSource("LAKE")}
        )
        reading = read_waterbodies(source, utm)
        assert reading.frame["name"].tolist() == ["Clear Lake"]
        assert reading.frame["waterbody_id"].isna().all()
        assert check_layer(reading.frame, WATERBODIES, crs=utm).empty


class TestRealData:
    def test_national_flow_lines_need_no_mapping(self, shared_data, utm):
        path = shared_data / "terrain_water/flowlines_small/NHDFlowline.shp"
        reading = read_streams(Source("streams", (path,)), utm)
        assert len(reading.frame) == 101
        assert reading.frame["stream_id"].iloc[0] == "1814769"
        assert reading.frame["name"].iloc[0] == "Bad River"
        assert reading.defects.empty
        assert check_layer(reading.frame, STREAMS, crs=utm).empty

    def test_lines_without_any_column(self, shared_data):
        path = shared_data / "terrain_water/steep_basin/rivers/river_060102020103.shp"
        reading = read_streams(Source("streams", (path,)), CRS("EPSG:26917"))
        assert len(reading.frame) == 202
        assert reading.frame["stream_id"].isna().all()

    def test_lakes(self, shared_data):
        path = shared_data / "terrain_water/sand_plain/all_lakes.shp"
        frame = read_waterbodies(Source("waterbodies", (path,)), CRS("EPSG:3070")).frame
        assert frame["waterbody_id"].iloc[0] == "600059461"
        assert "Lake Burnita" in set(frame["name"])

    def test_city_water_in_degrees(self, shared_data):
        path = shared_data / "records/city_parcels_flood/HYDRO_WaterBodies.geojson"
        reading = read_waterbodies(Source("waterbodies", (path,)), CRS("EPSG:26919"))
        assert len(reading.frame) == 74
        assert check_layer(reading.frame, WATERBODIES, crs=CRS("EPSG:26919")).empty
