"""The known traps of the tabular export, on a small export made here."""

from __future__ import annotations

import os
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import shapely
from pyproj import CRS

from data_pipelines.soil_survey import finding, read_soil_survey, stores
from riskmap.contract.check import require
from riskmap.contract.errors import CrsError, SourceFormatError, SourceMissingError
from riskmap.contract.layers import LAYERS

WGS84 = CRS("EPSG:4326")
Make = Callable[..., Any]


def _mentions(defects: pd.DataFrame, check: str) -> pd.DataFrame:
    return defects[defects["check"] == check]


def test_a_whole_area_keeps_the_contract(tiny_area: Path, faults: Make) -> None:
    survey = read_soil_survey([tiny_area])
    for name, layer in LAYERS.items():
        if name.startswith("soil_"):
            require(getattr(survey, name), layer, crs=WGS84)
    assert faults(survey.defects).empty


class TestTrap1NamesComeFromTheExportItself:
    @pytest.mark.parametrize(
        "names", [("mdstattabs", "mdstattabcols"), ("MetadataTable", "MetadataColumnLookup")]
    )
    def test_long_names_of_the_metadata(
        self, tmp_path: Path, tiny: Make, put_tables: Make, names: tuple[str, str]
    ) -> None:
        put_tables(tmp_path, tiny(), names=names)
        assert read_soil_survey([tmp_path]).soil_mapunits["musym"].tolist() == ["Aa"]

    def test_file_stems_are_read_not_known(
        self, tmp_path: Path, tiny: Make, put_tables: Make
    ) -> None:
        put_tables(tmp_path, tiny(), stems={"component": "other", "chorizon": "layers"})
        survey = read_soil_survey([tmp_path])
        assert survey.soil_components["compname"].tolist() == ["Able", "Unnamed"]

    def test_without_metadata_the_error_names_the_cure(
        self, tmp_path: Path, tiny: Make, put_tables: Make
    ) -> None:
        put_tables(tmp_path, tiny())
        (tmp_path / "mstabcol.txt").unlink()
        with pytest.raises(SourceFormatError, match=r"mstabcol.*download the survey area again"):
            read_soil_survey([tmp_path])

    def test_tables_of_another_export_are_refused(
        self, tmp_path: Path, tiny: Make, put_tables: Make
    ) -> None:
        put_tables(tmp_path, tiny())
        (tmp_path / "comp.txt").write_text('"one"|"two"\n')
        with pytest.raises(SourceFormatError, match="rows have 2 fields, the metadata names 17"):
            read_soil_survey([tmp_path])

    def test_a_header_row_is_not_data(self, tmp_path: Path, tiny: Make, put_tables: Make) -> None:
        tables = tiny()
        tables["legend"].insert(0, ["areasymbol", "areaname", "lkey"])
        put_tables(tmp_path, tables)
        assert read_soil_survey([tmp_path]).soil_mapunits["area_symbol"].tolist() == ["ZZ001"]


class TestTrap2ZeroByteTables:
    def test_are_normal(self, tmp_path: Path, tiny: Make, put_tables: Make, faults: Make) -> None:
        put_tables(tmp_path, tiny())
        assert (tmp_path / "crstrcts.txt").stat().st_size == 0
        survey = read_soil_survey([tmp_path])
        assert survey.soil_restrictions.empty
        assert faults(survey.defects).empty

    def test_are_reported_where_a_survey_needs_rows(
        self, tmp_path: Path, tiny: Make, put_tables: Make
    ) -> None:
        put_tables(tmp_path, tiny() | {"chorizon": []})
        survey = read_soil_survey([tmp_path])
        assert _mentions(survey.defects, "table empty")["value"].tolist() == ["chorizon"]
        assert _mentions(survey.defects, "no horizons")["value"].tolist() == ["2 of 2"]

    def test_no_components_at_all_is_an_error(
        self, tmp_path: Path, tiny: Make, put_tables: Make
    ) -> None:
        put_tables(tmp_path, tiny() | {"component": []})
        with pytest.raises(SourceFormatError, match="no soil components"):
            read_soil_survey([tmp_path])


class TestTrap3QuotesAreDoubled:
    def test_quotes_and_line_breaks_inside_a_field(self, tiny_area: Path) -> None:
        name = read_soil_survey([tiny_area]).soil_mapunits.loc[0, "muname"]
        assert name == 'Able "upland" loam, 3 to 8\npercent slopes'

    def test_a_damaged_row_is_left_out_and_reported(
        self, tmp_path: Path, tiny: Make, put_tables: Make
    ) -> None:
        tables = tiny()
        tables["chorizon"].append(["cut", "short", "77"])
        put_tables(tmp_path, tables)
        survey = read_soil_survey([tmp_path])
        assert len(survey.soil_horizons) == 2
        found = _mentions(survey.defects, "number of fields")
        assert found["row"].str.endswith("chorizon.txt line 3").tolist() == [True]
        assert found["value"].tolist() == ["3 fields"]

    def test_other_encodings_are_read_and_reported(self, tiny_area: Path) -> None:
        file = tiny_area / "tabular" / "legend.txt"
        file.write_bytes('"ZZ001"|"Cañada"|"19"\n'.encode("cp1252"))
        defects = read_soil_survey([tiny_area]).defects
        assert _mentions(defects, "not UTF-8")["row"].tolist() == ["tabular/legend.txt"]


class TestTrap4BlanksBehindFlagsAndTextKeys:
    def test_flag_with_a_trailing_blank(self, tiny_area: Path) -> None:
        file = tiny_area / "tabular" / "comp.txt"
        assert '"No "' in file.read_text()
        assert read_soil_survey([tiny_area]).soil_components["major"].tolist() == [True, False]

    def test_an_unknown_flag_is_reported(
        self, tmp_path: Path, tiny: Make, put_tables: Make
    ) -> None:
        tables = tiny()
        tables["component"][0][3] = "perhaps"
        put_tables(tmp_path, tables)
        survey = read_soil_survey([tmp_path])
        assert survey.soil_components["major"].isna().tolist() == [True, False]
        assert _mentions(survey.defects, "unknown value")["value"].tolist() == ["perhaps"]

    def test_keys_are_text_whatever_the_shapefile_says(
        self, tmp_path: Path, tiny: Make, put_tables: Make, put_shapefile: Make
    ) -> None:
        put_tables(tmp_path / "tabular", tiny())
        put_shapefile(tmp_path / "spatial", mukeys=(10,))  # a number, as after an edit in a GIS
        survey = read_soil_survey([tmp_path])
        assert survey.soil_units is not None
        assert survey.soil_units["mukey"].tolist() == ["10"]
        assert survey.soil_units["mukey"].isin(survey.soil_components["mukey"]).all()


class TestTrap5OnlyLimitingFactorsAreStored:
    def test_interpretations_of_other_uses_are_left_out(self, tiny_area: Path) -> None:
        table = read_soil_survey([tiny_area]).soil_interpretations
        assert table[["cokey", "rule_depth", "rating", "class"]].to_numpy().tolist() == [
            ["101", 0.0, 0.633, "somewhat limited"]
        ]

    def test_no_row_means_not_rated_not_zero(self, tiny_area: Path) -> None:
        survey = read_soil_survey([tiny_area])
        published = survey.soil_interpretations.set_index("cokey")["rating"]
        assert published.reindex(survey.soil_components["cokey"]).isna().tolist() == [False, True]


class TestTrap6ShapesMissingOrBroken:
    def test_missing_shp(self, tiny_area: Path) -> None:
        (tiny_area / "spatial" / "soilmu_a_zz001.shp").unlink()
        with pytest.raises(SourceMissingError, match=r"soilmu_a_zz001 .* no \.shp.*download"):
            read_soil_survey([tiny_area])

    def test_missing_prj_is_never_guessed(self, tiny_area: Path) -> None:
        (tiny_area / "spatial" / "soilmu_a_zz001.prj").unlink()
        with pytest.raises(CrsError, match=r"no \.prj"):
            read_soil_survey([tiny_area])

    def test_the_prj_decides(
        self, tmp_path: Path, tiny: Make, put_tables: Make, put_shapefile: Make
    ) -> None:
        put_tables(tmp_path, tiny())
        put_shapefile(tmp_path, shapes=[shapely.box(5e5, 4e6, 6e5, 4.1e6)], crs="EPSG:26915")
        survey = read_soil_survey([tmp_path])
        assert survey.soil_units is not None
        assert survey.soil_units.crs == CRS("EPSG:26915")

    def test_damaged_shapefile(self, tiny_area: Path) -> None:
        (tiny_area / "spatial" / "soilmu_a_zz001.shp").write_bytes(b"not a shapefile")
        with pytest.raises(SourceFormatError, match="does not begin like a part"):
            read_soil_survey([tiny_area])

    def test_tables_alone_are_enough(self, tiny_area: Path) -> None:
        survey = read_soil_survey([tiny_area / "tabular"])
        assert survey.soil_units is None
        assert len(survey.soil_components) == 2

    def test_an_invalid_polygon_is_repaired_and_reported(
        self, tmp_path: Path, tiny: Make, put_tables: Make, put_shapefile: Make
    ) -> None:
        # A bow tie of two triangles, each 1/2 x 1 x 1/2 = 1/4: the repaired area is 1/2.
        bow = shapely.Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
        put_tables(tmp_path, tiny())
        put_shapefile(tmp_path, shapes=[bow])
        survey = read_soil_survey([tmp_path])
        assert survey.soil_units is not None
        assert survey.soil_units.geometry.is_valid.all()
        assert shapely.area(survey.soil_units.geometry.to_numpy()).sum() == pytest.approx(0.5)
        found = _mentions(survey.defects, "shape invalid")
        assert found["row"].tolist() == ["10 (polygon 0)"]
        assert found["action"].tolist() == ["repaired"]

    def test_polygons_without_tables_are_kept_and_reported(
        self, tmp_path: Path, tiny: Make, put_tables: Make, put_shapefile: Make
    ) -> None:
        put_tables(tmp_path, tiny())
        put_shapefile(tmp_path, mukeys=("10", "77"))
        survey = read_soil_survey([tmp_path])
        assert survey.soil_units is not None
        assert survey.soil_units["mukey"].tolist() == ["10", "77"]
        assert _mentions(survey.defects, "no components")["row"].tolist() == ["77"]


def test_paths_that_cannot_be_a_survey(tmp_path: Path) -> None:
    with pytest.raises(SourceMissingError, match="is not there"):
        read_soil_survey([tmp_path / "nowhere"])
    with pytest.raises(SourceFormatError, match="holds no soil survey"):
        read_soil_survey([tmp_path])
    (tmp_path / "survey.doc").write_text("x")
    with pytest.raises(SourceFormatError, match="no known form"):
        read_soil_survey([tmp_path / "survey.doc"])
    (tmp_path / "survey.zip").write_bytes(b"PK cut off")
    with pytest.raises(SourceFormatError, match="not a whole zip"):
        read_soil_survey([tmp_path / "survey.zip"])


class TestTrap7FilesThatWereCutOrChanged:
    @pytest.mark.parametrize("name", ["mstab", "mstabcol"])
    @pytest.mark.parametrize("table", ["corestrictions", "cosoilmoist", "chorizon"])
    def test_a_list_that_lacks_a_table_is_an_error(
        self, tiny_area: Path, name: str, table: str
    ) -> None:
        file = tiny_area / "tabular" / f"{name}.txt"
        lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
        file.write_text("".join(line for line in lines if f'"{table}"' not in line.split("|")[0]))
        with pytest.raises(SourceFormatError, match=rf"lacks {table}.*[Dd]ownload the survey"):
            read_soil_survey([tiny_area])

    @pytest.mark.parametrize("name", ["csmoist.txt", "crstrcts.txt", "chorizon.txt"])
    def test_a_table_cut_inside_a_row_is_an_error(self, tiny_area: Path, name: str) -> None:
        file = tiny_area / "tabular" / name
        text = file.read_text(encoding="utf-8") or '"Fragipan"|""|50|80|"101"|"1r"\n'
        file.write_text(text + text[: len(text) // 3], encoding="utf-8")
        with pytest.raises(SourceFormatError, match=rf"{name}: ends in the middle of line"):
            read_soil_survey([tiny_area])

    def test_an_open_quote_costs_its_own_row_only(self, tiny_area: Path) -> None:
        file = tiny_area / "tabular" / "chorizon.txt"
        file.write_text('"E|' + file.read_text(encoding="utf-8"), encoding="utf-8")
        survey = read_soil_survey([tiny_area])
        assert survey.soil_horizons["name"].tolist() == ["Ap"]
        found = _mentions(survey.defects, "number of fields")
        assert found["row"].tolist() == ["tabular/chorizon.txt line 1"]

    def test_a_row_with_a_field_too_many_is_not_shifted(self, tiny_area: Path) -> None:
        file = tiny_area / "tabular" / "chorizon.txt"
        first, second = file.read_text(encoding="utf-8").splitlines()
        file.write_text(f"{first}\n7|{second}\n", encoding="utf-8")
        survey = read_soil_survey([tiny_area])
        assert survey.soil_horizons["ksat_um_s"].tolist() == [9.17]
        assert len(_mentions(survey.defects, "number of fields")) == 1

    def test_a_field_of_any_length(self, tiny_area: Path) -> None:
        file = tiny_area / "tabular" / "comp.txt"
        text = file.read_text(encoding="utf-8")
        file.write_text(text.replace("Unnamed", "x" * 200_000), encoding="utf-8")
        survey = read_soil_survey([tiny_area])
        assert survey.soil_components["compname"].tolist() == ["Able"]
        found = _mentions(survey.defects, "number of fields")
        assert found["row"].tolist() == ["tabular/comp.txt line 2"]

    @pytest.mark.parametrize("suffix", [".prj", ".shp", ".dbf", ".shx"])
    def test_damaged_parts_of_the_shapefile(self, tiny_area: Path, suffix: str) -> None:
        file = next((tiny_area / "spatial").glob(f"*{suffix}"))
        file.write_bytes(b"<html>Service unavailable</html>")
        with pytest.raises((SourceFormatError, CrsError), match=r"[Dd]ownload|\.prj"):
            read_soil_survey([tiny_area])

    def test_places_off_the_globe_are_left_out(
        self, tmp_path: Path, tiny: Make, put_tables: Make, put_shapefile: Make
    ) -> None:
        put_tables(tmp_path, tiny())
        shapes = [shapely.box(-90, 34, -89, 35), shapely.box(-90, 34, -89, 4e9)]
        put_shapefile(tmp_path, mukeys=("10", "10"), shapes=shapes)
        survey = read_soil_survey([tmp_path])
        assert survey.soil_units is not None
        assert len(survey.soil_units) == 1
        assert _mentions(survey.defects, "impossible place")["row"].tolist() == ["1"]

    def test_latin_letters_in_the_table_of_shapes(
        self, tmp_path: Path, tiny: Make, put_tables: Make, put_shapefile: Make
    ) -> None:
        put_tables(tmp_path, tiny())
        file = put_shapefile(tmp_path).with_suffix(".dbf")
        file.write_bytes(file.read_bytes().replace(b"Aa", "Ñ ".encode("latin-1")))
        survey = read_soil_survey([tmp_path])
        assert survey.soil_units is not None
        assert survey.soil_units["musym"].tolist() == ["Ñ"]
        assert len(_mentions(survey.defects, "not_utf8")) == 1


class TestTrap8NoEnd:
    def test_archives_inside_archives(self, tiny_area: Path, tmp_path: Path) -> None:
        inner = tmp_path / "0.zip"
        with zipfile.ZipFile(inner, "w") as archive:
            for file in tiny_area.rglob("*.txt"):
                archive.write(file, file.name)
        assert len(read_soil_survey([inner]).soil_components) == 2
        for depth in range(1, 4):
            outer = tmp_path / f"{depth}.zip"
            with zipfile.ZipFile(outer, "w") as archive:
                archive.write(inner, inner.name)
            inner = outer
        with pytest.raises(SourceFormatError, match="lies 3 archives deep"):
            read_soil_survey([inner])

    def test_more_survey_areas_than_a_county_has(self, tmp_path: Path) -> None:
        for number in range(101):
            folder = tmp_path / f"{number}"
            folder.mkdir()
            (folder / "mstab.txt").touch()
        with pytest.raises(SourceFormatError, match="more than 100 survey areas"):
            read_soil_survey([tmp_path])

    def test_an_archive_that_would_fill_the_disk(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(finding, "MOST_UNPACKED_BYTES", 1000)
        with zipfile.ZipFile(tmp_path / "a.zip", "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("comp.txt", b"0" * 2000)
        with pytest.raises(SourceFormatError, match="would unpack to"):
            read_soil_survey([tmp_path / "a.zip"])

    def test_a_pipe_is_no_file(self, tmp_path: Path) -> None:
        os.mkfifo(tmp_path / "survey.zip")
        with pytest.raises(SourceFormatError, match="is no file"):
            read_soil_survey([tmp_path / "survey.zip"])

    def test_a_view_without_end(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(stores, "MOST_QUERY_S", 0.2)
        file = tmp_path / "survey.sqlite"
        with closing(sqlite3.connect(file)) as database:
            database.execute(
                "create view component as with recursive n(cokey) as "
                "(select 1 union all select cokey + 1 from n) select * from n where cokey < 0"
            )
        with pytest.raises(SourceFormatError, match="interrupted"):
            read_soil_survey([file])
