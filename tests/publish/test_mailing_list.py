from __future__ import annotations

import datetime
from pathlib import Path

import geopandas as gpd
import openpyxl
import pandas as pd

from riskmap.action.mailing import addressees, to_write_to
from riskmap.contract.results import MAILING
from riskmap.publish.lists.mailing_list import RESULTS, write_mailing_list
from riskmap.publish.paper.letters import write_letters
from riskmap.publish.words.imprint import Imprint

TODAY = datetime.date(2026, 6, 1)
OURS = Imprint("Nowhere", TODAY)
HOSTILE = ("=1+1", "+1 555", "-2", "@Smith", "\t=A1", '=HYPERLINK("x")', "\u202e=A1")


def people(ranked: gpd.GeoDataFrame, private: pd.DataFrame | None = None) -> pd.DataFrame:
    return addressees(to_write_to(ranked), private)


def with_owners(ranked: gpd.GeoDataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "parcel_id": ranked.index,
            "owner": [f"{HOSTILE[n % len(HOSTILE)]} {n}" for n in range(len(ranked))],
            "mail_address": [f"{n} Elm Street" for n in range(len(ranked))],
            "mail_city": "Sample Falls",
            "mail_state": "NY",
            "mail_zip": "1234",
        }
    )


def test_table_and_workbook_hold_the_same_rows(tmp_path: Path, ranked: gpd.GeoDataFrame) -> None:
    table, book = write_mailing_list(tmp_path, people(ranked), OURS)
    assert [path.relative_to(tmp_path).as_posix() for path in (table, book)] == [
        "lists/mailing.csv",
        "lists/mailing.xlsx",
    ]
    assert table.read_bytes().endswith(b"\r\n")  # RFC 4180
    rows = pd.read_csv(table, dtype=str, keep_default_na=False)
    assert list(rows.columns) == MAILING.column_names
    page = openpyxl.load_workbook(book)["Mailing"]
    names = [cell.value for cell in page["B"][1:]]
    assert names == rows["name"].tolist()
    assert page.max_column == len(MAILING.columns) + len(RESULTS)


def test_rows_are_those_of_the_letters(tmp_path: Path, ranked: gpd.GeoDataFrame) -> None:
    private = with_owners(ranked)
    table, _ = write_mailing_list(tmp_path, people(ranked, private), OURS)
    merge = write_letters(tmp_path, people(ranked, private), OURS, most=1)[0]
    left, right = (pd.read_csv(path, dtype=str, keep_default_na=False) for path in (table, merge))
    assert left["parcel_ids"].tolist() == right["parcel_ids"].tolist()
    assert left["delivery_line"].tolist() == right["address_1"].tolist()


def test_no_name_is_run_as_a_formula(tmp_path: Path, ranked: gpd.GeoDataFrame) -> None:
    # OWASP ASVS 1.2.10: cells that begin with = + - @ tab are run by spreadsheets
    table, book = write_mailing_list(
        tmp_path, people(ranked, with_owners(ranked)), Imprint('=cmd("x")', TODAY)
    )
    rows = pd.read_csv(table, dtype=str, keep_default_na=False)
    assert rows["name"].str.startswith("'").all()
    workbook = openpyxl.load_workbook(book)
    for page in workbook:
        for row in page.iter_rows():
            for cell in row:
                assert cell.data_type != "f"
                assert cell.hyperlink is None
                assert not str(cell.value or "").startswith(("=", "+", "@", "\t"))
    assert rows["last_line"].unique().tolist() == ["SAMPLE FALLS NY  01234"]


def test_workbook_is_made_to_be_worked_in(tmp_path: Path, ranked: gpd.GeoDataFrame) -> None:
    _, book = write_mailing_list(tmp_path, people(ranked), OURS)
    workbook = openpyxl.load_workbook(book)
    page = workbook["Mailing"]
    assert page.freeze_panes == "C2"
    assert page.auto_filter.ref
    assert page.print_title_rows == "$1:$1"
    assert page.page_setup.orientation == "landscape"
    rules = page.data_validations.dataValidation
    assert sorted(rule.type for rule in rules) == ["date", "date", "list", "list", "list"]
    notes = [str(cell.value) for cell in workbook["Notes"]["A"] if cell.value]
    for title in ("Name", "Check first", "Sent on", "Cautions"):
        assert title in notes


def test_same_bytes_and_empty_lists(tmp_path: Path, ranked: gpd.GeoDataFrame) -> None:
    first, second = (write_mailing_list(tmp_path / n, people(ranked), OURS) for n in ("a", "b"))
    for one, other in zip(first, second, strict=True):
        assert one.read_bytes() == other.read_bytes()
    table, book = write_mailing_list(tmp_path / "c", people(ranked).iloc[:0], OURS)
    assert table.read_text(encoding="utf-8").splitlines() == [",".join(MAILING.column_names)]
    assert openpyxl.load_workbook(book)["Mailing"].max_row == 1
