"""The map by keyboard, on a telephone and on paper, and the contrast of what is written."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from typing import Any

import pypdf
import pytest

from riskmap.publish.palette import contrast

pytestmark = pytest.mark.browser

LOW_CONTRAST = """
const shown = (e) => e.offsetParent && getComputedStyle(e).visibility === 'visible';
const own = (e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
const ground = (e) => { for (; e; e = e.parentElement) {
  const c = getComputedStyle(e).backgroundColor;
  if (!/, 0\\)$|transparent/.test(c)) return c; } return 'rgb(255, 255, 255)'; };
return [...document.querySelectorAll('body *')].filter((e) => shown(e) && own(e) && !e.disabled &&
  !e.closest('.unseen, .skip, svg, :disabled')).map((e) => [e.tagName + '.' + e.className,
  getComputedStyle(e).color, ground(e), e.textContent.trim().slice(0, 30)]);
"""


def _hex(color: str) -> str:
    parts = color[color.index("(") + 1 : -1].split(",")[:3]
    return "#" + "".join(f"{int(float(part)):02x}" for part in parts)


class TestKeyboard:
    def test_keyboard_alone(self, page: Any) -> None:
        page.run("county.map.getContainer().focus()")
        place = page.run("return county.map.getCenter().lng")
        holder = page.browser.switch_to.active_element
        holder.send_keys("\ue014")  # arrow right
        page.wait_for(f"county.map.getCenter().lng > {place}")
        page.run(
            """const [x, y] = county.parcels.middle(100);
            county.map.setView(county.toDegrees(x, y), 17, {animate: false})"""
        )
        holder.send_keys("\ue007")
        page.wait_for("!document.getElementById('card').hidden")
        holder.send_keys("\ue00c")
        page.wait_for("document.getElementById('card').hidden")

    def test_tab_reaches_search_choice_and_map(self, page: Any) -> None:
        page.run("document.activeElement.blur()")
        seen = set()
        page.browser.find_element("tag name", "body").send_keys("\ue004")
        for _ in range(45):
            active = page.browser.switch_to.active_element
            seen.add(active.get_attribute("id") or active.get_attribute("name") or "")
            active.send_keys("\ue004")
        assert {"search", "print", "show", "map_county"} <= seen

    def test_everything_to_press_has_a_name(self, page: Any, full: Any) -> None:
        page.choose(str(full.pairs["parcel_id"].iloc[0]))
        unnamed = page.run(
            """return [...document.querySelectorAll('button, input, select, a[href], summary')]
            .filter((e) => !(e.labels && e.labels.length) && !e.getAttribute('aria-label') &&
              !e.title && !e.textContent.trim()).map((e) => e.outerHTML)"""
        )
        assert unnamed == []


class TestContrast:
    def test_every_text_reaches_four_and_a_half_to_one(self, page: Any, full: Any) -> None:
        # WCAG 2.1, success criterion 1.4.3.
        page.choose(str(full.pairs["parcel_id"].iloc[0]))
        page.run(
            """document.querySelectorAll('details').forEach((d) => { d.open = true; });
            document.querySelector('[data-layer=zones]').click();"""
        )
        page.settle()
        found = page.run(LOW_CONTRAST)
        assert len(found) > 150
        low = [e for e in found if contrast(_hex(e[1]), _hex(e[2])) < 4.5]
        assert low == []


class TestTelephone:
    def test_telephone(self, map_page: Any, map_folder: Path, full: Any, screenshots: Path) -> None:
        browser = map_page.browser
        metrics = {"width": 390, "height": 780, "deviceScaleFactor": 2, "mobile": True}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
        try:
            map_page.open(map_folder)
            wide = "return document.documentElement.scrollWidth"
            assert map_page.run(wide) <= 390
            browser.save_screenshot(str(screenshots / "map_telephone.png"))
            browser.find_element("id", "panel-button").click()
            assert browser.find_element("id", "panel").is_displayed()
            browser.save_screenshot(str(screenshots / "map_telephone_panel.png"))
            browser.find_element("id", "panel-button").click()
            map_page.choose(str(full.pairs["parcel_id"].iloc[0]))
            map_page.settle()
            browser.save_screenshot(str(screenshots / "map_telephone_card.png"))
            assert browser.find_element("id", "card").rect["width"] == 390
            assert map_page.run(wide) <= 390
            small = map_page.run(
                """const all = 'button:not(.plain), input[type=search], select';
                const low = (e) => e.offsetParent && e.offsetHeight < 32;
                return [...document.querySelectorAll(all)].filter(low).map((e) => e.id)"""
            )
            assert small == []
            links = map_page.run(
                "return [...document.querySelectorAll('button.plain')].map((e) => e.offsetHeight)"
            )
            assert links
            assert min(links) >= 24  # WCAG 2.2, success criterion 2.5.8
        finally:
            browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


class TestPrint:
    def test_print_holds_map_legend_card_and_cautions(
        self, page: Any, full: Any, screenshots: Path
    ) -> None:
        parcel = str(full.pairs["parcel_id"].iloc[0])
        page.choose(parcel, move=False)
        browser = page.browser
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
        page.run("window.dispatchEvent(new Event('beforeprint'))")
        try:
            assert browser.find_element("id", "key-score").is_displayed()
            assert "Only a site visit" in browser.find_element("id", "foot").text
            assert not browser.find_element("id", "search").is_displayed()
            assert page.run("return county.jobsLeft()") == 0
            printed = browser.execute_cdp_cmd(
                "Page.printToPDF", {"printBackground": True, "landscape": True}
            )
            content = base64.b64decode(printed["data"])
            (screenshots / "map_print.pdf").write_bytes(content)
            pages = pypdf.PdfReader(io.BytesIO(content)).pages
            first = pages[0].extract_text()
            assert "Not ranked" in first
            assert "screening" in first
            rest = " ".join(p.extract_text() for p in pages[1:])
            assert parcel in rest
            assert "How likely it has failed" in rest
            assert "Drinking wells its water may reach" in rest
            assert len(pages) <= 4
            place = browser.find_element("id", "map_county").rect
            assert place["height"] > 400
            assert place["y"] < 100
            browser.save_screenshot(str(screenshots / "map_print.png"))
        finally:
            browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
