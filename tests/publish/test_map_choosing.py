"""Switching, filtering, selecting and linking on the map, in a real browser."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
import shapely

pytestmark = pytest.mark.browser

PICTURE = "[...document.querySelectorAll('canvas.leaflet-tile')].map((c) => c.toDataURL()).join()"


class TestChoosing:
    def test_layer_switch_changes_legend_and_picture(self, page: Any) -> None:
        before = page.run(f"return {PICTURE}")
        page.run("document.querySelector('input[value=groundwater]').click()")
        page.settle()
        assert page.run(f"return {PICTURE}") != before
        assert page.run("return county.state.show") == "groundwater"
        assert "show=groundwater" in page.browser.current_url

    def test_likely_state_has_its_own_legend_and_counts(
        self, page: Any, full: Any, screenshots: Path
    ) -> None:
        before = page.run(f"return {PICTURE}")
        page.run("document.querySelector('input[value=stage]').click()")
        page.settle()
        assert page.run(f"return {PICTURE}") != before
        page.browser.save_screenshot(str(screenshots / "map_stage.png"))
        key = page.browser.find_element("id", "key-stage").text
        assert "if nothing was repaired off the record" in key
        assert not page.browser.find_element("id", "key-score").is_displayed()
        counts = full.ranked["stage"].value_counts()
        for place, name in enumerate(("failed", "stressed", "sound"), start=1):
            shown = page.browser.find_element("id", f"stage-count-{place}").text
            assert int(shown.replace(",", "")) == counts[name]
        none = page.browser.find_element("id", "stage-count-4").text
        assert int(none.replace(",", "")) == full.ranked["stage"].isna().sum()
        assumed = page.run("return county.assumed.reduce((a, b) => a + b, 0)")
        assert assumed == (full.ranked["stage_evidence"] == "assumed").sum()

    def test_filters_pass_what_the_table_passes(
        self, page: Any, full: Any, screenshots: Path
    ) -> None:
        page.run("document.getElementById('filters').open = true")
        fields = {"kind": "mound", "age_from": 20, "score_from": 2, "stage": 1}
        for name, value in fields.items():
            page.set(f"filter-{name}", value)
        table = full.ranked
        want = table[
            (table["kind"] == "mound")
            & (table["age_yr"].round() >= 20)
            & (table["priority"].round(1) >= 2)
            & (table["stage"] == "failed")
        ]
        got = page.run("return county.facts.parcel_id.lines().filter((id, i) => county.passes[i])")
        assert sorted(got) == sorted(want.index)
        assert len(want) > 1
        assert f"Showing {len(want)} of" in page.browser.find_element("id", "shown").text
        page.settle()
        page.browser.save_screenshot(str(screenshots / "map_filter.png"))
        page.run("document.getElementById('filter-clear').click()")
        assert page.run("return county.passes") is None

    def test_outline_selects_and_saves_formula_safe_csv(
        self, page: Any, ranked: gpd.GeoDataFrame
    ) -> None:
        west, south, east, north = ranked.total_bounds
        outline = shapely.box(west, south, (west + east) / 2, (south + north) / 2)
        ring = gpd.GeoSeries([outline], crs=ranked.crs).to_crs(4326).iloc[0].exterior.coords[:-1]
        page.run(
            "county.selectInside(arguments[0].map((p) => L.latLng(p[1], p[0])))",
            [list(p) for p in ring],
        )
        page.run("document.getElementById('select-save').click()")
        page.wait_for("county.lastSaved")
        text = page.run("return county.lastSaved.text")
        rows = list(csv.DictReader(io.StringIO(text, newline="")))
        assert text.count("\r\n") == len(rows) + 1
        box = ranked.bounds
        middle = shapely.points((box.minx + box.maxx) / 2, (box.miny + box.maxy) / 2)
        want = set(ranked.index[shapely.contains(outline, middle)])
        near_edge = set(ranked.index[shapely.distance(outline.boundary, middle) < 1.0])
        got = {row["parcel_id"] for row in rows}
        assert got ^ want <= near_edge
        assert len(got) > 100
        first = rows[0]
        assert first["address"] == ranked.loc[first["parcel_id"], "address"]
        assert {"chance failed (%)", "Likely state", "chance among the first 200 (%)"} <= set(first)

    def test_drawing_by_clicks_and_enter(self, page: Any) -> None:
        page.run(
            """document.getElementById('select').open = true;
            document.getElementById('select-draw').click();
            const m = county.map, s = m.getSize();
            [[.3, .3], [.7, .3], [.7, .7], [.3, .7]].forEach(([x, y]) => {
              const latlng = m.containerPointToLatLng([s.x * x, s.y * y]);
              m.fire('click', { latlng: latlng }); });"""
        )
        page.browser.switch_to.active_element.send_keys("\ue007")
        page.wait_for("county.state.selected !== null")
        save = page.browser.find_element("id", "select-save")
        assert not save.get_attribute("disabled")
        assert page.run("return county.state.parcel") == -1
        assert page.errors() == []

    def test_link_opens_the_same_view(self, page: Any, map_folder: Path, full: Any) -> None:
        parcel = str(full.ranked.index[full.ranked["rank"].notna()][3])
        page.run("document.querySelector('input[value=stage]').click()")
        page.set("filter-kind", "bed")
        page.choose(parcel)
        link = page.browser.current_url.partition("#")[2]
        page.open(map_folder, "#" + link)
        state = page.run(
            """return [county.state.show, county.state.filters.kind,
            county.facts.parcel_id.word(county.state.parcel)]"""
        )
        assert state == ["stage", "bed", parcel]

    def test_overlays_switch_on(self, page: Any, screenshots: Path) -> None:
        names = ("wells", "soils", "sewer_area", "treatment_areas", "replacement_places")
        for name in names:
            page.run(f"document.querySelector('[data-layer={name}]').click()")
        page.run("county.map.fitBounds(county.parcels.box(400), {animate: false, maxZoom: 17})")
        page.wait_for("!!county.places")
        page.settle()
        page.browser.save_screenshot(str(screenshots / "map_overlays.png"))
        assert page.run("return Object.keys(county.layers).length") >= 5
        assert page.run("return county.places.treatment_areas.shapes.count") > 300
        assert page.errors() == []
