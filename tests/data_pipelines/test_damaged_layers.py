"""Damaged, cut and odd map layers: one row is set aside and told, or one error says the cure."""

from __future__ import annotations

import json
import sqlite3
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from pyproj import CRS
from shapely.geometry import GeometryCollection, Point, Polygon, box

from data_pipelines.areas import read_sewer_area
from data_pipelines.auto_crs import utm_of
from data_pipelines.parcels import read_parcels
from data_pipelines.tables import list_columns
from data_pipelines.wells import read_wells
from riskmap.contract.errors import CrsError, LayerError, SourceFormatError, SourceMissingError
from riskmap.contract.sources import ColumnSource, Reading, Source

UTM = CRS("EPSG:26915")
NUMBERS = {"parcel_id": ColumnSource("PIN")}


def squares(count: int, **columns: object) -> gpd.GeoDataFrame:
    shapes = [box(500_000 + 60 * n, 5e6, 500_050 + 60 * n, 5_000_050) for n in range(count)]
    data = {"NAME": [f"n{n + 1}" for n in range(count)], **columns}
    return gpd.GeoDataFrame(data, geometry=shapes, crs=26915)


def save(tmp_path: Path, frame: gpd.GeoDataFrame, name: str, **more: object) -> Path:
    path = tmp_path / name
    frame.to_file(path, **more)
    return path


def areas(*paths: Path, **more: object) -> Reading:
    return read_sewer_area(Source("sewer_area", paths, **more), UTM)


def lots(path: Path, **more: object) -> Reading:
    return read_parcels(Source("parcels", (path,), columns=NUMBERS, **more), UTM)


class TestPagesOfAReply:
    @pytest.mark.parametrize(
        "mark",
        [
            {"exceededTransferLimit": True},
            {"properties": {"exceededTransferLimit": True}},
            {"numberMatched": 3000, "numberReturned": 2},
        ],
    )
    def test_one_page_is_not_the_whole(self, tmp_path, mark):
        path = save(tmp_path, squares(2).to_crs(4326), "a.geojson")
        path.write_text(json.dumps({**json.loads(path.read_text()), **mark}))
        with pytest.raises(SourceFormatError, match="Fetch all pages"):
            areas(path)

    def test_a_whole_reply_passes(self, tmp_path):
        path = save(tmp_path, squares(2).to_crs(4326), "a.geojson")
        mark = {"exceededTransferLimit": False, "numberMatched": 2, "numberReturned": 2}
        path.write_text(json.dumps({**json.loads(path.read_text()), **mark}))
        assert len(areas(path).frame) == 2


class TestElementsThatAreNoFeatures:
    @pytest.mark.parametrize("element", [None, 5, "x", {}, {"type": "Featvre"}, {"geometry": None}])
    def test_they_are_told_with_their_number(self, tmp_path, found, element):
        path = save(tmp_path, squares(4).to_crs(4326), "a.geojson")
        document = json.loads(path.read_text())
        document["features"][1] = element
        path.write_text(json.dumps(document))
        reading = areas(path)
        assert reading.frame["name"].to_dict() == {"1": "n1", "3": "n3", "4": "n4"}
        assert found(reading.defects, "no_feature") == {"2": json.dumps(element)}


class TestCoordinates:
    @pytest.mark.parametrize(
        ("x", "name"),
        [
            (np.nan, "a.gpkg"),
            (np.inf, "a.gpkg"),
            (1e300, "a.gpkg"),
            (1e300, "a.shp"),
            (5e8, "a.shp"),
            (-10_021_441e3, "a.shp"),
        ],
    )
    def test_one_impossible_corner_sets_one_row_aside(self, tmp_path, found, x, name):
        frame = squares(5)
        with np.errstate(invalid="ignore"):
            odd = Polygon([(500_000, 5e6), (x, 5e6), (500_050, 5_000_050)])
        frame.loc[2, "geometry"] = odd
        reading = areas(save(tmp_path, frame, name))
        assert reading.frame["name"].tolist() == ["n1", "n2", "n4", "n5"]
        assert set(found(reading.defects, "impossible_coordinate")) == {"3"}

    def test_one_that_is_no_degree(self, tmp_path, found):
        frame = squares(5).to_crs(4326)
        frame.loc[0, "geometry"] = box(-9300, 45, -9299, 46)
        reading = areas(save(tmp_path, frame, "a.geojson"))
        assert reading.frame["name"].tolist() == ["n2", "n3", "n4", "n5"]
        assert set(found(reading.defects, "impossible_coordinate")) == {"1"}

    def test_most_that_are_no_degrees_mean_another_system(self, tmp_path):
        frame = squares(5).set_crs(4326, allow_override=True)
        with pytest.raises(CrsError, match=r"are no degrees.*Add the true crs"):
            areas(save(tmp_path, frame, "a.gpkg"))

    def test_longitude_and_latitude_exchanged(self, tmp_path):
        for lon in (-93.0, -80.0):
            rows = "".join(f"w{n},{45 + n / 100},{lon}\n" for n in range(4))
            path = tmp_path / "w.csv"
            path.write_text("well_id,LON,LAT\n" + rows)
            source = Source("wells", (path,), x="LON", y="LAT", crs="EPSG:4326")
            zone = CRS(utm_zone(lon))
            with pytest.raises(CrsError, match="x and y seem to be exchanged"):
                read_wells(source, zone)

    def test_a_twisted_polygon_in_a_collection(self, tmp_path, found):
        twisted = Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
        mixture = GeometryCollection([twisted, Point(5, 5), GeometryCollection([box(3, 0, 4, 1)])])
        frame = gpd.GeoDataFrame({"NAME": ["a"]}, geometry=[mixture], crs=26915)
        reading = areas(save(tmp_path, frame, "a.gpkg"))
        assert reading.frame.area.tolist() == pytest.approx([3.0])
        assert set(found(reading.defects, "invalid_polygon")) == {"1"}


def utm_zone(lon: float) -> int:
    return 32600 + int((lon + 180) // 6) + 1


class TestShapefileParts:
    def cut(self, path: Path, suffix: str, size: int) -> None:
        part = path.with_suffix(suffix)
        part.write_bytes(part.read_bytes()[:size])

    @pytest.mark.parametrize("suffix", [".shp", ".shx", ".dbf"])
    @pytest.mark.parametrize("size", [0, 20, 90, 300])
    def test_a_part_that_is_cut(self, tmp_path, suffix, size):
        path = save(tmp_path, squares(30), "a.shp")
        self.cut(path, suffix, size)
        with pytest.raises(SourceFormatError, match=rf"a\{suffix}"):
            areas(path)

    @pytest.mark.parametrize("suffix", [".shx", ".dbf"])
    def test_a_part_that_is_missing(self, tmp_path, suffix):
        path = save(tmp_path, squares(3), "a.shp")
        path.with_suffix(suffix).unlink()
        with pytest.raises(SourceFormatError, match=rf"a\{suffix} is missing .* Fetch all parts"):
            areas(path)
        path.with_suffix(".shp").unlink()
        with pytest.raises(SourceMissingError, match=r"a\.shp is not there, only a\.cpg"):
            areas(path)

    def test_parts_of_two_files(self, tmp_path):
        path = save(tmp_path, squares(3), "a.shp")
        other = save(tmp_path, squares(4), "b.shp")
        path.with_suffix(".dbf").write_bytes(other.with_suffix(".dbf").read_bytes())
        with pytest.raises(SourceFormatError, match=r"a\.dbf has 4 rows, but a\.shx 3 shapes"):
            areas(path)

    @pytest.mark.parametrize("text", ["", "nonsense", "PROJCS[", 'LOCAL_CS["Plant grid"]'])
    def test_a_damaged_projection_file(self, tmp_path, text):
        path = save(tmp_path, squares(3), "a.shp")
        path.with_suffix(".prj").write_text(text)
        with pytest.raises(LayerError) as error:
            areas(path)
        assert "crs" in str(error.value) or "cannot be read" in str(error.value)

    def test_a_deleted_record_is_told(self, tmp_path, found):
        path = save(tmp_path, squares(4), "a.shp")
        content = bytearray(path.with_suffix(".dbf").read_bytes())
        header, width = (int.from_bytes(content[at : at + 2], "little") for at in (8, 10))
        content[header + width] = ord("*")  # the mark of a deleted record (dBASE)
        path.with_suffix(".dbf").write_bytes(content)
        reading = areas(path)
        assert reading.frame["name"].to_dict() == {"1": "n1", "3": "n3", "4": "n4"}
        assert set(found(reading.defects, "deleted_record")) == {"2"}

    def test_letters_that_are_not_what_the_cpg_says(self, tmp_path, found):
        frame = squares(3, OTHER=["é", "Peña", "plain"])
        path = save(tmp_path, frame.assign(NAME=frame["OTHER"]), "a.shp", encoding="ISO-8859-1")
        path.with_suffix(".cpg").write_text("UTF-8")
        reading = areas(path)
        assert reading.frame["name"].tolist() == ["é", "Peña", "plain"]
        assert set(found(reading.defects, "not_utf8")) == {"a.shp"}

    @pytest.mark.parametrize("code", ["UTF-8", "ISO-8859-1"])
    def test_letters_without_a_cpg(self, tmp_path, code):
        path = save(tmp_path, squares(2).assign(NAME=["é", "Peña"]), "a.shp", encoding=code)
        path.with_suffix(".cpg").unlink()
        assert areas(path).frame["name"].tolist() == ["é", "Peña"]

    def test_the_same_in_an_archive(self, tmp_path):
        save(tmp_path, squares(3), "a.shp")
        archive = tmp_path / "a.zip"
        for left_out, told in ((".dbf", r"a\.dbf is missing"), (".shx", r"a\.shx is missing")):
            with zipfile.ZipFile(archive, "w") as file:
                for part in tmp_path.glob("a.*"):
                    if part.suffix not in (left_out, ".zip"):
                        file.write(part, f"deep/{part.name}")
            with pytest.raises(SourceFormatError, match=told):
                areas(archive)
        with zipfile.ZipFile(archive, "w") as file:
            for part in tmp_path.glob("a.*"):
                if part.suffix != ".zip":
                    file.write(part, f"deep/{part.name}")
        assert len(areas(archive).frame) == 3
        archive.write_bytes(archive.read_bytes()[:-30])
        with pytest.raises(SourceFormatError, match=r"a\.zip is not a whole zip file"):
            areas(archive)


class TestSeveralTables:
    @pytest.mark.parametrize("name", ["a.gpkg", "a.gdb"])
    def test_which_one_is_asked_for(self, tmp_path, name):
        driver = {"a.gdb": "OpenFileGDB"}.get(name)
        path = save(tmp_path, squares(2), name, layer="north", driver=driver)
        save(tmp_path, squares(3), name, layer="south", driver=driver)
        with pytest.raises(LayerError, match=r"several tables: .*north.*south.*Name one with"):
            areas(path)
        assert len(areas(path, table="SOUTH").frame) == 3
        with pytest.raises(SourceFormatError, match=r"has no table 'west'. It has .*north"):
            areas(path, table="west")

    def test_the_only_one_that_fits_is_taken_and_told(self, tmp_path, found):
        path = save(tmp_path, squares(2), "a.gpkg", layer="areas")
        points = gpd.GeoDataFrame({"NAME": ["p"]}, geometry=[Point(0, 0)], crs=26915)
        save(tmp_path, points, "a.gpkg", layer="marks")
        reading = areas(path)
        assert len(reading.frame) == 2
        assert found(reading.defects, "table_chosen") == {"(all)": "areas of 2"}

    def test_tables_without_shapes(self, tmp_path):
        path = save(tmp_path, squares(2), "a.gpkg", layer="areas")
        table = squares(1).drop(columns="geometry").assign(PARCEL="7")
        pyogrio.write_dataframe(table, path, layer="roll")
        assert list_columns(path, layer="parcels", kind="table") == ["NAME", "PARCEL"]
        assert list_columns(path, layer="parcels") == ["NAME"]


class TestAutomaticSystem:
    def test_wrong_table_empty_layer_and_unknown_code(self, tmp_path):
        path = save(tmp_path, squares(2), "a.gpkg")
        with pytest.raises(SourceFormatError, match="has no table 'lots'"):
            utm_of(Source("parcels", (path,), table="lots"))
        with pytest.raises(CrsError, match=r"'EPSG:99999' of a\.gpkg is not known"):
            utm_of(Source("parcels", (path,), crs="EPSG:99999"))
        empty = save(tmp_path, squares(2).iloc[:0], "e.gpkg")
        with pytest.raises(SourceFormatError, match=r"e\.gpkg holds no rows"):
            utm_of(Source("parcels", (empty,)))
        with pytest.raises(LayerError, match="no parcel with a shape is left"):
            lots(save(tmp_path, squares(2, PIN=["a", "b"]).iloc[:0], "f.gpkg"))

    def test_a_system_of_another_planet(self, tmp_path):
        path = save(tmp_path, squares(2, PIN=["a", "b"]), "a.gpkg")
        mars = "IAU_2015:49900"
        with pytest.raises(CrsError, match="none of places on Earth"):
            utm_of(Source("parcels", (path,), crs=mars))
        with pytest.raises(CrsError, match="none of places on Earth"):
            read_parcels(Source("parcels", (path,), columns=NUMBERS, crs=mars), UTM)

    def test_one_bad_shape_does_not_move_the_zone(self, tmp_path):
        frame = squares(5)
        frame.loc[0, "geometry"] = box(9e6, 5e6, 9_000_001, 5_000_001)
        assert utm_of(Source("parcels", (save(tmp_path, frame, "a.gpkg"),))).to_epsg() == 32615

    def test_a_county_on_both_sides_of_the_180th_meridian(self, tmp_path):
        # Zone 60 ends at 180, zone 1 begins at -180; the middle of these lots is at -179.5.
        lons = [179.8, -179.9, -179.5, -179.2, -178.9]
        shapes = [box(lon, 51.9, lon + 0.01, 51.91) for lon in lons]
        frame = gpd.GeoDataFrame({"PIN": list("abcde")}, geometry=shapes, crs=4326)
        source = Source("parcels", (save(tmp_path, frame, "a.gpkg"),), columns=NUMBERS)
        zone = utm_of(source)
        assert zone.to_epsg() == 32601
        reading = read_parcels(source, zone)
        assert reading.frame["parcel_id"].tolist() == list("abcde")
        west, south, east, north = reading.frame.total_bounds
        assert east - west < 100_000
        box_of = (west - 2000, south - 2000, east + 2000, north + 2000)
        areas_of = Source("sewer_area", source.files, columns={"name": ColumnSource("PIN")})
        assert len(read_sewer_area(areas_of, zone, bounds=box_of).frame) == 5


class TestLargeNumbers:
    def test_whole_numbers_keep_their_digits_beside_missing_ones(self, tmp_path):
        # 2**53 + 1 is the first whole number that a float cannot hold.
        numbers = pd.array([9_007_199_254_740_993, None, 7], dtype="Int64")
        frame = squares(3, PIN=numbers)
        reading = lots(save(tmp_path, frame, "a.gpkg"))
        assert reading.frame["parcel_id"].tolist() == ["9007199254740993", "unnumbered 2", "7"]


class TestDamagedBytes:
    @pytest.mark.parametrize("name", ["a.gpkg", "a.fgb", "a.geojson", "a.shp.zip"])
    @pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
    def test_a_cut_file(self, tmp_path, name, share):
        frame = squares(200).to_crs(4326)
        path = save(tmp_path, frame, name)
        path.write_bytes(path.read_bytes()[: int(share * path.stat().st_size)])
        with pytest.raises(SourceFormatError, match=r"a\.(gpkg|fgb|geojson|shp)"):
            areas(path)

    def test_a_shape_that_cannot_be_understood(self, tmp_path, found):
        path = save(tmp_path, squares(3), "a.gpkg")
        with sqlite3.connect(path) as database:
            for (name,) in database.execute(
                "select name from sqlite_master where type = 'trigger'"
            ).fetchall():
                database.execute(f'drop trigger "{name}"')
            shape = shapely.to_wkb(box(0, 0, 1, 1))[:-9]
            blob = b"GP\0\1" + (26915).to_bytes(4, "little") + shape
            database.execute("update a set geom = ? where fid = 2", (blob,))
        database.close()
        reading = areas(path)
        assert reading.frame["name"].tolist() == ["n1", "n3"]
        assert set(found(reading.defects, "no_geometry")) == {"2"}
