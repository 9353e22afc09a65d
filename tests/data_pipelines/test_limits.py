"""What would never end or fill the memory ends in one error, or is set aside and told."""

from __future__ import annotations

import json
import os
import sqlite3
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
import shapely
from pyproj import CRS
from rasterio.transform import Affine
from shapely.geometry import box

from data_pipelines import files
from data_pipelines.grids import old_affine_calls
from data_pipelines.registry import read_layer
from data_pipelines.shapes import is_tangled
from data_pipelines.soil_survey import read_soil_survey
from data_pipelines.soil_survey.polygons import repair
from riskmap.contract.errors import LayerError, SourceFormatError
from riskmap.contract.sources import ColumnSource, Source
from tests.fuzz.judge import within_limits

UTM = CRS("EPSG:26915")
PLACE = (500_000.0, 5_000_000.0)


def error_of(layer: str, path: Path, **more: object) -> str:
    with pytest.raises(LayerError) as error, within_limits():
        read_layer(Source(layer, (path,), **more), UTM)
    assert error.value.layer
    assert error.value.cure
    return str(error.value)


class TestNoFiles:
    @pytest.mark.parametrize("layer", ["inspections", "sewer_area", "elevation", "permits"])
    @pytest.mark.parametrize("suffix", ["csv", "gpkg", "tif"])
    def test_a_pipe(self, tmp_path, layer, suffix):
        path = tmp_path / f"pipe.{suffix}"
        os.mkfifo(path)
        assert "is a pipe or a device" in error_of(layer, path)

    @pytest.mark.parametrize("layer", ["inspections", "sewer_area", "elevation"])
    def test_a_device(self, layer):
        assert "is a pipe or a device" in error_of(layer, Path("/dev/zero"))

    @pytest.mark.parametrize("layer", ["inspections", "sewer_area", "elevation"])
    def test_a_folder_and_an_empty_file(self, tmp_path, layer):
        assert "is a folder" in error_of(layer, tmp_path)
        for name in ("e.csv", "e.gpkg", "e.tif", "e.zip"):
            (tmp_path / name).touch()
            assert f"{name} is empty (0 bytes)" in error_of(layer, tmp_path / name)

    @pytest.mark.skipif(os.geteuid() != 0, reason="needs root to give up the right to read")
    @pytest.mark.parametrize("name", ["a.csv", "a.gpkg", "a.tif", "a.zip"])
    def test_no_right_to_read(self, tmp_path, name):
        path = tmp_path / name
        path.write_text("secret")
        path.chmod(0)
        for folder in (tmp_path, *tmp_path.parents[:3]):
            folder.chmod(0o755)
        os.seteuid(65534)
        try:
            assert "may not be opened (Permission denied)" in error_of("sewer_area", path)
        finally:
            os.seteuid(0)


class TestDatabases:
    def database(self, tmp_path: Path, view: str) -> Path:
        path = tmp_path / "a.gpkg"
        frame = gpd.GeoDataFrame({"NAME": ["x"]}, geometry=[box(0, 0, 1, 1)], crs=26915)
        frame.to_file(path, layer="areas")
        with sqlite3.connect(path) as database:
            database.execute(f"create view v as {view}")
            database.execute(
                "insert into gpkg_contents (table_name, data_type, identifier, srs_id) "
                "select 'v', 'attributes', 'v', srs_id from gpkg_contents limit 1"
            )
        database.close()
        return path

    def test_a_view_without_end(self, tmp_path):
        path = self.database(
            tmp_path,
            "with recursive n(parcel_id) as (select 1 union all select parcel_id + 1 from n) "
            "select * from n",
        )
        assert "v in a.gpkg is a view whose rows do not end" in error_of(
            "inspections", path, table="v"
        )

    def test_a_view_with_an_end(self, tmp_path):
        path = self.database(tmp_path, "select NAME as parcel_id from areas")
        reading = read_layer(Source("inspections", (path,), table="v"), UTM)
        assert reading.frame["parcel_id"].tolist() == ["x"]

    def test_no_database(self, tmp_path):
        path = tmp_path / "a.gpkg"
        path.write_bytes(b"SQLite format 3\0" + bytes(200))
        assert "a.gpkg cannot be read" in error_of("sewer_area", path)


class TestWidth:
    def test_columns_of_json(self, tmp_path):
        path = tmp_path / "wide.geojson"
        names = {f"k{number}": number for number in range(200_000)}
        feature = {"type": "Feature", "properties": names, "geometry": None}
        path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
        assert "over 5000 columns" in error_of("sewer_area", path)

    def test_deep_json(self, tmp_path):
        path = tmp_path / "deep.geojson"
        path.write_text(
            '{"type": "FeatureCollection", "features": ' + "[" * 10**6 + "]" * 10**6 + "}"
        )
        assert "deep.geojson cannot be read" in error_of("sewer_area", path)

    @pytest.mark.parametrize("name", ["huge.csv", "huge.geojson"])
    def test_a_huge_file(self, tmp_path, name):
        path = tmp_path / name
        with path.open("wb") as file:
            file.write(b'{"a": 1,')
            file.truncate(3 * 1024**3)
        layer = "inspections" if name.endswith("csv") else "sewer_area"
        assert "is larger than 2 GB" in error_of(layer, path)
        if name.endswith("csv"):
            with pytest.raises(LayerError, match="is larger than 2 GB"):
                read_soil_survey([path])


class TestArchives:
    def test_an_archive_in_an_archive_that_unpacks_to_too_much(self, tmp_path, monkeypatch):
        monkeypatch.setattr("data_pipelines.files.LARGEST_BYTES", 5 * 2**20)
        inner, outer = tmp_path / "lots.zip", tmp_path / "all.zip"
        with zipfile.ZipFile(inner, "w") as archive:
            archive.writestr("lots.csv", bytes(6 * 2**20))
        with zipfile.ZipFile(outer, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.write(inner, "data/lots.zip")
        assert "data/lots.zip in all.zip is larger than" in error_of("sewer_area", outer)

    def test_a_bomb(self, tmp_path):
        path = tmp_path / "bomb.zip"
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for number in range(30):
                archive.writestr(f"{number}.csv", bytes(100))
                archive.filelist[-1].file_size = 100 * 2**20  # what its directory declares
        assert "unpacks to is larger than 2 GB" in error_of("sewer_area", path)

    def test_thousands_of_files(self, tmp_path):
        path = tmp_path / "many.zip"
        with zipfile.ZipFile(path, "w") as archive:
            for number in range(10_001):
                archive.writestr(f"{number}.csv", "")
        assert "holds 10001 files" in error_of("sewer_area", path)

    @pytest.mark.parametrize(
        ("name", "content", "told"),
        [
            ("a.zip", b"<html>503</html>", "is a web page"),
            ("a.zip", b"PK\x03\x04" + bytes(40), "is not a whole zip file"),
            ("a.zip", b"PK\x05\x06" + bytes(18), "holds no table and no map layer, but nothing"),
            ("a.csv", b"<!DOCTYPE html><html>", "is a web page"),
            ("a.geojson", b'{"error": {"message": "Invalid URL"}}', "an error reply of a service"),
            ("a.gpkg", b"\x1f\x8b" + bytes(40), "a packed archive of another kind"),
            ("a.tif", b"%PDF-1.4", "is a PDF document"),
        ],
    )
    def test_what_is_saved_in_place_of_data(self, tmp_path, name, content, told):
        path = tmp_path / name
        path.write_bytes(content)
        layer = {"csv": "inspections", "tif": "elevation"}.get(name[-3:], "sewer_area")
        assert told in error_of(layer, path)

    @pytest.mark.parametrize("suffix", ["xlsx", "ods"])
    def test_a_workbook(self, tmp_path, monkeypatch, suffix):
        path = tmp_path / f"visits.{suffix}"
        rows = pd.DataFrame({"parcel_id": ["7", "8"], "reason": ["sale", "audit"]})
        pyogrio.write_dataframe(rows, path, layer="Visits", driver=suffix.upper())
        reading = read_layer(Source("inspections", (path,)), UTM)
        assert reading.frame["parcel_id"].tolist() == ["7", "8"]
        assert reading.frame.index.tolist() == ["1", "2"]
        pyogrio.write_dataframe(rows, path, layer="More", driver=suffix.upper(), append=True)
        assert "several tables: Visits (no shapes), More" in error_of("inspections", path)
        assert len(read_layer(Source("inspections", (path,), table="More"), UTM).frame) == 2
        monkeypatch.setattr(files, "LARGEST_WORKBOOK", 100)
        large = path.rename(tmp_path / f"large.{suffix}")
        assert "unpacks to more than" in error_of("inspections", large)

    @pytest.mark.parametrize("suffix", ["xlsx", "ods"])
    def test_what_only_bears_the_name_of_a_workbook(self, tmp_path, suffix):
        path = tmp_path / f"visits.{suffix}"
        path.write_text("<OGRVRTDataSource/>")
        assert "is not a whole zip file" in error_of("inspections", path)
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("word/document.xml", "")
        assert f"visits.{suffix} is no workbook" in error_of("inspections", path)
        path.rename(tmp_path / "visits.docx")
        with zipfile.ZipFile(tmp_path / "visits.docx", "a") as archive:
            archive.writestr("[Content_Types].xml", "")
        assert "is an office document" in error_of("inspections", tmp_path / "visits.docx")

    def test_a_table_in_an_archive_is_read(self, tmp_path):
        path = tmp_path / "v.zip"
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("v.csv", "parcel_id\n7\n")
            archive.writestr("readme.txt", "about it")
        reading = read_layer(Source("inspections", (path,)), UTM)
        assert reading.frame["parcel_id"].tolist() == ["7"]
        with zipfile.ZipFile(path, "a") as archive:
            archive.writestr("w.csv", "parcel_id\n7\n")
        assert "v.zip holds several tables: v.csv, w.csv" in error_of("inspections", path)


class TestRasters:
    def declare(self, path: Path, size: int, **more: object) -> Path:
        with (
            old_affine_calls(),
            rasterio.open(
                path, "w", driver="GTiff", width=size, height=size, count=1, dtype="float32",
                crs="EPSG:26915", transform=Affine(0.1, 0, *PLACE[:1], 0, -0.1, PLACE[1]),
                SPARSE_OK=True, BIGTIFF=True, **more,
            ),
        ):  # fmt: skip
            return path

    def test_terabytes(self, tmp_path):
        path = self.declare(
            tmp_path / "a.tif", 600_000, tiled=True, blockxsize=8192, blockysize=8192
        )
        assert "would take 3.6e+11 cells; at most 4e+08" in error_of("elevation", path, unit="m")

    def test_one_strip_of_gigabytes(self, tmp_path):
        path = self.declare(tmp_path / "a.tif", 60_000, blockysize=60_000)
        assert "would take 3.6e+09 cells" in error_of("elevation", path, unit="m")

    def test_tiles_at_two_ends_of_the_world(self, tmp_path):
        paths = []
        for name, x in (("a", 0.0), ("b", 9e6)):
            paths.append(tmp_path / f"{name}.tif")
            with (
                old_affine_calls(),
                rasterio.open(
                    paths[-1], "w", driver="GTiff", width=4, height=4, count=1, dtype="float32",
                    crs="EPSG:26915", transform=Affine(0.01, 0, x, 0, -0.01, PLACE[1]),
                ) as file,
            ):  # fmt: skip
                file.write(np.ones((4, 4), dtype="float32"), 1)
        with pytest.raises(SourceFormatError, match="together would take"), within_limits():
            read_layer(Source("elevation", tuple(paths), unit="m"), UTM)


class TestShapes:
    def parcels(self, tmp_path: Path, shape: shapely.Polygon) -> Source:
        path = tmp_path / "lots.gpkg"
        shapes = [box(*PLACE, PLACE[0] + 50, PLACE[1] + 50), shape]
        gpd.GeoDataFrame({"PIN": ["1", "2"]}, geometry=shapes, crs=26915).to_file(path)
        return Source("parcels", (path,), columns={"parcel_id": ColumnSource("PIN")})

    def test_a_million_corners(self, tmp_path):
        angle = np.linspace(0, 2 * np.pi, 10**6, endpoint=False)
        radius = 1000 * (1 + 0.01 * np.sin(200 * angle))
        ring = np.c_[radius * np.cos(angle), radius * np.sin(angle)] + PLACE
        shape = shapely.Polygon(ring)
        with within_limits():
            frame = read_layer(self.parcels(tmp_path, shape), UTM).frame
        assert frame.area.iloc[1] == pytest.approx(shape.area)

    def test_a_million_corners_without_sense(self, tmp_path, found):
        ring = np.random.default_rng(1).random((10**6, 2)) * 100 + PLACE
        with within_limits():
            reading = read_layer(self.parcels(tmp_path, shapely.Polygon(ring)), UTM)
        assert reading.frame["parcel_id"].tolist() == ["1"]
        assert set(found(reading.defects, "tangled_polygon")) == {"2"}

    def test_noise_among_soil_polygons(self):
        ring = np.random.default_rng(1).random((10**6, 2)) * 100 + PLACE
        units = gpd.GeoDataFrame(
            {"mukey": ["1", "2"]}, geometry=[box(0, 0, 1, 1), shapely.Polygon(ring)], crs=26915
        )
        with within_limits():
            kept, told = repair(units)
        assert kept["mukey"].tolist() == ["1"]
        assert [(one.check, one.row) for one in told] == [("tangled_polygon", "2 (polygon 1)")]

    def test_crossings_against_a_count_of_all_pairs(self):
        # Oracle: every pair of edges, with the limit set beside the true number.
        ring = np.random.default_rng(2).random((220, 2))
        edges = shapely.linestrings(np.stack([ring, np.roll(ring, -1, axis=0)], axis=1))
        pairs = np.triu(shapely.crosses(edges[:, None], edges[None, :]), 1).sum()
        shape = shapely.Polygon(ring)
        assert not is_tangled(shape, most=int(1.1 * pairs))
        assert is_tangled(shape, most=int(0.9 * pairs))
