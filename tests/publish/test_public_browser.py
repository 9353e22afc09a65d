"""The public pages in a real browser, from disk, without a network."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from riskmap.action.aggregate import TOTAL

pytestmark = pytest.mark.browser

Wait = Callable[[str], Any]


def plan_of(public: Path) -> dict[str, Any]:
    page = (public / "map.html").read_text(encoding="utf-8")
    start = page.index("publicMap.start(")
    return json.JSONDecoder().raw_decode(page, page.index("{", start))[0]


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

    def test_views_change_colors(self, browser: Any, public: Path, wait_for: Wait) -> None:
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
        self, browser: Any, tmp_path: Path, wait_for: Wait, public_county: Any
    ) -> None:
        nasty = public_county.nasty
        public = public_county.write(
            tmp_path, areas=public_county.blocks(), county=nasty[0], contact=nasty[1]
        )
        self.open(browser, public, wait_for)
        for number in range(len(nasty)):
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
