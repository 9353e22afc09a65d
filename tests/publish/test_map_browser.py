"""The map in a real browser, from disk, without a network."""

from __future__ import annotations

import base64
import csv
import gzip
import io
import json
import re
import tomllib
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from types import ModuleType
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.publish.map_model import MapModel
from riskmap.publish.webmap import write_map
from riskmap.ranking import score as scoring
from riskmap.ranking.model import Factor, Model, parse_model

pytestmark = pytest.mark.browser

Wait = Callable[[str], Any]
READY = "!!(window.county && county.ready && county.jobsLeft() === 0)"


@pytest.fixture(scope="module")
def folder(
    tmp_path_factory: pytest.TempPathFactory, ranked: gpd.GeoDataFrame, made: ModuleType
) -> Path:
    place = tmp_path_factory.mktemp("result")
    write_map(
        place,
        ranked,
        model=made.MODEL,
        layers=made.make_layers(ranked),
        terrain=made.make_terrain(ranked),
        county="Example County",
        date="2025-06-30",
    )
    return place


@pytest.fixture
def page(browser: Any, folder: Path, wait_for: Wait) -> Any:
    return _open(browser, folder, wait_for)


@pytest.fixture
def detailed(page: Any) -> Any:
    """The page with what cards need already read."""
    return _read_details(page)


def _read_details(page: Any) -> Any:
    page.execute_async_script("county.needDetails().then(arguments[0])")
    return page


def _open(browser: Any, folder: Path, wait_for: Wait, link: str = "") -> Any:
    browser.get("about:blank")
    browser.get_log("browser")
    browser.get_log("performance")
    browser.get((folder / "map" / "index.html").as_uri() + link)
    wait_for(READY)
    return browser


def _errors(browser: Any) -> list[str]:
    return [entry["message"] for entry in browser.get_log("browser")]


def _requests(browser: Any) -> list[str]:
    events = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    return [
        event["params"]["request"]["url"]
        for event in events
        if event["method"] == "Network.requestWillBeSent"
    ]


def _row(browser: Any, parcel: str) -> int:
    return int(
        browser.execute_script(
            "return county.facts.parcel_id.lines().indexOf(arguments[0])", parcel
        )
    )


def _press(browser: Any, element: Any, *keys: str) -> None:
    element.send_keys(*keys)


class TestOpening:
    def test_opens_from_disk_without_network_or_error(self, page: Any, screenshots: Path) -> None:
        assert page.find_elements("css selector", "canvas.leaflet-tile")
        page.save_screenshot(str(screenshots / "map.png"))
        urls = _requests(page)
        assert any(url.endswith("data/facts.js") for url in urls)
        outside = [u for u in urls if not u.startswith(("file:", "data:", "blob:", "about:"))]
        assert outside == []
        assert _errors(page) == []

    def test_every_parcel_arrives_with_its_values(
        self, detailed: Any, ranked: gpd.GeoDataFrame
    ) -> None:
        rows = detailed.execute_script(
            """return county.facts.parcel_id.lines().map((id, i) => [id,
            county.scores.current.priority[i], county.facts.rank.number(i),
            county.facts.address.word(i), county.facts.age_yr.number(i),
            county.facts.kind_evidence.word(i), county.facts.well_distance_m.number(i)])"""
        )
        got = pd.DataFrame(
            rows, columns=["id", "priority", "rank", "address", "age", "mark", "well_ft"]
        ).set_index("id")
        want = ranked.loc[got.index]
        assert len(got) == len(ranked)
        assert (got["address"] == want["address"]).all()
        assert (got["mark"] == want["kind_evidence"]).all()
        on = want["rank"].notna()
        assert np.allclose(
            got.loc[on, "priority"].astype(float), want.loc[on, "priority"], atol=0.0501
        )
        assert (got.loc[on, "rank"].astype(int) == want.loc[on, "rank"].astype(int)).all()
        assert got.loc[~on, "rank"].isna().all()
        assert np.array_equal(got["age"].astype(float), want["age_yr"], equal_nan=True)
        feet = want["well_distance_m"] / 0.3048
        assert np.allclose(got["well_ft"].astype(float), feet, rtol=0.006, atol=0.5)

    def test_shapes_are_within_a_pixel_of_zoom_19(
        self, page: Any, ranked: gpd.GeoDataFrame
    ) -> None:
        rows = page.execute_script(
            """return county.facts.parcel_id.lines().map((id, i) =>
            [id, county.parcels.rings(i).map((r) => r.map((p) => [p.lng, p.lat]))])"""
        )
        ids = [row[0] for row in rows]
        back = gpd.GeoSeries([shapely.Polygon(row[1][0]) for row in rows], index=ids, crs=4326)
        back = back.to_crs(ranked.crs)
        want = ranked.geometry.loc[ids]
        # Half a pixel of 0.22 m each way, and corners within 0.15 m of a line may be left out.
        assert shapely.hausdorff_distance(back.values, want.values).max() < 0.35
        assert np.allclose(back.area, want.area, rtol=0.02)


class TestFinding:
    def test_search_by_number_and_click_through(
        self, page: Any, ranked: gpd.GeoDataFrame, wait_for: Wait, screenshots: Path
    ) -> None:
        parcel = ranked["rank"].astype(float).idxmin()
        box = page.find_element("id", "search")
        _press(page, box, parcel)
        wait_for("document.querySelectorAll('#search-results [role=option]').length === 1")
        _press(page, box, "\ue015", "\ue007")  # arrow down, Enter
        wait_for("!document.getElementById('card').hidden")
        text = page.find_element("id", "card").text
        assert ranked.loc[parcel, "address"] in text
        assert f"Rank 1 of {int(ranked['rank'].notna().sum())}" in text
        assert ranked.loc[parcel, "reason_1"] in text
        wait_for("county.jobsLeft() === 0")
        page.save_screenshot(str(screenshots / "map_card.png"))
        assert f"parcel={parcel}" in page.current_url
        assert _errors(page) == []

    def test_search_by_address(self, page: Any, ranked: gpd.GeoDataFrame) -> None:
        address = ranked["address"].iloc[123]
        rows = page.execute_script("return county.find(arguments[0])", address.upper())
        ids = [
            page.execute_script("return county.facts.parcel_id.word(arguments[0])", r) for r in rows
        ]
        assert ranked.index[123] in ids
        assert page.execute_script("return county.find('no such place')") == []

    def test_card_says_what_the_table_says(self, detailed: Any, ranked: gpd.GeoDataFrame) -> None:
        page = detailed
        parcel = ranked.index[(ranked["rank"] == 5).fillna(False)][0]
        page.execute_script("county.choose(arguments[0], true)", _row(page, parcel))
        text = page.find_element("id", "card-body").text
        row = ranked.loc[parcel]
        for name in ("age", "soil", "well"):
            assert f"{row[f'{name}_points']:.1f} of" in text
        assert row["kind_evidence"] in text
        assert (row["unknown"] or "Nothing that the score asks for.") in text
        assert "Only a site visit" in text

    def test_every_click_finds_the_parcel_that_geometry_finds(
        self, page: Any, ranked: gpd.GeoDataFrame
    ) -> None:
        rng = np.random.default_rng(7)
        west, south, east, north = ranked.total_bounds
        points = gpd.GeoSeries(
            shapely.points(rng.uniform(west, east, 1500), rng.uniform(south, north, 1500)),
            crs=ranked.crs,
        )
        want = gpd.sjoin(
            gpd.GeoDataFrame(geometry=points), ranked[["geometry"]].reset_index(), how="left"
        )["parcel_id"]
        places = points.to_crs(4326)
        got = page.execute_script(
            """return arguments[0].map((p) => { const q = county.toPixels(L.latLng(p[1], p[0]));
            const i = county.parcels.at(q.x, q.y);
            return i < 0 ? null : county.facts.parcel_id.word(i); })""",
            [[p.x, p.y] for p in places],
        )
        got = pd.Series(got, dtype=object)
        differs = ~((got == want) | (got.isna() & want.isna()))
        edges = ranked.boundary.union_all()
        assert (shapely.distance(points[differs].values, edges) < 0.4).all()
        assert differs.sum() < 30

    def test_a_click_on_the_map_opens_the_card(self, page: Any, wait_for: Wait) -> None:
        from selenium.webdriver.common.action_chains import ActionChains

        page.execute_script("county.map.fitBounds(county.parcels.box(400), {animate: false})")
        wait_for(READY)
        at = page.execute_script(
            """const [x, y] = county.parcels.middle(400);
            const p = county.map.latLngToContainerPoint(county.toDegrees(x, y));
            const box = county.map.getContainer().getBoundingClientRect();
            return [p.x + box.left, p.y + box.top, county.parcels.at(x, y)]"""
        )
        chain = ActionChains(page)
        chain.w3c_actions.pointer_action.move_to_location(int(at[0]), int(at[1]))
        chain.w3c_actions.pointer_action.click()
        chain.perform()
        wait_for("!document.getElementById('card').hidden")
        assert page.execute_script("return county.state.parcel") == at[2]
        page.execute_script("document.getElementById('card-close').click()")
        wait_for("document.getElementById('card').hidden")


class TestChoosing:
    def test_layer_switch_changes_legend_and_picture(self, page: Any, wait_for: Wait) -> None:
        picture = (
            "[...document.querySelectorAll('canvas.leaflet-tile')].map((c) => c.toDataURL()).join()"
        )
        before = page.execute_script(f"return {picture}")
        page.execute_script("document.querySelector('input[value=groundwater]').click()")
        wait_for(READY)
        assert page.execute_script(f"return {picture}") != before
        assert page.execute_script("return county.state.show") == "groundwater"
        assert "show=groundwater" in page.current_url

    def test_filters_pass_what_the_table_passes(
        self, page: Any, ranked: gpd.GeoDataFrame, screenshots: Path, wait_for: Wait
    ) -> None:
        page.execute_script(
            """document.getElementById('filters').open = true;
            const set = (id, value) => { const e = document.getElementById(id); e.value = value;
              e.dispatchEvent(new Event('input', {bubbles: true})); };
            set('filter-kind', 'mound'); set('filter-age_from', '30');
            set('filter-score_from', '35');"""
        )
        want = ranked[
            (ranked["kind"] == "mound")
            & (ranked["age_yr"] >= 30)
            & (ranked["priority"].round(1) >= 35)
        ]
        got = page.execute_script(
            "return county.facts.parcel_id.lines().filter((id, i) => county.passes[i])"
        )
        assert sorted(got) == sorted(want.index)
        assert len(want) > 0
        assert f"{len(want)} parcels pass" in page.find_element("id", "shown").text
        wait_for(READY)
        page.save_screenshot(str(screenshots / "map_filter.png"))
        page.execute_script("document.getElementById('filter-clear').click()")
        assert page.execute_script("return county.passes") is None

    def test_outline_selects_and_saves_formula_safe_csv(
        self, detailed: Any, ranked: gpd.GeoDataFrame
    ) -> None:
        page = detailed
        west, south, east, north = ranked.total_bounds
        outline = shapely.box(west, south, (west + east) / 2, (south + north) / 2)
        ring = gpd.GeoSeries([outline], crs=ranked.crs).to_crs(4326).iloc[0].exterior.coords[:-1]
        page.execute_script(
            "county.selectInside(arguments[0].map((p) => L.latLng(p[1], p[0])))",
            [list(p) for p in ring],
        )
        page.execute_script("document.getElementById('select-save').click()")
        text = page.execute_script("return county.lastSaved.text")
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

    def test_drawing_by_clicks_and_enter(self, page: Any, wait_for: Wait) -> None:
        page.execute_script(
            """document.getElementById('select').open = true;
            document.getElementById('select-draw').click();
            const m = county.map, s = m.getSize();
            [[.3, .3], [.7, .3], [.7, .7], [.3, .7]].forEach(([x, y]) => {
              const latlng = m.containerPointToLatLng([s.x * x, s.y * y]);
              m.fire('click', { latlng: latlng }); });"""
        )
        _press(page, page.switch_to.active_element, "\ue007")
        wait_for("county.state.selected !== null")
        assert not page.find_element("id", "select-save").get_attribute("disabled")
        assert page.execute_script("return county.state.parcel") == -1
        assert _errors(page) == []

    def test_link_opens_the_same_view(
        self, page: Any, folder: Path, wait_for: Wait, ranked: gpd.GeoDataFrame
    ) -> None:
        parcel = ranked.index[ranked["rank"].notna()][3]
        page.execute_script("document.querySelector('input[value=failure]').click()")
        page.execute_script(
            """const e = document.getElementById('filter-kind'); e.value = 'bed';
            e.dispatchEvent(new Event('input', {bubbles: true}));"""
        )
        page.execute_script("county.choose(arguments[0], true)", _row(page, parcel))
        link = page.current_url.partition("#")[2]
        again = _open(page, folder, wait_for, "#" + link)
        state = again.execute_script(
            """return [county.state.show, county.state.filters.kind,
            county.facts.parcel_id.word(county.state.parcel), county.map.getZoom()]"""
        )
        assert state[:3] == ["failure", "bed", parcel]

    def test_overlays_switch_on(self, page: Any, wait_for: Wait, screenshots: Path) -> None:
        for name in ("wells", "soils", "sewer_area"):
            page.execute_script(f"document.querySelector('[data-layer={name}]').click()")
        wait_for(READY)
        page.save_screenshot(str(screenshots / "map_overlays.png"))
        assert page.execute_script("return Object.keys(county.layers).length") >= 5
        row = page.execute_script("return county.layers.wells.shapes.count")
        assert row > 0
        page.execute_script("county.showWell(0)")
        assert "Well" in page.find_element("id", "card-body").text
        assert _errors(page) == []


class TestWeights:
    def test_page_and_python_give_the_same_ranks(
        self, browser: Any, made: ModuleType, tmp_path: Path, wait_for: Wait, screenshots: Path
    ) -> None:
        model, text, features, table = _identity_case(made)
        write_map(
            tmp_path,
            table,
            model=MapModel(model.factors, model.failure_share, text=text),
            layers={},
            county="Example County",
            date="2025-06-30",
        )
        page = _open(browser, tmp_path, wait_for)
        page.execute_script("document.getElementById('weights').open = true")
        wait_for("document.getElementById('weight-well')")
        page.execute_script(
            """const set = (name, value) => { const e = document.getElementById('weight-' + name);
              e.value = value; e.dispatchEvent(new Event('input', {bubbles: true})); };
            set('age', 3); set('well', 17);"""
        )
        changed = model.with_weights({"age": 3.0, "well": 17.0})
        scores = scoring.score(features, changed).scores
        want = scoring.rank(scores, np.ones(len(features), dtype=bool))
        ranks = page.execute_script("return Array.from(county.scores.allRanks())")
        ids = page.execute_script("return county.facts.parcel_id.lines()")
        got = pd.Series(ranks, index=ids).astype(int)
        assert (got.loc[want.index] == want.astype(int)).all()
        before = table["rank"].astype(int)
        assert (want.astype(int) != before.loc[want.index]).mean() > 0.5
        top = page.find_elements("css selector", "#top-list .who")
        assert [e.text for e in top] == list(want.astype(int).sort_values().index[:12])
        moves = [e.text for e in page.find_elements("css selector", "#top-list .move")]
        first = want.astype(int).sort_values().index[0]
        gain = int(before[first]) - 1
        assert moves[0] == (f"up {gain}" if gain else "same place")
        page.execute_script("document.getElementById('weights').scrollIntoView()")
        page.save_screenshot(str(screenshots / "map_weights.png"))
        page.execute_script("document.getElementById('weights-save').click()")
        saved = page.execute_script("return county.lastSaved.text")
        assert parse_model(tomllib.loads(saved)) == changed
        page.execute_script("document.getElementById('weights-reset').click()")
        back = page.execute_script("return Array.from(county.scores.allRanks())")
        assert (pd.Series(back, index=ids).astype(int) == before.loc[ids]).all()
        assert _errors(page) == []


def _identity_case(made: ModuleType) -> tuple[Model, str, pd.DataFrame, gpd.GeoDataFrame]:
    """A model whose factors read thousandths as they are, scored by the ranking itself."""
    names = [("age", "failure"), ("soil", "failure"), ("wet", "failure"), ("well", "groundwater"),
             ("depth", "groundwater")]  # fmt: skip
    bundled = tomllib.loads((files("riskmap.ranking") / "scoring_model.toml").read_text("utf-8"))
    top = {k: v for k, v in bundled.items() if k != "factor"} | {"min_known_frac": 0.0}
    blocks = [f"{key} = {json.dumps(value)}" for key, value in top.items()]
    for place, (name, kind) in enumerate(names):
        blocks.append(
            f'[[factor]]\nname = "{name}"\nscore = "{kind}"\nfeature = "{name}"\n'
            f'label = "The {name}"\nweight = {7 + 2 * place}  # judgement\nlow = 0\nhigh = 20\n'
            f'curve = [[0, 0.0], [1, 1.0]]\nunknown = 0.5\nsource = "none"\nreason = "{{value}}"\n'
        )
    text = "\n".join(blocks)
    model = parse_model(tomllib.loads(text))
    assert isinstance(model.factors[0], Factor)
    table = made.make_ranked(700)
    rng = np.random.default_rng(3)
    values = rng.integers(0, 1001, (len(table), len(names))) / 1000
    features = pd.DataFrame(values, columns=[n for n, _ in names], index=table.index)
    result = scoring.score(features, model)
    keep = table[["address", "kind", "service", "neighbourhood", "geometry"]].copy()
    for column in result.scores:
        keep[column] = result.scores[column]
        kind = column.replace("_score", "")
        keep[f"{kind}_class"] = scoring.classify(result.scores[column], [20, 40, 60, 80])
    keep["rank"] = scoring.rank(result.scores, np.ones(len(table), dtype=bool))
    keep = keep.join(result.points.add_suffix("_points"))
    return model, text, features, keep


class TestAccess:
    def test_keyboard_alone(self, page: Any, wait_for: Wait) -> None:
        page.execute_script("county.map.getContainer().focus()")
        place = page.execute_script("return county.map.getCenter().lng")
        holder = page.switch_to.active_element
        _press(page, holder, "\ue014")  # arrow right
        wait_for(f"county.map.getCenter().lng > {place}")
        page.execute_script(
            """const [x, y] = county.parcels.middle(100);
            county.map.setView(county.toDegrees(x, y), 17, {animate: false})"""
        )
        _press(page, holder, "\ue007")
        wait_for("!document.getElementById('card').hidden")
        _press(page, holder, "\ue00c")
        wait_for("document.getElementById('card').hidden")

    def test_tab_reaches_search_choice_and_map(self, page: Any) -> None:
        page.execute_script("document.activeElement.blur()")
        seen = set()
        body = page.find_element("tag name", "body")
        _press(page, body, "\ue004")
        for _ in range(40):
            active = page.switch_to.active_element
            seen.add(active.get_attribute("id") or active.get_attribute("name") or "")
            _press(page, active, "\ue004")
        assert {"search", "print", "show", "map_county"} <= seen

    def test_everything_to_press_has_a_name(self, page: Any) -> None:
        unnamed = page.execute_script(
            """return [...document.querySelectorAll('button, input, select, a[href], summary')]
            .filter((e) => !(e.labels && e.labels.length) && !e.getAttribute('aria-label') &&
              !e.title && !e.textContent.trim()).map((e) => e.outerHTML)"""
        )
        assert unnamed == []

    def test_telephone(self, browser: Any, folder: Path, wait_for: Wait, screenshots: Path) -> None:
        metrics = {"width": 390, "height": 780, "deviceScaleFactor": 2, "mobile": True}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
        try:
            page = _open(browser, folder, wait_for)
            assert page.execute_script("return document.documentElement.scrollWidth") <= 390
            page.save_screenshot(str(screenshots / "map_telephone.png"))
            page.find_element("id", "panel-button").click()
            assert page.find_element("id", "panel").is_displayed()
            page.save_screenshot(str(screenshots / "map_telephone_panel.png"))
            page.find_element("id", "panel-button").click()
            _read_details(page)
            page.execute_script("county.choose(10, true)")
            wait_for(READY)
            page.save_screenshot(str(screenshots / "map_telephone_card.png"))
            assert page.find_element("id", "card").rect["width"] == 390
            small = page.execute_script(
                """return [...document.querySelectorAll('button, input[type=search], select')]
                .filter((e) => e.offsetParent && e.offsetHeight < 32).map((e) => e.id)"""
            )
            assert small == []
        finally:
            browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})

    def test_print_holds_map_legend_and_cautions(self, page: Any, screenshots: Path) -> None:
        page.execute_async_script("county.choose(5, false).then(arguments[0])")
        page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
        page.execute_script("window.dispatchEvent(new Event('beforeprint'))")
        try:
            assert page.find_element("css selector", ".key").is_displayed()
            assert "Only a site visit" in page.find_element("id", "foot").text
            assert not page.find_element("id", "search").is_displayed()
            assert page.execute_script("return county.jobsLeft()") == 0
            printed = page.execute_cdp_cmd(
                "Page.printToPDF", {"printBackground": True, "landscape": True}
            )
            (screenshots / "map_print.pdf").write_bytes(base64.b64decode(printed["data"]))
            place = page.find_element("id", "map_county").rect
            assert place["height"] > 400
            assert place["y"] < 100
            page.save_screenshot(str(screenshots / "map_print.png"))
        finally:
            page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


NASTY = (
    "</script><script>window.hurt=1</script>",
    '"><img src=x onerror="window.hurt=1">',
    '=HYPERLINK("http://example.invalid","x")',
    "@SUM(1+1)|cmd",
    "12 Elm \u202e\u2066enaL",
    "{{ 7*7 }}{% raw %}{% endraw %}{%endraw%}",
    'O\'Brien; "q", \\ \r\n next\x00\x07',
    "\u2028\u2029 <!-- ]]>",
    "${window.hurt=1}`+`",
)


class TestAttack:
    @pytest.fixture
    def attacked(self, tmp_path: Path, made: ModuleType, browser: Any, wait_for: Wait) -> Any:
        table = made.make_ranked(200).copy()
        ids = list(table.index)
        for place, text in enumerate(NASTY):
            ids[place] = f"{text}{place}"
        table.index = pd.Index(ids, name="parcel_id")
        for name in (
            "address",
            "neighbourhood",
            "kind",
            "reason_1",
            "unknown",
            "not_ranked_reason",
        ):
            table[name] = table[name].astype(object)
            table.iloc[: len(NASTY), table.columns.get_loc(name)] = NASTY
        table["notes"] = [NASTY[i % len(NASTY)] for i in range(len(table))]
        table["owner"] = "SECRETOWNER"
        layers = made.make_layers(table)
        layers["wells"]["well_id"] = [NASTY[i % len(NASTY)] for i in range(len(layers["wells"]))]
        layers["<img src=x onerror=window.hurt=1>"] = layers["streams"]
        write_map(
            tmp_path,
            table,
            model=made.MODEL,
            layers=layers,
            county="Example </title><script>window.hurt=1</script>{{ 7*7 }}{% endraw %} County",
            date="2025-06-30",
            cautions=("Take <b>care</b></script>",),
        )
        return _read_details(_open(browser, tmp_path, wait_for))

    def test_no_text_runs_as_script_or_formula(self, attacked: Any) -> None:
        count = attacked.execute_script("return county.parcels.count")
        for row in range(0, count, 3):
            attacked.execute_script("county.choose(arguments[0], false)", row)
        for text in NASTY:
            box = attacked.find_element("id", "search")
            attacked.execute_script(
                """arguments[0].value = arguments[1];
                arguments[0].dispatchEvent(new Event('input'))""",
                box,
                text[:12],
            )
        attacked.execute_script("county.showWell(0)")
        attacked.execute_script(
            "document.getElementById('select-view').click();"
            "document.getElementById('select-save').click()"
        )
        assert attacked.execute_script("return window.hurt") is None
        assert attacked.execute_script("return document.querySelectorAll('img[src=x]').length") == 0
        assert "49" not in attacked.find_element("tag name", "h1").text
        text = attacked.execute_script("return county.lastSaved.text")
        rows = list(csv.reader(io.StringIO(text, newline="")))
        assert len({len(row) for row in rows}) == 1
        for row in rows[1:]:
            for cell in row:
                risky = cell[:1] in "=+-@\t\r\n" and cell != ""
                assert not risky or _is_number(cell)
        assert "\u202e" not in text
        assert _errors(attacked) == []

    @pytest.mark.usefixtures("attacked")
    def test_owner_is_nowhere(self, tmp_path: Path) -> None:
        for path in sorted((tmp_path / "map").rglob("*")):
            if path.is_file():
                content = path.read_bytes()
                assert b"SECRETOWNER" not in content
                for packed in re.findall(rb'="([A-Za-z0-9+/=]+)";', content):
                    assert b"SECRETOWNER" not in gzip.decompress(base64.b64decode(packed))


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
