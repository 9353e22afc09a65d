"""Every page by keyboard, on a small telephone, and the contrast of every text on it.

WCAG 2.1: 1.4.3 contrast of text, 1.4.10 reflow, 2.1.1 keyboard, 2.4.7 visible focus.
"""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from riskmap.contract.features import FEATURES
from riskmap.contract.rules import Rules
from riskmap.publish.front_page import compose_front_page
from riskmap.publish.palette import contrast
from riskmap.publish.report.pages import write_report
from riskmap.publish.summary import found_of
from riskmap.publish.words.imprint import Imprint
from riskmap.region.model_file import read_model
from riskmap.stages.stage import File

pytestmark = pytest.mark.browser

PAGES = (
    "index.html",
    "report/index.html",
    "public/index.html",
    "public/table.html",
    "public/map.html",
)
SMALL = {"width": 360, "height": 740, "deviceScaleFactor": 1, "mobile": True}

TEXTS = """
const shown = (e) => e.getClientRects().length && getComputedStyle(e).visibility === 'visible';
const own = (e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
const ground = (e) => { for (; e; e = e.parentElement) {
  const c = getComputedStyle(e).backgroundColor;
  if (!/, 0\\)$|transparent/.test(c)) return c; } return 'rgb(255, 255, 255)'; };
return [...document.querySelectorAll('body *')].filter((e) => shown(e) && own(e) &&
  !e.closest('.unseen, .skip, svg, script, style, .leaflet-tooltip-pane, .leaflet-marker-pane'))
  .map((e) => [e.tagName + '.' + e.className, getComputedStyle(e).color, ground(e),
  e.textContent.trim().slice(0, 30)]);
"""
CONTROLS = """
const pressable = 'a[href], button, input, select, textarea, summary, [tabindex="0"]';
const groups = new Set();
return [...document.querySelectorAll(pressable)].filter((e) => {
  if (e.disabled || !e.getClientRects().length || e.tabIndex < 0) return false;
  const folded = e.closest('details:not([open])');
  if (folded && !(e.tagName === 'SUMMARY' && e.parentElement === folded)) return false;
  if (e.type !== 'radio') return true;
  if (groups.has(e.name)) return false;  // arrow keys move inside a group
  groups.add(e.name);
  return true;
}).length;
"""
FOCUSED = """
const e = document.activeElement;
if (!e || e === document.body) return null;
const ring = (n) => n && getComputedStyle(n).outlineStyle !== 'none' &&
  parseFloat(getComputedStyle(n).outlineWidth) >= 2;
const marked = ring(e) || ring(e.closest('label')) || e.matches('.area');
const box = e.getBoundingClientRect();
const seen = box.width > 0 && box.bottom > 0 && box.top < innerHeight;
window.order = window.order || [];
const again = window.order.includes(e);
if (!again) window.order.push(e);
return [(e.id || e.textContent.trim().slice(0, 30) || e.tagName), marked, seen, again];
"""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory, full: Any, public_county: Any) -> Path:
    """A result folder with front page, report and public edition."""
    place = tmp_path_factory.mktemp("site")
    imprint = Imprint("Example County", datetime.date(2026, 6, 1))
    defects = pd.DataFrame(
        {
            "layer": ["permits"] * 2,
            "column": ["field_area_m2_with_a_long_name"] * 2,
            "check": ["coordinate" * 3] * 2,
            "action": ["the first pair is used and the rest are left out"] * 2,
            "row": [1, 2],
            "value": ["", ""],
        }
    )
    (place / "a.csv").write_text("a\n")
    link = File("a.csv", "A file with a rather long title", "A meaning of quite some length.")
    text = compose_front_page(found_of(full.ranked, defects), imprint, links=[link])
    (place / "index.html").write_text(text, encoding="utf-8")
    write_report(
        place,
        full.ranked,
        imprint,
        model=read_model(None, features=FEATURES),
        head=100,
        visits=40,
        rules=Rules(),
    )
    public_county.write(place, contact=public_county.contact, layers=public_county.layers)
    return place


def _hex(color: str) -> str:
    parts = color[color.index("(") + 1 : -1].split(",")[:3]
    return "#" + "".join(f"{int(float(part)):02x}" for part in parts)


def _open(browser: Any, path: Path) -> None:
    browser.get("about:blank")
    browser.get(path.as_uri())


@pytest.mark.parametrize("name", PAGES)
class TestEveryPage:
    def test_nothing_sticks_out_on_a_small_telephone(
        self, browser: Any, site: Path, name: str
    ) -> None:
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", SMALL)
        try:
            _open(browser, site / name)
            assert browser.execute_script("return document.documentElement.scrollWidth") <= 360
        finally:
            browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})

    @pytest.mark.parametrize("width_mm", [215.9 - 32, 210 - 32], ids=["letter", "a4"])
    def test_nothing_is_cut_on_paper(
        self, browser: Any, site: Path, name: str, width_mm: float
    ) -> None:
        # Upright letter and A4 (ISO 216) within margins of 16 mm; 96 px to the inch (CSS Values).
        paper = {**SMALL, "width": int(width_mm / 25.4 * 96), "height": 900, "mobile": False}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", paper)
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
        try:
            _open(browser, site / name)
            wide = browser.execute_script(
                """return [...document.querySelectorAll('table, figure, p, ul')].filter((e) =>
                e.getClientRects().length && !e.closest('.unseen') &&
                e.getBoundingClientRect().right > innerWidth + 1).map((e) => e.outerHTML)"""
            )
            assert wide == []
        finally:
            browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
            browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})

    def test_contrast_of_every_text(self, browser: Any, site: Path, name: str) -> None:
        _open(browser, site / name)
        found = browser.execute_script(TEXTS)
        assert len(found) > 15
        assert [e for e in found if contrast(_hex(e[1]), _hex(e[2])) < 4.5] == []

    def test_tab_reaches_every_control_and_shows_where_it_is(
        self, browser: Any, site: Path, name: str
    ) -> None:
        _open(browser, site / name)
        reached = _walk(browser)
        assert len(reached) >= browser.execute_script(CONTROLS) > 0
        assert [e[0] for e in reached if not (e[1] and e[2])] == []


def test_tab_reaches_every_control_of_the_staff_map(page: Any) -> None:
    page.run("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    page.wait_for("document.querySelectorAll('#weights-box input').length > 0")
    page.settle()
    page.run("document.activeElement.blur(); window.getSelection().removeAllRanges()")
    reached = _walk(page.browser)
    assert len(reached) >= page.run(CONTROLS) > 60
    assert [e[0] for e in reached if not (e[1] and e[2])] == []


def test_soils_can_be_seen_under_the_parcels(page: Any) -> None:
    pane = "parseFloat(getComputedStyle(document.querySelector('.leaflet-parcels-pane')).opacity)"
    assert page.run(f"return {pane}") == 1
    page.run("document.querySelector('[data-layer=soils]').click()")
    page.wait_for(f"{pane} < 0.3")
    assert "Parcels are pale" in page.browser.find_element("id", "key-soils").text
    page.run("document.querySelector('[data-layer=soils]').click()")
    page.wait_for(f"{pane} === 1")


def _walk(browser: Any) -> list[list[Any]]:
    """Press Tab until it comes round; name, visible ring and place in sight of each stop."""
    reached: list[list[Any]] = []
    body = browser.find_element("tag name", "body")
    body.send_keys("\ue004")
    for _ in range(600):
        stop = browser.execute_script(FOCUSED)
        if stop is None or stop[3]:
            break
        reached.append(stop)
        browser.switch_to.active_element.send_keys("\ue004")
    return reached
