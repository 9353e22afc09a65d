from __future__ import annotations

import csv
import datetime
import io
import time
from pathlib import Path
from typing import Any

import geopandas as gpd
import openpyxl
import pandas as pd
import pytest

from riskmap.action.inspections import ALWAYS
from riskmap.contract.visits import FOUND_WORDS
from riskmap.publish.lists.inspection_list import write_inspection_list
from riskmap.publish.lists.list_columns import inspection_columns, list_table, visit_results
from riskmap.publish.palette import CLASS_COLORS
from riskmap.publish.words.chance_words import chance_words
from riskmap.publish.words.imprint import Imprint
from riskmap.publish.words.text_safety import csv_text


def _write(folder: Path, ranked: pd.DataFrame, **options: object) -> Path:
    day = datetime.date(2025, 6, 30)
    imprint = Imprint("Example County", day, options.pop("units", "us"))  # type: ignore[arg-type]
    given = {"length": 5000, "share": 0.2} | options
    write_inspection_list(folder, ranked, imprint, **given)  # type: ignore[arg-type]
    return folder / "lists"


def _rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8"), newline="")))


class TestCsv:
    def test_every_ranked_parcel_in_order_and_no_other(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame
    ) -> None:
        rows = _rows(_write(tmp_path, ranked) / "inspections.csv")
        want = ranked[ranked["rank"].notna()].sort_values("rank")
        assert [row["parcel_id"] for row in rows] == list(want.index)
        assert [int(row["rank"]) for row in rows] == list(range(1, len(want) + 1))
        assert [row["reason_1"] for row in rows] == list(want["reason_1"])

    @pytest.mark.parametrize("length", [1, 7])
    def test_each_list_ends_at_its_length(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame, length: int
    ) -> None:
        whole = _rows(_write(tmp_path / "all", ranked) / "inspections.csv")
        rows = _rows(_write(tmp_path / "few", ranked, length=length) / "inspections.csv")
        assert rows == [row for row in whole if int(row["list_rank"]) <= length]

    @pytest.mark.parametrize(("units", "name", "meters"), [("us", "ft", 0.3048), ("si", "m", 1.0)])
    def test_lengths_are_in_the_regions_units_and_say_so(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame, units: str, name: str, meters: float
    ) -> None:
        rows = _rows(_write(tmp_path, ranked, units=units) / "inspections.csv")
        first = rows[0]
        want = ranked.loc[first["parcel_id"], "well_distance_m"] / meters
        assert float(first[f"well_distance_{name}"]) == pytest.approx(want, rel=0.006, abs=0.6)

    def test_no_owner_unless_asked(self, tmp_path: Path, ranked: gpd.GeoDataFrame) -> None:
        table = ranked.assign(owner="=Somebody")
        plain = _write(tmp_path / "a", table)
        asked = list_table(table, units="us", owner_columns=("owner",))
        assert b"Somebody" not in (plain / "inspections.csv").read_bytes()
        assert asked["owner"].eq("=Somebody").all()
        assert csv_text(asked[["owner"]]).splitlines()[1] == "'=Somebody"

    def test_unknown_service_goes_to_its_own_list(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame
    ) -> None:
        unknown = ranked["service"].eq("unknown")
        table = ranked.assign(apart_rank=pd.Series(pd.NA, index=ranked.index, dtype="Int64"))
        table.loc[unknown, "apart_rank"] = range(int(unknown.sum()), 0, -1)
        place = _write(tmp_path, table)
        rows = _rows(place / "service_unknown.csv")
        assert {row["parcel_id"] for row in rows} == set(ranked.index[unknown])
        assert [int(row["rank"]) for row in rows] == list(range(1, len(rows) + 1))
        book = openpyxl.load_workbook(place / "inspections.xlsx")
        assert book.sheetnames == ["To find", "On file", "Service unknown", "Notes"]

    def test_an_empty_county_gives_an_empty_list(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame
    ) -> None:
        none = ranked[ranked["rank"].isna()]
        assert _rows(_write(tmp_path, none) / "inspections.csv") == []

    def test_doubt_state_and_what_to_look_for(self, tmp_path: Path, full: Any) -> None:
        rows = _rows(_write(tmp_path, full.ranked) / "inspections.csv")
        table = full.ranked
        assert len(rows) == table["rank"].notna().sum()
        for row in rows[:40]:
            want = table.loc[row["parcel_id"]]
            assert float(row["priority_low"]) == pytest.approx(want["priority_low"], abs=0.51)
            assert float(row["rank_high"]) == pytest.approx(want["rank_high"], rel=0.051)
            assert float(row["top_chance_pct"]) == pytest.approx(100 * want["top_chance"], abs=0.51)
            assert row["stage"] == want["stage"]
            assert row["stage_evidence"] == want["stage_evidence"]
            complaint = "What the complaint on record was about" in row["look_for"]
            assert complaint == (want["complaints"] >= 1)
            assert not any(words in row["look_for"] for words in ALWAYS)


class TestWorkbook:
    def test_ranges_read_as_text_and_the_chance_names_its_list(
        self, tmp_path: Path, full: Any
    ) -> None:
        book = openpyxl.load_workbook(
            _write(tmp_path, full.ranked, length=200) / "inspections.xlsx"
        )
        sheet = book["To find"]
        titles = [cell.value for cell in sheet[1]]
        assert {"Look for", "Likely state", "Chance, first 200 (%)"} <= set(titles)
        assert {"Priority, low", "Rank, last", "Failed today (%)"}.isdisjoint(titles)
        first = full.ranked[full.ranked["worklist"] == "to find"].sort_values("rank").iloc[0]
        cells = dict(zip(titles, [cell.value for cell in sheet[2]], strict=True))
        assert cells["Parcel"] == first.name
        assert cells["Chance that it has failed"].startswith(
            chance_words(first["chance_failed_frac"])
        )
        notes = " ".join(str(c.value) for row in book["Notes"].iter_rows() for c in row)
        assert "nine in ten" in notes
        assert "if nothing was repaired off the record" in notes
        assert ALWAYS[0] in notes

    @pytest.fixture
    def path(self, tmp_path: Path, ranked: gpd.GeoDataFrame) -> Path:
        return _write(tmp_path, ranked, length=200) / "inspections.xlsx"

    def test_is_made_to_be_worked_in(self, path: Path) -> None:
        sheet = openpyxl.load_workbook(path)["To find"]
        titles = [cell.value for cell in sheet[1]]
        assert titles[:3] == ["List", "Place", "Parcel"]
        results = visit_results("us")
        assert titles[-len(results) :] == [result.title for result in results]
        assert "Nearest drinking well (ft)" in titles
        assert sheet.freeze_panes == "D2"
        assert sheet.auto_filter.ref.startswith("A1:")
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.page_setup.fitToWidth == 2  # the first three columns on both
        assert sheet.page_setup.fitToHeight == 0  # as many long as it takes
        assert sheet.print_title_cols == "$A:$C"
        assert sheet.print_title_rows == "$1:$1"
        assert sheet.max_row == 201
        place = titles.index("Class") + 1
        fill = sheet.cell(2, place).fill.fgColor.rgb[-6:].lower()
        assert f"#{fill}" == CLASS_COLORS[sheet.cell(2, place).value]

    def test_rows_are_as_tall_as_their_texts(self, path: Path) -> None:
        # A text of n letters cannot stand in fewer lines than n over the letters of a line; a
        # column's width counts digits of 11 points (common practice), texts are of 10 points and
        # at most a fifth narrower. A line of 10 points takes 12.75 points (common practice).
        sheet = openpyxl.load_workbook(path)["To find"]
        widths = {
            place: group.width
            for group in sheet.column_dimensions.values()
            for place in range(group.min, group.max + 1)
        }
        tallest = 0
        for row in sheet.iter_rows(min_row=2):
            least = 1
            for cell in row:
                if cell.alignment.wrap_text and cell.value:
                    letters = int(1.2 * widths[cell.column])
                    least = max(least, -(-len(cell.value) // letters))
            height = sheet.row_dimensions[row[0].row].height
            assert (height or 12.75) >= 12.75 * least
            tallest = max(tallest, least)
        assert tallest > 1
        assert sheet.row_dimensions[1].height >= 2 * 12.75

    def test_texts_keep_off_the_numbers_beside_them(self, path: Path) -> None:
        sheet = openpyxl.load_workbook(path)["To find"]
        for cell in sheet[2]:
            if isinstance(cell.value, str):
                assert (cell.alignment.horizontal, cell.alignment.indent) == ("left", 1)

    def test_results_have_drop_downs(self, path: Path) -> None:
        sheet = openpyxl.load_workbook(path)["To find"]
        lists = {
            rule.formula1 for rule in sheet.data_validations.dataValidation if rule.type == "list"
        }
        assert f'"{",".join(FOUND_WORDS)}"' in lists
        assert lists == {
            f'"{",".join(result.choices)}"' for result in visit_results("us") if result.choices
        }
        covered = next(iter(sheet.data_validations.dataValidation[0].sqref.ranges))
        assert (covered.min_row, covered.max_row) == (2, 201)

    def test_notes_explain_every_column(self, path: Path) -> None:
        notes = openpyxl.load_workbook(path)["Notes"]
        words = {row[0].value for row in notes.iter_rows()}
        sheet = openpyxl.load_workbook(path)["To find"]
        assert {cell.value for cell in sheet[1]} <= words
        text = " ".join(str(cell.value) for row in notes.iter_rows() for cell in row)
        assert "Only a site visit" in text
        assert "200 of" in text

    def test_text_never_runs(self, tmp_path: Path, ranked: gpd.GeoDataFrame) -> None:
        table = ranked.copy()
        table["address"] = "=1+1"
        sheet = openpyxl.load_workbook(_write(tmp_path, table) / "inspections.xlsx")["To find"]
        assert sheet["D2"].value == "'=1+1"
        assert all(cell.data_type != "f" for row in sheet.iter_rows() for cell in row)

    def test_same_bytes_twice(self, tmp_path: Path, ranked: gpd.GeoDataFrame) -> None:
        first = (_write(tmp_path / "a", ranked) / "inspections.xlsx").read_bytes()
        time.sleep(2.1)  # zip time stamps count in steps of two seconds
        assert (_write(tmp_path / "b", ranked) / "inspections.xlsx").read_bytes() == first


class TestColumns:
    def test_columns_are_declared_once(self) -> None:
        names = [column.name for column in inspection_columns()]
        assert len(set(names)) == len(names)

    def test_lists_of_unknowns_are_one_text(self, ranked: gpd.GeoDataFrame) -> None:
        table = ranked.head(2).assign(unknown=[["age", "tank volume"], []])
        assert list_table(table, units="us")["unknown"].tolist() == ["age; tank volume", ""]
