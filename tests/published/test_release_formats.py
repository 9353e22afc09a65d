"""Spreadsheet safety, GeoParquet and contrast, held against their published documents."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
import shapely

from riskmap.contract.vocabulary import CLASSES, NOT_RANKED
from riskmap.publish import palette
from riskmap.publish.gis.files import write_gis_files
from riskmap.publish.words.text_safety import csv_text, spreadsheet_text


class TestOwaspCsvInjection:
    """OWASP page on CSV injection (as changed in August 2025); OWASP ASVS 4.0.3, 1.2.10 text.

    A cell whose first character is one of = + - @ tab CR LF NUL gets a single quote in front.
    """

    @pytest.mark.parametrize("first", ["=", "+", "-", "@", "\t", "\r", "\n", "\0"])
    def test_every_listed_first_character(self, first: str) -> None:
        assert spreadsheet_text(f"{first}A1").startswith("'")

    @pytest.mark.parametrize(
        ("text", "want"),
        [
            ("=1+1", "'=1+1"),
            ("-12.5", "'-12.5"),
            ("+1 555 0100", "'+1 555 0100"),
            ("\t=A1", "'=A1"),
            ("@Smith", "'@Smith"),
        ],
    )
    def test_examples(self, text: str, want: str) -> None:
        assert spreadsheet_text(text) == want

    def test_a_negative_number_stays_a_number(self) -> None:
        assert csv_text(pd.DataFrame({"x": [-12.5]})) == "x\r\n-12.5\r\n"


class TestRfc4180:
    """RFC 4180 (Shafranovich 2005), section 2: CRLF, quotes round commas, quotes doubled."""

    def test_rules_five_to_seven(self) -> None:
        text = csv_text(pd.DataFrame({"aaa": ['b"bb'], "bbb": ["c,cc"], "ccc": ["plain"]}))
        assert text == 'aaa,bbb,ccc\r\n"b""bb","c,cc",plain\r\n'

    def test_against_the_standard_librarys_reader(self) -> None:
        cells = ['b"bb', "c,cc", "semi;colon", "Straße", ""]
        text = csv_text(pd.DataFrame([cells]))
        assert list(csv.reader(io.StringIO(text, newline=""), strict=True))[1] == cells


class TestGeoParquet110:
    """GeoParquet 1.1.0 (OGC community standard): file metadata ``geo`` and bbox covering."""

    @pytest.fixture
    def path(self, tmp_path: Path) -> Path:
        cells = shapely.box([0, 20, 40], [0, 0, 0], [10, 30, 50], [10, 10, 10])
        table = gpd.GeoDataFrame(
            {"rank": pd.array([1, 2, None], dtype="Int64")},
            geometry=cells,
            crs=32616,
            index=pd.Index(["a", "b", "c"], name="parcel_id"),
        )
        return write_gis_files(tmp_path, table)[1]

    def test_required_metadata(self, path: Path) -> None:
        about = json.loads(pq.read_metadata(path).metadata[b"geo"])
        assert about["version"] == "1.1.0"
        assert about["primary_column"] == "geometry"
        column = about["columns"]["geometry"]
        assert column["encoding"] == "WKB"
        assert column["geometry_types"] == ["Polygon"]
        assert column["crs"]["id"] == {"authority": "EPSG", "code": 32616}
        assert column["bbox"] == [0.0, 0.0, 50.0, 10.0]

    def test_bbox_covering_names_columns_that_hold_the_boxes(self, path: Path) -> None:
        about = json.loads(pq.read_metadata(path).metadata[b"geo"])
        covering = about["columns"]["geometry"]["covering"]["bbox"]
        assert {k: v[1] for k, v in covering.items()} == {
            k: k for k in ("xmin", "ymin", "xmax", "ymax")
        }
        boxes = pq.read_table(path).column(covering["xmin"][0]).to_pylist()
        assert boxes[1] == {"xmin": 20.0, "ymin": 0.0, "xmax": 30.0, "ymax": 10.0}

    def test_a_reader_can_skip_by_the_box(self, path: Path) -> None:
        assert list(gpd.read_parquet(path, bbox=(22, 2, 23, 3))["parcel_id"]) == ["b"]


class TestWcagContrast:
    """WCAG 2.1, glossary "contrast ratio" and success criteria 1.4.3 (4.5) and 1.4.11 (3).

    Ratios were recomputed independently; the grays are the usual border cases.
    """

    @pytest.mark.parametrize(
        ("first", "second", "ratio"),
        [
            ("#000000", "#ffffff", 21.0),
            ("#767676", "#ffffff", 4.542),
            ("#777777", "#ffffff", 4.478),
            ("#949494", "#ffffff", 3.033),
            ("#959595", "#ffffff", 2.995),
            ("#0000ff", "#ffffff", 8.592),
            ("#0000ff", "#ff0000", 2.149),
        ],
    )
    def test_ratios(self, first: str, second: str, ratio: float) -> None:
        assert palette.contrast(first, second) == pytest.approx(ratio, abs=0.0005)
        assert palette.contrast(second, first) == palette.contrast(first, second)

    @pytest.mark.parametrize(("text", "ground"), palette.TEXT_PAIRS)
    def test_all_text_reaches_double_a(self, text: str, ground: str) -> None:
        assert palette.contrast(text, ground) >= 4.5

    @pytest.mark.parametrize("name", [*CLASSES, NOT_RANKED])
    def test_text_on_class_colors_reaches_double_a(self, name: str) -> None:
        assert palette.contrast(palette.CLASS_TEXT[name], palette.CLASS_COLORS[name]) >= 4.5

    @pytest.mark.parametrize(("mark", "ground"), palette.GRAPHIC_PAIRS)
    def test_all_marks_reach_three(self, mark: str, ground: str) -> None:
        assert palette.contrast(mark, ground) >= 3.0

    def test_luminance_of_the_primaries(self) -> None:
        # The weights of the definition itself.
        got = [palette.luminance(c) for c in ("#ff0000", "#00ff00", "#0000ff")]
        assert np.allclose(got, [0.2126, 0.7152, 0.0722])
