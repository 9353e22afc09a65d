"""Data files open nothing but themselves: no network, no other file, no connection string."""

from __future__ import annotations

import json
import threading
import warnings
import zipfile
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
from pyproj import CRS
from rasterio.transform import Affine
from shapely.geometry import box

from data_pipelines.grids import old_affine_calls
from data_pipelines.registry import read_layer
from data_pipelines.soil_survey import read_soil_survey
from riskmap.contract.errors import LayerError
from riskmap.contract.sources import ColumnSource, Source

UTM = CRS("EPSG:26915")
SECRET = 4321.0


class Listener:
    """A web server on this machine that counts what it is asked."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        asked = self.asked

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                asked.append(self.path)
                self.send_response(404)
                self.end_headers()

            do_HEAD = do_POST = do_GET  # noqa: N815

            def log_message(self, *args: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.address = f"http://127.0.0.1:{self.server.server_port}"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()


@pytest.fixture
def listener(monkeypatch: pytest.MonkeyPatch) -> Iterator[Listener]:
    for name in ("no_proxy", "NO_PROXY"):
        monkeypatch.delenv(name, raising=False)
    one = Listener()
    yield one
    one.server.shutdown()
    one.server.server_close()


@pytest.fixture
def secret(tmp_path: Path) -> Path:
    """A good raster and a good map layer in a folder that no source names."""
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    save_raster(folder / "dem.tif", SECRET)
    frame = gpd.GeoDataFrame({"NAME": ["secret"]}, geometry=[box(0, 0, 1, 1)], crs=26915)
    frame.to_file(folder / "areas.gpkg")
    return folder


def save_raster(path: Path, height: float, **tags: str) -> Path:
    with (
        old_affine_calls(),
        rasterio.open(
            path, "w", driver="GTiff", height=20, width=20, count=1, dtype="float32",
            crs="EPSG:26915", transform=Affine(10, 0, 500_000, 0, -10, 5_000_000),
        ) as file,
    ):  # fmt: skip
        file.write(np.full((20, 20), height, dtype="float32"), 1)
        if tags:
            file.update_tags(ns="OVERVIEWS", **tags)
    return path


def read(layer: str, *files: Path, **more: str) -> object:
    return read_layer(Source(layer, files, **more), UTM)


def refused(layer: str, path: Path, listener: Listener) -> str:
    """Message of the error that reading ends in; nothing may have been asked."""
    with pytest.raises(LayerError) as error:
        read(layer, path)
    assert listener.asked == []
    assert error.value.cure
    return str(error.value)


RASTER_VRT = """<VRTDataset rasterXSize="20" rasterYSize="20"><SRS>EPSG:26915</SRS>
<GeoTransform>500000, 10, 0, 5000000, 0, -10</GeoTransform>
<VRTRasterBand dataType="Float32" band="1"><SimpleSource>
<SourceFilename relativeToVRT="0">{0}</SourceFilename><SourceBand>1</SourceBand>
</SimpleSource></VRTRasterBand></VRTDataset>"""
VECTOR_VRT = """<OGRVRTDataSource><OGRVRTLayer name="{1}">
<SrcDataSource>{0}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"""
WMS = """<GDAL_WMS><Service name="TMS"><ServerUrl>{0}/${{z}}/${{x}}/${{y}}.png</ServerUrl></Service>
<DataWindow><SizeX>256</SizeX><SizeY>256</SizeY></DataWindow></GDAL_WMS>"""
WFS = "<OGRWFSDataSource><URL>{0}/wfs</URL></OGRWFSDataSource>"


class TestTheListenerWouldHear:
    """Without the doors, the libraries do ask: so the tests below can fail."""

    def test_a_virtual_map_layer(self, tmp_path, listener):
        path = tmp_path / "x.geojson"
        path.write_text(VECTOR_VRT.format(f"/vsicurl/{listener.address}/a.csv", "a"))
        with pytest.raises(Exception, match="vsicurl"):
            pyogrio.read_info(path)
        assert "/a.csv" in listener.asked

    def test_a_linked_reference_system(self, tmp_path, listener):
        path = tmp_path / "x.geojson"
        path.write_text(linked_crs(listener))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            pyogrio.read_info(path)
        assert listener.asked == ["/crs"]

    def test_a_virtual_raster(self, tmp_path, listener):
        path = tmp_path / "x.tif"
        path.write_text(RASTER_VRT.format(f"/vsicurl/{listener.address}/a.tif"))
        with pytest.raises(rasterio.errors.RasterioIOError), rasterio.open(path) as file:
            file.read()
        assert "/a.tif" in listener.asked


def linked_crs(listener: Listener, name: str = "crs") -> str:
    square = json.loads(gpd.GeoSeries([box(0, 0, 1, 1)]).to_json())
    text = json.dumps(
        {"type": "FeatureCollection", "features": square["features"], "LINK": {"type": "link",
         "properties": {"href": f"{listener.address}/crs", "type": "proj4"}}}
    )  # fmt: skip
    return text.replace("LINK", name)


class TestRasters:
    @pytest.mark.parametrize("suffix", ["tif", "asc", "img", "flt", "dem", "hgt"])
    def test_virtual_files_under_any_name(self, tmp_path, listener, secret, suffix):
        for number, place in enumerate(
            (f"/vsicurl/{listener.address}/a.tif", secret / "dem.tif", "../elsewhere/dem.tif")
        ):
            path = tmp_path / f"dem{number}.{suffix}"
            path.write_text(RASTER_VRT.format(place))
            assert "points to other files" in refused("elevation", path, listener)
        path.write_text(WMS.format(listener.address))
        assert "points to other files" in refused("elevation", path, listener)

    @pytest.mark.parametrize("suffix", ["msk", "ovr"])
    def test_files_beside_a_raster(self, tmp_path, listener, suffix):
        path = save_raster(tmp_path / "dem.tif", 300)
        beside = tmp_path / f"dem.tif.{suffix}"
        beside.write_text(RASTER_VRT.format(f"/vsicurl/{listener.address}/a.tif"))
        assert f"dem.tif.{suffix} beside the raster" in refused("elevation", path, listener)

    def test_overviews_named_in_metadata(self, tmp_path, listener):
        path = save_raster(tmp_path / "a.tif", 300)
        (tmp_path / "a.tif.aux.xml").write_text(
            "<PAMDataset><Metadata domain='OVERVIEWS'><MDI key='OVERVIEW_FILE'>"
            f"/vsicurl/{listener.address}/o.tif</MDI></Metadata></PAMDataset>"
        )
        assert "points to other files" in refused("elevation", path, listener)
        inside = save_raster(
            tmp_path / "b.tif", 300, OVERVIEW_FILE=f"/vsicurl/{listener.address}/o.tif"
        )
        raster = read("elevation", inside, unit="m").raster
        assert (raster.values == 300).all()
        assert listener.asked == []


class TestMapLayers:
    @pytest.mark.parametrize("name", ["x.geojson", "x.json", "x.gpkg", "x.fgb", "x.shp", "x.zip"])
    def test_virtual_files_under_any_name(self, tmp_path, listener, secret, name):
        path = tmp_path / name
        for text in (
            VECTOR_VRT.format(f"/vsicurl/{listener.address}/a.csv", "a"),
            VECTOR_VRT.format(secret / "areas.gpkg", "areas"),
            VECTOR_VRT.format("CSV:/etc/passwd", "passwd"),
            WFS.format(listener.address),
            '{"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline ! read '
            'CSV:/etc/passwd ! write streamed --of stream"}',
            '{"a": "' + VECTOR_VRT.format("CSV:/etc/passwd", "passwd").replace('"', "'") + '"}',
        ):
            path.write_text(text)
            assert "points to other files" in refused("sewer_area", path, listener)

    def test_virtual_file_in_an_archive(self, tmp_path, listener):
        path = tmp_path / "x.zip"
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("a.geojson", VECTOR_VRT.format(f"/vsicurl/{listener.address}/a", "a"))
        assert "a.geojson holds no data but points" in refused("sewer_area", path, listener)

    @pytest.mark.parametrize("name", ["crs", "\\u0063rs", "c\\u0072s"])
    def test_linked_reference_system(self, tmp_path, listener, name):
        path = tmp_path / "x.geojson"
        path.write_text(linked_crs(listener, name))
        assert "only by a link" in refused("sewer_area", path, listener)

    def test_projection_file_that_is_an_address(self, tmp_path, listener):
        path = tmp_path / "x.shp"
        gpd.GeoDataFrame({"NAME": ["a"]}, geometry=[box(0, 0, 1, 1)], crs=26915).to_file(path)
        path.with_suffix(".prj").write_text(f"{listener.address}/crs.prj")
        refused("sewer_area", path, listener)


class TestSoilSurvey:
    """The survey's map units come through the same door."""

    def refused(self, path: Path, listener: Listener) -> str:
        with pytest.raises(LayerError) as error:
            read_soil_survey([path])
        assert listener.asked == []
        return str(error.value)

    def test_virtual_files_in_place_of_the_map_units(self, tmp_path, listener, secret):
        path = tmp_path / "soilmu_a_zz001.shp"
        frame = gpd.GeoDataFrame({"MUKEY": ["1"]}, geometry=[box(0, 0, 1, 1)], crs=26915)
        frame.to_file(path)
        for place in (f"/vsicurl/{listener.address}/a.gpkg", secret / "areas.gpkg"):
            path.write_text(VECTOR_VRT.format(place, "soilmu_a_zz001"))
            assert "points to other files" in self.refused(tmp_path, listener)

    def test_projection_file_that_is_an_address(self, tmp_path, listener):
        path = tmp_path / "soilmu_a_zz001.shp"
        frame = gpd.GeoDataFrame({"MUKEY": ["1"]}, geometry=[box(0, 0, 1, 1)], crs=26915)
        frame.to_file(path)
        path.with_suffix(".prj").write_text(f"{listener.address}/crs.prj")
        assert "no reference system" in self.refused(tmp_path, listener)

    def test_archive_with_names_that_climb_out(self, tmp_path, listener):
        path = tmp_path / "inside" / "survey.zip"
        path.parent.mkdir()
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("../../climbed.csv", "cokey\n1\n")
        self.refused(path, listener)
        assert not list(tmp_path.rglob("climbed.csv"))


class TestNames:
    @pytest.mark.parametrize("layer", ["sewer_area", "elevation", "inspections", "water_levels"])
    @pytest.mark.parametrize(
        "name",
        [
            "CSV:/etc/passwd",
            "/vsicurl/{0}/a.geojson",
            "{0}/a.tif",
            "WFS:{0}/wfs",
            "OAPIF:{0}/api",
            "vrt://{0}/a.tif",
            "/vsistdin/",
            "GTIFF_DIR:1:{0}/a.tif",
            "PG:host=127.0.0.1",
            '{{"type": "FeatureCollection", "features": []}}',
        ],
    )
    def test_connection_strings_are_only_names(self, listener, layer, name):
        assert "is not there" in refused(layer, Path(name.format(listener.address)), listener)

    def test_a_file_may_bear_such_a_name(self, tmp_path, monkeypatch, listener):
        monkeypatch.chdir(tmp_path)
        Path("CSV:a.csv").write_text("parcel_id\n7\n")
        assert read("inspections", Path("CSV:a.csv")).frame["parcel_id"].tolist() == ["7"]
        frame = gpd.GeoDataFrame({"NAME": ["a"]}, geometry=[box(0, 0, 1, 1)], crs=26915)
        frame.to_file(tmp_path / "b.gpkg")
        Path("b.gpkg").rename("PG:b.gpkg")
        assert read("sewer_area", Path("PG:b.gpkg")).frame["name"].tolist() == ["a"]
        columns = {"permit_id": ColumnSource("parcel_id")}
        source = Source("permits", (Path("CSV:a.csv"),), columns=columns)
        assert read_layer(source, UTM).frame["permit_id"].tolist() == ["7"]
        assert listener.asked == []
