"""The public pages in a real browser, from disk, without a network."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from riskmap.action.aggregate import TOTAL
from riskmap.publish.public_edition import write_public_edition

pytestmark = pytest.mark.browser

Wait = Callable[[str], Any]
NASTY = (
    "</script><script>window.hurt=1</script>",
    '"><img src=x onerror="window.hurt=1">',
    '=HYPERLINK("http://example.invalid","x")',
    "{{ 7*7 }}{% raw %}{% endraw %}{%endraw%}",
    "12 Elm \u202e\u2066enaL",
    "@SUM(1+1)|cmd",
)


@pytest.fixture(scope="module")
def parcels(made: ModuleType) -> gpd.GeoDataFrame:
    table = made.make_ranked(1500).copy()
    rng = np.random.default_rng(3)
    west = table.geometry.centroid.x < table.geometry.centroid.x.median()
    raised = (table["service"] == "onsite") & (rng.random(len(table)) < np.where(west, 0.5, 0.15))
    table["priority_class"] = table["priority_class"].mask(raised, "high")
    return table


@pytest.fixture(scope="module")
def public(
    tmp_path_factory: pytest.TempPathFactory, parcels: gpd.GeoDataFrame, made: ModuleType
) -> Path:
    folder = tmp_path_factory.mktemp("result")
    return write(folder, parcels, layers=made.make_layers(parcels))


def write(folder: Path, parcels: gpd.GeoDataFrame, **more: Any) -> Path:
    given: dict[str, Any] = {"county": "Example County", "date": "2026-06-01", "cell_m": 800.0}
    write_public_edition(folder, parcels=parcels, crs=parcels.crs, **{**given, **more})
    return folder / "public"


def plan_of(public: Path) -> dict[str, Any]:
    page = (public / "map.html").read_text(encoding="utf-8")
    start = page.index("publicMap.start(")
    return json.JSONDecoder().raw_decode(page, page.index("{", start))[0]


def _blocks(parcels: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Six upright strips over most of the county."""
    west, south, east, north = parcels.total_bounds
    edges = np.linspace(west, west + 0.9 * (east - west), 7)
    strips = [shapely.box(a, south, b, north) for a, b in pairwise(edges)]
    return gpd.GeoDataFrame({"name": list(NASTY)}, geometry=strips, crs=parcels.crs)


class TestBrowser:
    def open(self, browser: Any, public: Path, wait_for: Wait) -> Any:
        browser.get("about:blank")
        browser.get_log("browser")
        browser.get((public / "map.html").as_uri())
        wait_for("!!window.publicMap && publicMap.ready === true")
        return browser

    def test_opens_from_disk_without_network_or_error(
        self, browser: Any, public: Path, wait_for: Wait, screenshots: Path
    ) -> None:
        self.open(browser, public, wait_for)
        paths = browser.find_elements("css selector", "path.area")
        assert len(paths) == len(plan_of(public)["areas"])
        fills = {path.get_attribute("fill") for path in paths}
        assert "url(#held)" in fills
        assert len(fills) > 2
        key = browser.find_element("id", "key").text
        assert "withheld: small numbers" in key
        assert "not known" in key
        browser.save_screenshot(str(screenshots / "public_map.png"))
        for name in ("index", "table"):
            browser.get((public / f"{name}.html").as_uri())
            browser.save_screenshot(str(screenshots / f"public_{name}.png"))
        assert browser.get_log("browser") == []

    def test_keyboard_moves_from_area_to_area(
        self, browser: Any, public: Path, wait_for: Wait
    ) -> None:
        self.open(browser, public, wait_for)
        stops = browser.find_elements("css selector", "path.area[tabindex='0']")
        assert len(stops) == 1
        browser.execute_script("document.querySelectorAll('path.area')[8].focus()")
        first = browser.find_element("id", "area-name").text
        browser.switch_to.active_element.send_keys("\ue014")  # right arrow
        second = browser.find_element("id", "area-name").text
        assert first != second
        plan = plan_of(public)
        area = next(area for area in plan["areas"] if area["name"] == second)
        shown = browser.find_element("id", "area-table").text
        value = area["values"][TOTAL]
        assert f"Onsite systems {'withheld' if value is None else value}" in shown
        assert browser.switch_to.active_element.get_attribute("aria-label").startswith(second)

    def test_views_change_colours(self, browser: Any, public: Path, wait_for: Wait) -> None:
        self.open(browser, public, wait_for)
        script = "return [...document.querySelectorAll('path.area')].map(p=>p.getAttribute('fill'))"
        before = browser.execute_script(script)
        browser.find_element("css selector", "input[value=systems]").click()
        assert browser.execute_script(script) != before
        assert browser.find_element("id", "key-title").text == "Number of systems"

    def test_telephone_and_paper(
        self, browser: Any, public: Path, wait_for: Wait, screenshots: Path
    ) -> None:
        size = {"width": 390, "height": 800, "deviceScaleFactor": 1, "mobile": True}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        try:
            for name in ("index", "table"):
                browser.get((public / f"{name}.html").as_uri())
                wide = "return document.documentElement.scrollWidth"
                assert browser.execute_script(wide) <= 390
            self.open(browser, public, wait_for)
            assert browser.execute_script("return document.documentElement.scrollWidth") <= 390
            assert browser.find_element("css selector", ".folium-map").rect["width"] > 300
            browser.save_screenshot(str(screenshots / "public_phone.png"))
        finally:
            browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        self.open(browser, public, wait_for)
        printed = browser.execute_cdp_cmd("Page.printToPDF", {"printBackground": True})
        (screenshots / "public_map.pdf").write_bytes(base64.b64decode(printed["data"]))
        browser.execute_script("window.dispatchEvent(new Event('beforeprint'))")
        inside = """const m = document.querySelector('.folium-map').getBoundingClientRect();
            return [...document.querySelectorAll('path.area')].every(p => {
              const b = p.getBoundingClientRect();
              return b.left >= m.left && b.right <= m.right && b.top >= m.top; })"""
        assert browser.execute_script(inside)
        browser.execute_script("window.dispatchEvent(new Event('afterprint'))")

    def test_nasty_names_do_no_harm(
        self, browser: Any, tmp_path: Path, wait_for: Wait, parcels: gpd.GeoDataFrame
    ) -> None:
        public = write(tmp_path, parcels, areas=_blocks(parcels), county=NASTY[0], contact=NASTY[1])
        self.open(browser, public, wait_for)
        for number in range(len(NASTY)):
            browser.execute_script(
                "document.querySelectorAll('path.area')[arguments[0]].focus()", number
            )
            name = browser.find_element("id", "area-name").text
            assert "49" not in name
        for page in ("index", "table"):
            browser.get((public / f"{page}.html").as_uri())
            assert browser.execute_script("return window.hurt") is None
            images = "return document.querySelectorAll('img[src=x]').length"
            assert browser.execute_script(images) == 0
        assert browser.get_log("browser") == []
