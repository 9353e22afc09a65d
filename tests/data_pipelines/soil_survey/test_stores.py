"""The same survey in its other forms gives the same layers."""

from __future__ import annotations

import json
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
from pandas.testing import assert_frame_equal

from data_pipelines.soil_survey import SoilSurvey, parse_reply, read_soil_survey
from riskmap.contract.errors import SourceFormatError

Make = Callable[..., Any]
TABLE_LAYERS = (
    "soil_mapunits",
    "soil_components",
    "soil_horizons",
    "soil_restrictions",
    "soil_months",
    "soil_interpretations",
)


def assert_same_tables(one: SoilSurvey, other: SoilSurvey) -> None:
    for name in TABLE_LAYERS:
        assert_frame_equal(getattr(one, name), getattr(other, name))


def _write_sqlite(file: Path, tables: dict[str, Any], columns: dict[str, list[str]]) -> Path:
    with closing(sqlite3.connect(file)) as database:
        for table, names in columns.items():
            typed = ", ".join(f"{name} text" for name in names)
            database.execute(f"create table {table} ({typed})")
            rows = [[None if value == "" else value for value in row] for row in tables[table]]
            marks = ",".join("?" * len(names))
            database.executemany(f"insert into {table} values ({marks})", rows)
        database.commit()
    return file


def test_zip_is_the_same_as_the_folder(tiny_area: Path, tmp_path: Path) -> None:
    packed = tmp_path / "area.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        for file in sorted(tiny_area.rglob("*.*")):
            archive.write(file, Path("ZZ001") / file.relative_to(tiny_area))
    one, other = read_soil_survey([tiny_area]), read_soil_survey([packed])
    assert_same_tables(one, other)
    assert_frame_equal(pd.DataFrame(one.soil_units), pd.DataFrame(other.soil_units))


def test_sqlite(tiny_area: Path, tmp_path: Path, tiny: Make, columns: Make) -> None:
    file = _write_sqlite(tmp_path / "survey.sqlite", tiny(), columns)
    assert_same_tables(read_soil_survey([tiny_area]), read_soil_survey([file]))


def test_geopackage_with_polygons(
    tiny_area: Path, tmp_path: Path, tiny: Make, columns: Make
) -> None:
    file = tmp_path / "survey.gpkg"
    shapes = gpd.read_file(tiny_area / "spatial" / "soilmu_a_zz001.shp")
    shapes.to_file(file, layer="mupolygon")
    _write_sqlite(file, tiny(), columns)
    one, other = read_soil_survey([tiny_area]), read_soil_survey([file])
    assert_same_tables(one, other)
    assert other.soil_units is not None
    assert other.soil_units["mukey"].tolist() == ["10"]
    assert other.soil_units.crs == shapes.crs


def _write_geodatabase(
    file: Path, makes: list[Make], shapes: gpd.GeoDataFrame, names: dict[str, Any]
) -> Path:
    """A geodatabase as a whole state has it: the tables of several areas, and all their shapes."""
    merged: dict[str, list[object]] = {}
    for tables in makes:
        for table, rows in tables.items():
            merged.setdefault(table, []).extend(rows)
    shapes = shapes.drop(columns="SPATIALVER")
    shapes.to_file(file, layer="MUPOLYGON", driver="OpenFileGDB")
    for table, rows in merged.items():
        frame = pd.DataFrame(rows, columns=names[table], dtype=object).astype("string")
        pyogrio.write_dataframe(frame, file, layer=table, driver="OpenFileGDB", append=True)
    return file


def test_geodatabase_of_a_state_is_cut_to_the_county(
    tiny_area: Path, tmp_path: Path, tiny: Make, columns: dict[str, Any]
) -> None:
    own = gpd.read_file(tiny_area / "spatial" / "soilmu_a_zz001.shp")
    far = own.assign(MUKEY="20", geometry=own.geometry.translate(3.0))
    state = pd.concat([own, far], ignore_index=True)
    file = _write_geodatabase(tmp_path / "state.gdb", [tiny(), tiny("2", "ZZ002")], state, columns)
    west, south, east, north = own.to_crs(4326).total_bounds
    one = read_soil_survey([tiny_area])
    cut = read_soil_survey([file], box=(west, south, east, north))
    assert cut.soil_units is not None
    assert cut.soil_units["mukey"].tolist() == ["10"]
    assert_same_tables(one, cut)
    assert cut.defects.loc[cut.defects["check"] == "cut to the county", "value"].tolist() == [
        "1 of 2 polygons"
    ]
    whole = read_soil_survey([file])
    assert sorted(whole.soil_components["mukey"].unique()) == ["10", "20"]
    packed = tmp_path / "state.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        for part in sorted(file.iterdir()):
            archive.write(part, Path("S") / file.name / part.name)
    assert_same_tables(whole, read_soil_survey([packed]))


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
def test_csv_folder(tiny_area: Path, tmp_path: Path, put_csv: Make, sign: str) -> None:
    folder = put_csv(tmp_path / "csv", sign=sign)
    assert_same_tables(read_soil_survey([tiny_area]), read_soil_survey([folder]))


@pytest.mark.parametrize("with_metadata", [False, True])
def test_kept_replies(
    tiny_area: Path, tmp_path: Path, tiny: Make, columns: Make, with_metadata: bool
) -> None:
    files = []
    for table, rows in tiny().items():
        body: list[list[object]] = [columns[table]]
        if with_metadata:
            body.append([f"ColumnOrdinal={n},ColumnSize=10" for n in range(len(columns[table]))])
        body += [[None if value == "" else str(value) for value in row] for row in rows]
        files.append(tmp_path / f"{table}.json")
        files[-1].write_text(json.dumps({"Table": body} if rows else {}))
    assert_same_tables(read_soil_survey([tiny_area]), read_soil_survey(files))


def test_one_reply_may_join_tables(tmp_path: Path) -> None:
    names = ["mukey", "muname", "areasymbol", "cokey", "comppct_r", "chkey", "hzdept_r", "hzdepb_r",
             "ksat_r"]  # fmt: skip
    rows = [
        ["10", "Able loam", "ZZ001", "101", "85", "111", "0", "20", "9"],
        ["10", "Able loam", "ZZ001", "101", "85", "112", "20", "90", "9"],
        ["10", "Able loam", "ZZ001", "102", "15", None, None, None, None],
    ]
    file = tmp_path / "query.json"
    file.write_text(json.dumps({"Table": [names, *rows]}))
    survey = read_soil_survey([file])
    assert survey.soil_mapunits[["mukey", "area_symbol"]].to_numpy().tolist() == [["10", "ZZ001"]]
    assert survey.soil_components["comppct"].tolist() == [85, 15]
    assert survey.soil_horizons["bottom_cm"].tolist() == [20, 90]
    absent = survey.defects[survey.defects["check"] == "table absent"]
    assert {"corestrictions", "comonth", "cosoilmoist"} <= set(absent["value"])
    assert survey.soil_components["gaps"].str.contains("corestrictions").all()


class TestReplies:
    """Forms of the answer of the government's soil data web service (POST, Tabular)."""

    def test_metadata_row_changes_nothing(self) -> None:
        plain = '{"Table": [["mukey", "comppct_r"], ["1", "85"]]}'
        marked = (
            '{"Table": [["mukey", "comppct_r"], ["ColumnOrdinal=0,ColumnSize=30", '
            '"ColumnOrdinal=1,ColumnSize=2"], ["1", "85"]]}'
        )
        assert_frame_equal(parse_reply(plain), parse_reply(marked))

    def test_empty(self) -> None:
        assert parse_reply("{}").empty
        assert parse_reply("{}", columns=["mukey"]).columns.tolist() == ["mukey"]

    def test_without_names_they_must_be_given(self) -> None:
        body = '{"Table": [["565248", "BoA"]]}'
        assert parse_reply(body, columns=["mukey", "musym"]).loc[0, "musym"] == "BoA"
        with pytest.raises(SourceFormatError, match=r"no column names.*JSON\+COLUMNNAME"):
            parse_reply(body)

    def test_service_exception(self) -> None:
        page = (
            '<?xml version="1.0"?><ServiceExceptionReport><ServiceException code="x">'
            "Invalid query: no table named componen.</ServiceException></ServiceExceptionReport>"
        )
        with pytest.raises(SourceFormatError, match="Invalid query: no table named componen"):
            parse_reply(page)

    def test_maintenance_page(self) -> None:
        with pytest.raises(SourceFormatError, match=r"down for maintenance.*try again"):
            parse_reply("<html><body>Service is down for maintenance</body></html>")

    @pytest.mark.parametrize("body", ["[1, 2]", '{"Table": "no"}', '{"Table": [["mukey"], []]}'])
    def test_other_json(self, body: str) -> None:
        with pytest.raises(SourceFormatError):
            parse_reply(body)


class TestEmptyAndStrangeFiles:
    def test_template_without_a_row_is_skipped(
        self, tiny_area: Path, tmp_path: Path, columns: Make
    ) -> None:
        nothing = {table: [] for table in columns}
        made = _write_sqlite(tmp_path / "template.sqlite", nothing, columns)
        zero = tmp_path / "zero.sqlite"
        zero.touch()
        survey = read_soil_survey([made, zero, tiny_area])
        assert_same_tables(survey, read_soil_survey([tiny_area]))
        found = survey.defects[survey.defects["check"] == "store empty"]
        assert found["row"].tolist() == ["template.sqlite", "zero.sqlite"]
        assert set(found["action"]) == {"store skipped"}

    def test_template_beside_the_text_tables(self, tiny_area: Path, faults: Make) -> None:
        (tiny_area / "template.sqlite").touch()
        survey = read_soil_survey([tiny_area])
        assert len(survey.soil_components) == 2
        assert faults(survey.defects)["check"].tolist() == ["store beside text tables"]

    def test_not_sqlite(self, tmp_path: Path) -> None:
        file = tmp_path / "survey.sqlite"
        file.write_bytes(b"this is not a database, but it is long enough to be looked at" * 20)
        with pytest.raises(SourceFormatError, match="cannot be read as SQLite"):
            read_soil_survey([file])

    def test_table_that_cannot_be_told(self, tmp_path: Path) -> None:
        file = tmp_path / "list.csv"
        file.write_text("a,b\n1,2\n")
        with pytest.raises(SourceFormatError, match="neither its name nor its columns"):
            read_soil_survey([file])

    def test_csv_row_of_wrong_width(self, tmp_path: Path, put_csv: Make) -> None:
        folder = put_csv(tmp_path / "csv")
        file = folder / "component.csv"
        head, first, second = file.read_text(encoding="utf-8").splitlines()
        file.write_text(f"{head}\n{first}\n{second},8\n{second}\n", encoding="utf-8")
        survey = read_soil_survey([folder])
        assert survey.soil_components["cokey"].tolist() == ["101", "102"]
        found = survey.defects[survey.defects["check"] == "number of fields"]
        assert found["row"].tolist() == ["csv/component.csv line 3"]
        assert found["value"].tolist() == ["18 fields"]
