from __future__ import annotations

import datetime
import re
from html.parser import HTMLParser
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest

from riskmap.contract.sources import DEFECT_COLUMNS
from riskmap.publish.front_page import compose_front_page, links_to
from riskmap.publish.lists.data_quality import write_data_quality
from riskmap.publish.summary import class_counts, defect_counts, found_of, service_counts
from riskmap.publish.words.cautions import CAUTIONS
from riskmap.publish.words.imprint import Imprint


class Page(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.tags: list[str] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [value or "" for name, value in attrs if name in {"href", "src"}]

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.words.append(data.strip())


@pytest.fixture
def defects() -> pd.DataFrame:
    rows = [
        ("permits", "duplicate", "", 3, "A1", "first kept"),
        ("permits", "duplicate", "", 4, "A1", "first kept"),
        ("wells", "depth in feet?", "depth_m", 9, "=120", "kept, told"),
    ]
    return pd.DataFrame(rows, columns=list(DEFECT_COLUMNS))


def _page(folder: Path, ranked: pd.DataFrame, defects: pd.DataFrame, county: str) -> Page:
    there = [path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()]
    imprint = Imprint(county, datetime.date(2025, 6, 30))
    return Page(compose_front_page(found_of(ranked, defects), imprint, links=links_to(there)))


class TestPage:
    def test_counts_top_files_and_cautions(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame, defects: pd.DataFrame
    ) -> None:
        for name in ("map/index.html", "lists/inspections.xlsx", "lists/inspections.csv"):
            (tmp_path / name).parent.mkdir(exist_ok=True)
            (tmp_path / name).write_text("x")
        page = _page(tmp_path, ranked, defects, "Example County")
        words = " ".join(page.words)
        for _, count in service_counts(ranked):
            assert f"{count:,}" in page.words
        assert ranked["rank"].astype(float).idxmin() in page.words
        assert "lists/inspections.csv" in page.links
        assert "parcels.gpkg" not in page.links
        for caution in CAUTIONS:
            assert caution in words
        assert all(not link.startswith(("http", "//")) for link in page.links), (
            "the page must not ask a network for anything"
        )

    def test_every_link_leads_to_a_file(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame, defects: pd.DataFrame
    ) -> None:
        (tmp_path / "map").mkdir()
        (tmp_path / "map" / "index.html").write_text("x")
        for link in _page(tmp_path, ranked, defects, "Example County").links:
            if not link.startswith("data:"):
                assert (tmp_path / link.partition("#")[0]).exists()

    def test_text_from_outside_becomes_no_tag(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame, defects: pd.DataFrame
    ) -> None:
        calm = _page(tmp_path, ranked, defects, "Example County")
        nasty = '"><script>hurt()</script>{{ 7*7 }}'
        table = ranked.copy()
        for name in ("address", "reason_1", "unknown"):
            table[name] = nasty
        table.index = pd.Index([f"{nasty}{n}" for n in range(len(table))], name="parcel_id")
        defects = defects.assign(check=nasty)
        page = _page(tmp_path, table, defects, nasty)
        assert page.tags.count("script") == 0
        assert page.tags.count("td") <= calm.tags.count("td")
        assert "49" not in page.words[0]
        assert nasty in page.words

    def test_what_was_kept_of_the_last_result_is_named(self, ranked: gpd.GeoDataFrame) -> None:
        kept = [f"result kept/<{number}>.jpg" for number in range(25)]
        imprint = Imprint("Nowhere", datetime.date(2025, 6, 30))
        page = Page(compose_front_page(found_of(ranked, None), imprint, kept=kept))
        assert kept[0] in page.words
        assert kept[19] in page.words
        assert kept[20] not in page.words
        assert "and 5 more, named in the run record" in page.words

    def test_same_bytes_twice(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame, defects: pd.DataFrame
    ) -> None:
        pages = [_page(tmp_path, ranked, defects, "Example County").words for _ in range(2)]
        assert pages[0] == pages[1]

    def test_a_county_without_ranks_has_a_page(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame, defects: pd.DataFrame
    ) -> None:
        none = ranked[ranked["rank"].isna()]
        page = _page(tmp_path, none, defects.iloc[:0], "Example County")
        assert "No parcel is ranked." in page.words
        assert "No defect was found in the records." in page.words


class TestCounts:
    def test_add_up(self, ranked: gpd.GeoDataFrame) -> None:
        assert sum(count for _, count in service_counts(ranked)) == len(ranked)
        assert sum(e["count"] for e in class_counts(ranked)) == ranked["rank"].notna().sum()

    def test_defects_by_kind(self, defects: pd.DataFrame) -> None:
        assert [row["count"] for row in defect_counts(defects)] == [2, 1]
        raw = defects.assign(layer="well_samples", check="mixed_vertical_datum", action="kept")
        assert defect_counts(raw) == [
            {"layer": "Well samples", "check": "Mixed vertical datum", "action": "Kept", "count": 3}
        ]
        assert defect_counts(None) == []

    def test_quality_table_is_safe_and_whole(self, tmp_path: Path, defects: pd.DataFrame) -> None:
        text = write_data_quality(tmp_path, defects).read_bytes().decode("utf-8")
        assert text.startswith(",".join(DEFECT_COLUMNS) + "\r\n")
        assert re.search(r"'=120", text)
        assert text.count("\r\n") == 4
