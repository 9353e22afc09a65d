from __future__ import annotations

import datetime
import io
import time
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pypdf import PdfReader

from riskmap.contract.errors import OutputError
from riskmap.publish.paper.day_sheets import write_day_sheets
from riskmap.publish.paper.sheet_map import (
    LABEL_SHARE,
    MapSource,
    apart,
    day_window,
    places,
    scale_bar,
    stop_svg,
    stop_window,
)
from riskmap.publish.paper.typesetting import field, typeset
from riskmap.publish.words.imprint import Imprint

TODAY = datetime.date(2026, 6, 1)
OURS = Imprint("N", TODAY)
RUN = "2026-06-01 0a1b2c3d"
HOSTILE = (
    '#panic("ran")',
    "$ x/0 $ [open #",
    '"); #read("frame.typ") //',
    "</svg><script>alert(1)</script>",
    "=HYPERLINK(1)",
    "*bold* _under_ `code` <label> @ref \\ ~ -- /* // {brace} ]]",
    "12 Oak\u202e daoR",
    "\u0627\u0644\u0639 \u4e2d\u6587 \U0001f6b0",
    "\x00\x07\ud800",
)


@pytest.fixture(scope="module")
def county(ranked: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    middle = ranked.geometry.representative_point()
    return ranked.assign(x_m=middle.x, y_m=middle.y)


@pytest.fixture(scope="module")
def layers(county: gpd.GeoDataFrame) -> dict[str, gpd.GeoDataFrame]:
    points = county.geometry.representative_point()
    west, south, east, north = county.total_bounds
    brook = shapely.LineString(
        np.column_stack([np.linspace(west, east, 50), np.linspace(south, north, 50)])
    )
    pond = shapely.Point((west + east) / 2, (south + north) / 2).buffer(150)

    def frame(shapes: Any) -> gpd.GeoDataFrame:
        return gpd.GeoDataFrame(geometry=list(shapes), crs=county.crs)

    areas = gpd.GeoDataFrame(geometry=points.buffer(9), index=county.index, crs=county.crs)
    return {
        "areas": areas,
        "buildings": frame(points.translate(14, 0).buffer(6, cap_style="square")),
        "wells": frame(points.iloc[::3].translate(-16, 3)),
        "streams": frame([brook]),
        "waterbodies": frame([pond]),
    }


def drawn(layers: dict[str, gpd.GeoDataFrame]) -> dict[str, Any]:
    """Return areas and the layers below them, as the writer takes them."""
    return {"areas": layers["areas"], "layers": {n: t for n, t in layers.items() if n != "areas"}}


def pages(path: Path) -> list[str]:
    return [page.extract_text() for page in PdfReader(path).pages]


class TestWhatIsOnPaper:
    def test_a_reason_of_the_run_is_never_cut(
        self, tmp_path: Path, county: gpd.GeoDataFrame
    ) -> None:
        reason = (  # the longest of an invented county of 4,163 parcels
            "10 drinking-water wells lie down-gradient within 5 years' travel; the nearest it "
            "reaches is about 1,788 ft away"
        )
        rows = county[county["rank"].notna()].head(1).assign(reason_1=reason)
        (path,) = write_day_sheets(tmp_path, rows, OURS, run=RUN)
        assert f"{reason}." in " ".join(pages(path)[1].split())

    def test_a_page_for_each_day_and_each_stop(
        self, tmp_path: Path, county: gpd.GeoDataFrame, layers: dict[str, gpd.GeoDataFrame]
    ) -> None:
        (path,) = write_day_sheets(
            tmp_path,
            county,
            Imprint("N", TODAY, contact="Desk 4"),
            run=RUN,
            stops=20,
            **drawn(layers),
        )
        assert path == tmp_path / "sheets" / "day_sheets.pdf"
        text = pages(path)
        assert len(text) == 20 + 3
        first = county[county["worklist"] == "to find"].sort_values("list_rank").head(20)
        for parcel_id, row in first.iterrows():
            (own,) = [page for page in text if f"Parcel {parcel_id}" in page and "stop" in page
                      and "What you found" in page]  # fmt: skip
            assert row["address"] in own
            assert f"to find, place {row['list_rank']}" in own
            assert "Stay safe" in own
        assert "If not, why" in text[0]
        overview = text[0]
        assert "straight lines" in overview
        assert "no route" in overview
        assert "Desk 4" in overview
        assert "This is a screening" in overview
        assert all(f"run {RUN}" in page for page in text)

    def test_a_telephone_reads_where_the_stop_is(
        self, tmp_path: Path, county: gpd.GeoDataFrame
    ) -> None:
        rows = county[county["rank"].notna()].head(1)
        (path,) = write_day_sheets(tmp_path, rows, OURS, run=RUN)
        spot = gpd.GeoSeries.from_xy(rows["x_m"], rows["y_m"], crs=rows.crs).to_crs(4326).iloc[0]
        assert f"{spot.y:.5f}, {spot.x:.5f}" in pages(path)[1]
        assert f"{spot.y:.5f}, {spot.x:.5f}" in pages(path)[0]

    def test_units_choose_paper_and_words(self, tmp_path: Path, county: gpd.GeoDataFrame) -> None:
        size, words = {}, {}
        for units in ("us", "si"):
            (path,) = write_day_sheets(
                tmp_path / units,
                county,
                Imprint("N", TODAY, units),  # type: ignore[arg-type]
                run=RUN,
                stops=2,
            )
            size[units] = PdfReader(path).pages[0].mediabox
            words[units] = pages(path)[1]
        assert (float(size["us"].width), float(size["us"].height)) == (612, 792)  # letter, points
        assert float(size["si"].height) == pytest.approx(841.89, abs=0.01)  # A4, ISO 216
        assert " ft" in words["us"]
        assert " m" in words["si"]
        assert " ft" not in words["si"]

    def test_unknown_is_said(self, tmp_path: Path, county: gpd.GeoDataFrame) -> None:
        bare = county[county["rank"].notna()].head(1).drop(columns=["reason_1", "kind"])
        bare = bare.assign(age_yr=np.nan, bedrooms=np.nan, unknown="Age; Kind", address=None)
        (path,) = write_day_sheets(tmp_path, bare, OURS, run=RUN)
        sheet = pages(path)[1]
        assert "not known" in sheet
        assert "Age; Kind" in sheet
        assert "No address on record" in sheet

    def test_nothing_ranked_writes_nothing(self, tmp_path: Path, county: gpd.GeoDataFrame) -> None:
        none = county.assign(list_rank=None)
        assert write_day_sheets(tmp_path, none, OURS, run=RUN) == []
        assert not list(tmp_path.rglob("*.pdf"))

    def test_same_bytes_and_the_given_date(
        self, tmp_path: Path, county: gpd.GeoDataFrame, layers: dict[str, gpd.GeoDataFrame]
    ) -> None:
        content = [
            write_day_sheets(tmp_path / n, county, OURS, run=RUN, stops=5, **drawn(layers))[
                0
            ].read_bytes()
            for n in ("a", "b")
        ]
        assert content[0] == content[1]
        told = PdfReader(io.BytesIO(content[0])).metadata
        assert told is not None
        assert told["/CreationDate"].startswith("D:20260601000000")

    def test_two_hundred_stops_take_seconds(
        self, tmp_path: Path, county: gpd.GeoDataFrame, layers: dict[str, gpd.GeoDataFrame]
    ) -> None:
        begun = time.perf_counter()
        (path,) = write_day_sheets(tmp_path, county, OURS, run=RUN, stops=200, **drawn(layers))
        assert time.perf_counter() - begun < 40  # 5 s on an idle machine of two cores
        assert len(PdfReader(path).pages) == 225


class TestHostileText:
    def test_text_from_data_is_shown_not_run(
        self, tmp_path: Path, county: gpd.GeoDataFrame
    ) -> None:
        rows = county[county["rank"].notna()].head(len(HOSTILE)).copy()
        for column in ("address", "neighborhood", "reason_1", "unknown", "kind"):
            rows[column] = list(HOSTILE)
        rows.index = [f"{text[:20]}{n}" for n, text in enumerate(HOSTILE)]
        (path,) = write_day_sheets(
            tmp_path, rows, Imprint(HOSTILE[0], TODAY, contact=HOSTILE[1]), run=RUN
        )
        text = pages(path)
        assert len(text) == len(HOSTILE) + 2
        joined = "\n".join(text)
        for words in ('#panic("ran")', "$ x/0 $ [open #", "*bold* _under_", "<script>alert(1)"):
            assert words in joined
        assert "\u202e" not in joined
        reader = PdfReader(path)
        for page in reader.pages:
            assert "/AA" not in page
            kinds = [note.get_object().get("/Subtype") for note in page.get("/Annots", [])]
            assert kinds == []

    def test_long_text_does_not_break_the_page(
        self, tmp_path: Path, county: gpd.GeoDataFrame
    ) -> None:
        rows = county[county["rank"].notna()].head(3).copy()
        for column in ("address", "neighborhood", "unknown", "reason_1", "reason_2", "reason_3",
                       "kind", "last_stage", "drainage_class"):  # fmt: skip
            rows[column] = "Wide words MWMWMW " * 100
        rows = rows.assign(complaints=9, repairs=9, age_yr=99, years_since_pumped_yr=40,
                           well_distance_m=1, waterbody_distance_m=1)  # fmt: skip
        rows["stream_distance_m"] = rows["wet_depth_cm"] = 1.0
        rows.index = [f"{'9' * 200}-{n}" for n in range(3)]
        for units in ("us", "si"):
            (path,) = write_day_sheets(
                tmp_path / units,
                rows,
                Imprint("C" * 300, TODAY, units, "T" * 300),  # type: ignore[arg-type]
                run=RUN,
            )
            text = pages(path)
            assert len(text) == 4
            for sheet in text[1:]:
                assert "Stay safe" in sheet
                assert "call a licensed professional" in " ".join(sheet.split())

    def test_field_cuts_and_cleans(self) -> None:
        assert field("a" * 500, 10) == "aaaaaaaaa…"
        assert field("a\n\tb\u2066c") == "a bc"

    def test_a_broken_template_is_an_error_of_ours(self) -> None:
        with pytest.raises(OutputError, match="day_sheets"):
            typeset("day_sheets", {"county": "x"}, date=TODAY)


class TestMap:
    def test_the_window_holds_the_lot_or_the_ground_around_the_field(self) -> None:
        lot = shapely.box(0, 0, 100, 60)
        assert stop_window(lot, None, (50, 30)) == pytest.approx((50, 30, 56))
        farm = shapely.box(0, 0, 2000, 2000)
        assert stop_window(farm, None, (150, 200)) == (150, 200, 160)
        assert stop_window(shapely.Polygon(), None, (1, 2)) == (1, 2, 35)

    def test_north_is_up_and_the_scale_is_true(self) -> None:
        window = (1000.0, 5000.0, 50.0)
        found = places(
            np.array([1000.0, 950.0, 1050.0]), np.array([5000.0, 5050.0, 4950.0]), window
        )
        assert found.tolist() == [[0.5, 0.5], [0.0, 0.0], [1.0, 1.0]]
        bar = scale_bar(window, "us")
        assert bar["label"] == "100 ft"
        assert bar["share"] == pytest.approx(30.48 / 100)  # the foot is 0.3048 m by definition
        assert scale_bar(window, "si") == {"share": 0.2, "label": "20 m"}

    def test_shapes_are_cut_to_the_window(self) -> None:
        crs = "EPSG:32616"
        line = gpd.GeoDataFrame(geometry=[shapely.LineString([(-1e5, 0), (1e5, 0)])], crs=crs)
        far = gpd.GeoDataFrame(geometry=[shapely.Point(500, 0), shapely.Point(3, 4)], crs=crs)
        source = MapSource({"streams": line, "wells": far, "waterbodies": None})
        window = (0.0, 0.0, 50.0)
        assert source.within("streams", window)[0].bounds == pytest.approx((-51, 0, 51, 0))
        assert len(source.within("wells", window)) == 1
        hole = shapely.Polygon(
            [(-20, -20), (20, -20), (20, 20), (-20, 20)],
            [[(-5, -5), (5, -5), (5, 5), (-5, 5)]],
        )
        svg = stop_svg(source, window, lot=hole, area=None)
        assert svg.count("<circle") == 2
        assert svg.count("Z") == 2  # outer ring and hole
        assert 'cx="530.0" cy="460.0"' in svg

    def test_labels_of_one_place_part(self) -> None:
        labels = apart(np.full((6, 2), 0.5))
        gaps = [np.hypot(*(a - b)) for n, a in enumerate(labels) for b in labels[:n]]
        assert min(gaps) > 0.8 * LABEL_SHARE
        assert apart(np.array([[0.2, 0.2], [0.8, 0.8]])) == pytest.approx(
            np.array([[0.2, 0.2], [0.8, 0.8]]), abs=2e-4
        )

    def test_a_day_of_one_place_has_a_window(self) -> None:
        assert day_window(np.array([5.0]), np.array([7.0])) == (5, 7, 200)
        sides = [bar["share"] for bar in (scale_bar((0, 0, h), "us") for h in (35.0, 160.0, 9e4))]
        assert all(0.02 < float(str(share)) <= 1 / 3 for share in sides)
