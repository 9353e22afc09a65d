"""Dirt that offices' files really have, each read as a person would, and told in the defects."""

from __future__ import annotations

import contextlib
import datetime
import os
import zipfile
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely
import xlsxwriter
from pyproj import CRS

from data_pipelines.registry import read_layer
from data_pipelines.tables import list_columns, parse_table
from riskmap.contract.errors import LayerError
from riskmap.contract.sources import ColumnSource, Reading, Source

UTM = CRS("EPSG:26915")
OLD = Path(__file__).parent / "visits.xls"
"""Made with a program that still writes the old form; the only file here not made by a test."""
ROWS = [["P-1", datetime.date(2019, 5, 1), "FAILED", 12.0],
        ["P-2", datetime.date(2020, 6, 2), "OK", 0.0]]  # fmt: skip
NAMES = ["PIN", "WHEN", "FOUND", "DEPTH"]
COLUMNS = {
    "parcel_id": ColumnSource("PIN"),
    "date": ColumnSource("WHEN"),
    "stage": ColumnSource("FOUND", values={"OK": "sound", "FAILED": "failed"}),
}


def visits(path: Path, **more: Any) -> Reading:
    return read_layer(Source("inspections", (path,), columns=COLUMNS, **more), UTM)


def workbook(path: Path, rows: list[list[object]], sheets: tuple[str, ...] = ("Visits",)) -> Path:
    book = xlsxwriter.Workbook(str(path))
    day = book.add_format({"num_format": "mm/dd/yyyy"})
    for name in sheets:
        sheet = book.add_worksheet(name)
        for number, row in enumerate(rows):
            for place, cell in enumerate(row):
                if isinstance(cell, datetime.date):
                    sheet.write_datetime(number, place, cell, day)
                elif cell is not None:
                    sheet.write(number, place, cell)
    book.close()
    return path


def check_visits(reading: Reading) -> None:
    assert reading.frame["parcel_id"].tolist() == ["P-1", "P-2"]
    assert reading.frame["date"].dt.strftime("%Y-%m-%d").tolist() == ["2019-05-01", "2020-06-02"]
    assert reading.frame["stage"].tolist() == ["failed", "sound"]


class TestTitlesAboveTheNames:
    TITLE: tuple[list[object], ...] = (["Visits, printed in May"], ["Health office", None])

    def test_in_a_workbook(self, tmp_path: Path, found: Any) -> None:
        reading = visits(workbook(tmp_path / "v.xlsx", [*self.TITLE, [], NAMES, *ROWS]))
        check_visits(reading)
        assert found(reading.defects, "title_rows")

    @pytest.mark.parametrize("end", ["", ",,,"])
    def test_in_text(self, write: Any, found: Any, end: str) -> None:
        text = f"Visits of May{end}\n{end}\nPIN,WHEN,FOUND,DEPTH\n"
        path = write("v.csv", text + "P-1,2019-05-01,FAILED,12\nP-2,2020-06-02,OK,0\n")
        reading = visits(path)
        check_visits(reading)
        assert found(reading.defects, "title_rows")["v.csv"].endswith("above the column names")
        assert list_columns(path, layer="inspections") == NAMES

    def test_names_without_a_title_are_left(self, write: Any) -> None:
        path = write("v.csv", "PIN,WHEN,FOUND,DEPTH\nA,B,C,D\n")
        assert parse_table(path, layer="x").to_numpy().tolist() == [["A", "B", "C", "D"]]

    def test_commas_inside_cells_make_no_title_of_the_names(self, write: Any) -> None:
        rows = "Smith, John A, Jr;Mill Rd, Lot B, East\nDoe, Jane, Ms;Elm St, Unit C, West\n"
        table = parse_table(write("v.csv", "NAME;PLACE\n" + rows), layer="x")
        assert list(table.columns) == ["NAME", "PLACE"]
        assert table["NAME"].tolist() == ["Smith, John A, Jr", "Doe, Jane, Ms"]

    def test_rows_are_never_taken_for_names(self, write: Any) -> None:
        path = write("v.csv", "Visits of May,,,\nP-1,2019-05-01,FAILED,12\nP-2,2020-06-02,OK,0\n")
        with pytest.raises(LayerError, match="no column 'PIN'"):
            visits(path)


class TestWorkbooks:
    def test_each_form(self, tmp_path: Path) -> None:
        check_visits(visits(workbook(tmp_path / "v.xlsx", [NAMES, *ROWS])))
        check_visits(visits(OLD))
        sheet = pd.DataFrame(ROWS, columns=NAMES).astype(str)
        pyogrio.write_dataframe(sheet, tmp_path / "v.ods", driver="ODS")
        check_visits(visits(tmp_path / "v.ods"))

    def test_several_sheets_ask_for_one(self, tmp_path: Path) -> None:
        path = workbook(tmp_path / "v.xlsx", [NAMES, *ROWS], sheets=("Read me", "Visits"))
        with pytest.raises(LayerError, match=r"Read me .*Visits"):
            visits(path)
        check_visits(visits(path, table="visits"))

    @pytest.mark.parametrize(
        ("content", "said"),
        [
            (b"PIN,WHEN\n1,2\n", "name it .csv"),
            (b"<html><table></table></html>", "is a web page"),
            (OLD.read_bytes()[:700], "is no whole workbook"),
            (b"PK\x03\x04", "Name it .xlsx"),
        ],
    )
    def test_what_is_no_old_workbook(self, tmp_path: Path, content: bytes, said: str) -> None:
        path = tmp_path / "v.xls"
        path.write_bytes(content)
        with pytest.raises(LayerError, match=said):
            visits(path)

    def test_a_damaged_old_workbook_ends_in_one_error(self, tmp_path: Path) -> None:
        content = OLD.read_bytes()
        for place in range(0, len(content), 97):
            path = tmp_path / f"{place}.xls"
            path.write_bytes(
                content[:place] + bytes([content[place] ^ 0xFF]) + content[place + 1 :]
            )
            with contextlib.suppress(LayerError):
                assert len(visits(path).frame) <= 3


class TestDates:
    def of(self, write: Any, cells: list[str], *formats: str) -> Reading:
        path = write("v.csv", "PIN,WHEN\n" + "".join(f'P-{n},"{c}"\n' for n, c in enumerate(cells)))
        columns = {
            "parcel_id": ColumnSource("PIN"),
            "date": ColumnSource("WHEN", date_format=formats),
        }
        source = Source("inspections", (path,), columns=columns, day=datetime.date(2026, 6, 1))
        return read_layer(source, UTM)

    def days(self, reading: Reading) -> list[object]:
        text = reading.frame["date"].dt.strftime("%Y-%m-%d")
        return text.astype(object).where(text.notna(), None).tolist()

    def test_day_numbers_of_a_spreadsheet(self, write: Any, found: Any) -> None:
        """36526 is 2000-01-01 (Office Open XML, ISO/IEC 29500-1, date base of 1900)."""
        reading = self.of(write, ["36526", "36526.75", "2001-02-03"])
        assert self.days(reading) == ["2000-01-01", "2000-01-01", "2001-02-03"]
        assert set(found(reading.defects, "serial_date")) == {"1", "2"}

    def test_several_formats_in_one_column(self, write: Any, found: Any) -> None:
        cells = ["25.12.1999", "12/26/1999", "1999-12-27", "28-Dec-1999", "December 29, 1999"]
        reading = self.of(write, cells, "%d.%m.%Y", "%m/%d/%Y")
        assert self.days(reading) == [f"1999-12-{day}" for day in range(25, 30)]
        assert set(found(reading.defects, "other_date_form")) == {"3", "4", "5"}

    def test_a_date_that_two_formats_read_apart_is_missing(self, write: Any, found: Any) -> None:
        reading = self.of(write, ["03/04/1999", "25/12/1999", "05/05/1999"], "%d/%m/%Y", "%m/%d/%Y")
        assert self.days(reading) == [None, "1999-12-25", "1999-05-05"]
        assert found(reading.defects, "ambiguous_date") == {"1": "03/04/1999"}

    def test_month_first_is_not_guessed_beside_a_format(self, write: Any, found: Any) -> None:
        reading = self.of(write, ["13.02.1999", "02/03/1999"], "%d.%m.%Y")
        assert self.days(reading) == ["1999-02-13", None]
        assert found(reading.defects, "unreadable_date") == {"2": "02/03/1999"}


class TestArchives:
    def lots(self, folder: Path) -> list[Path]:
        frame = gpd.GeoDataFrame(
            {"PIN": ["1", "2"]}, geometry=[shapely.box(0, 0, 9, 9), shapely.box(9, 0, 18, 9)],
            crs=UTM,
        )  # fmt: skip
        frame.to_file(folder / "lots.shp")
        return sorted(folder.glob("lots.*"))

    def packed(self, path: Path, files: list[Path]) -> Path:
        with zipfile.ZipFile(path, "w") as archive:
            for file in files:
                archive.write(file, file.name)
        return path

    def read(self, path: Path) -> Reading:
        source = Source("parcels", (path,), columns={"parcel_id": ColumnSource("PIN")})
        return read_layer(source, UTM)

    def test_shapes_in_an_archive_in_an_archive(self, tmp_path: Path, found: Any) -> None:
        inner = self.packed(tmp_path / "lots.zip", self.lots(tmp_path))
        (tmp_path / "readme.txt").write_text("Lots of May")
        outer = self.packed(tmp_path / "delivery.zip", [inner, tmp_path / "readme.txt"])
        reading = self.read(outer)
        assert reading.frame["parcel_id"].tolist() == ["1", "2"]
        assert found(reading.defects, "archive_in_archive") == {"delivery.zip": "lots.zip"}

    def test_a_table_in_an_archive_in_an_archive(self, tmp_path: Path, write: Any) -> None:
        table = write("v.csv", "PIN,WHEN,FOUND\nP-1,2019-05-01,FAILED\nP-2,2020-06-02,OK\n")
        outer = self.packed(tmp_path / "o.zip", [self.packed(tmp_path / "i.zip", [table])])
        reading = visits(outer)
        check_visits(reading)
        assert "archive_in_archive" in set(reading.defects["check"])

    def test_several_and_too_deep(self, tmp_path: Path, write: Any) -> None:
        one, two = (self.packed(tmp_path / f"{n}.zip", [write("v.csv", "A\n1\n")]) for n in "ab")
        with pytest.raises(LayerError, match=r"several archives: a\.zip, b\.zip"):
            self.read(self.packed(tmp_path / "c.zip", [one, two]))
        path = one
        for number in range(4):
            path = self.packed(tmp_path / f"deep{number}.zip", [path])
        with pytest.raises(LayerError, match="archives deep"):
            self.read(path)

    def test_each_bad_file_has_a_message_of_its_own(self, tmp_path: Path) -> None:
        lots = self.lots(tmp_path)
        said = {}
        contents = {"empty.zip": b"", "page.zip": b"<html>Sign in</html>",
                    "cut.zip": b"PK\x03\x04", "seven.zip": b"7z\xbc\xaf"}  # fmt: skip
        for name, content in contents.items():
            (tmp_path / name).write_bytes(content)
            said[name] = self.error(tmp_path / name)
        lots[0].with_suffix(".shx").unlink()
        said["parts"] = self.error(tmp_path / "lots.shp")
        words = {"empty.zip": "0 bytes", "page.zip": "web page", "cut.zip": "not a whole zip",
                 "seven.zip": "another kind than zip", "parts": "lots.shx is missing"}  # fmt: skip
        assert all(word in said[name] for name, word in words.items()), said

    @pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
    def test_no_right_to_read(self, tmp_path: Path) -> None:
        path = tmp_path / "locked.zip"
        path.write_bytes(b"PK")
        path.chmod(0)
        assert "right to read" in self.error(path)

    def error(self, path: Path) -> str:
        with pytest.raises(LayerError) as error:
            self.read(path)
        assert error.value.cure
        return str(error.value)


def test_an_address_in_two_columns(tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame(
        {"PIN": ["1", "2", "3"], "NO": [12, None, None], "ROAD": ["Mill  Rd", "Elm St", None]},
        geometry=[shapely.box(9 * n, 0, 9 * n + 9, 9) for n in range(3)], crs=UTM,
    )  # fmt: skip
    frame.to_file(tmp_path / "lots.gpkg")
    columns = {"parcel_id": ColumnSource("PIN"),
               "address": ColumnSource("NO", and_columns=("ROAD",))}  # fmt: skip
    reading = read_layer(Source("parcels", (tmp_path / "lots.gpkg",), columns=columns), UTM)
    assert reading.frame["address"].fillna("-").tolist() == ["12 Mill Rd", "Elm St", "-"]
    absent = {**columns, "address": ColumnSource("NO", and_columns=("STREET",))}
    with pytest.raises(LayerError, match="no column 'STREET' for address"):
        read_layer(Source("parcels", (tmp_path / "lots.gpkg",), columns=absent), UTM)


def test_numbers_with_units(write: Any, found: Any) -> None:
    path = write("w.csv", "ID,DEPTH,X,Y\n1,118.9 ft,500000,4000000\n2,20 m,500100,4000000\n")
    columns = {"well_id": ColumnSource("ID"), "depth_m": ColumnSource("DEPTH", unit="ft")}
    source = Source("wells", (path,), columns=columns, x="X", y="Y", crs="EPSG:26915")
    reading = read_layer(source, UTM)
    assert reading.frame["depth_m"].round(4).tolist() == [round(118.9 * 0.3048, 4), 20.0]
    assert found(reading.defects, "unit_in_cell") == {"2": "20 m"}


def test_a_region_file_may_name_two_columns(tmp_path: Path) -> None:
    from riskmap.region.read import read_region

    text = (
        '[county]\nname = "X"\ncrs = "EPSG:26915"\ndate = 2026-06-01\n'
        '[layers.parcels]\nfile = "l.gpkg"\n'
        '[layers.parcels.columns]\nparcel_id = "PIN"\naddress = ["NO", "ROAD"]\n'
        '[layers.soil_survey]\nfiles = ["s"]\n'
    )
    (tmp_path / "region.toml").write_text(text)
    spec = read_region(tmp_path / "region.toml").sources["parcels"].columns["address"]
    assert (spec.column, spec.and_columns) == ("NO", ("ROAD",))


def test_frames_of_workbooks_are_text(tmp_path: Path) -> None:
    table = parse_table(workbook(tmp_path / "v.xlsx", [NAMES, *ROWS]), layer="x")
    assert isinstance(table, pd.DataFrame)
    assert table["DEPTH"].tolist() == ["12", "0"]
