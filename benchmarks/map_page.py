"""Time the county map in a headless browser, with the composer's own GeoJSON layer beside it.

    python benchmarks/map_page.py                 # 150,000 parcels
    python benchmarks/map_page.py --parcels 3000 --plain 1000
    python benchmarks/map_page.py --region COUNTY/region.toml --plain

The county is invented (:mod:`map_page_full` tells how); with `--region` it is one that is run
first, with every column tied to the others as a run ties it. The page opens from disk with no
network and no graphics processor. Printed are the packed data's size, the first paint (from
navigation to every tile of the first view on the screen), the time of a frame while panning, and
the time from a filter, a layer switch or a moved weight to its picture.
"""

from __future__ import annotations

import argparse
import datetime
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import folium
from selenium import webdriver
from selenium.common.exceptions import TimeoutException, WebDriverException
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parent)]

from map_page_full import TOP, make_full  # noqa: E402
from map_page_input import make_layers, make_ranked, make_terrain  # noqa: E402

from riskmap.publish.map.county_map import county_map  # noqa: E402
from riskmap.publish.map.webmap import MapReport, write_map  # noqa: E402
from riskmap.publish.words.imprint import Imprint  # noqa: E402
from riskmap.running import assess, open_region  # noqa: E402

PAN = """
const done = arguments[arguments.length - 1], frames = [];
let last = performance.now();
const end = last + 4000;
let side = 1;
const turn = setInterval(() => { side = -side; }, 1300);
function step(now) {
  frames.push(now - last);
  last = now;
  county.map.panBy([6 * side, 3 * side], { animate: false });
  if (now < end) requestAnimationFrame(step);
  else { clearInterval(turn); done(frames.slice(2)); }
}
requestAnimationFrame(step);
"""
AFTER = """
const done = arguments[arguments.length - 1], began = performance.now();
{act}
requestAnimationFrame(() => setTimeout(() => done(performance.now() - began)));
"""
FILTER = "county.state.filters = county.state.filters.age_from ? {} : { age_from: '30' };"
FILTER += "county.tell('filter');"
SWITCH = "const next = [...document.querySelectorAll('input[name=show]')].find((r) => !r.checked);"
SWITCH += "next.click();"
WEIGHT = "const factor = county.scores.factors[0];"
WEIGHT += "county.scores.setWeight(factor.name, factor.weight + 1); county.tell('weights');"
FIND = "county.find('77 hazel');"
CARD = """
const done = arguments[0], began = performance.now();
county.choose(1000, false).then(() => { county.closeCard(); done(performance.now() - began); });
"""
DETAILS = """
const done = arguments[0], began = performance.now();
county.needDetails().then(() => { county.scores.factors.forEach((f) => f.column.numbers());
  done(performance.now() - began); });
"""
VIEW = """
const done = arguments[arguments.length - 1], zoom = arguments[0];
county.map.setView(county.map.getCenter(), zoom, { animate: false });
const began = performance.now();
(function wait() {
  if (performance.now() - began > 20 && county.jobsLeft() === 0) done(performance.now() - began);
  else requestAnimationFrame(wait);
})();
"""


def open_browser(profile: Path) -> webdriver.Chrome:
    """Start Chromium without a window, a graphics processor or a network."""
    options = Options()
    options.binary_location = shutil.which("chromium") or ""
    for flag in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--window-size=1280,900",
        "--host-resolver-rules=MAP * ~NOTFOUND",
        f"--user-data-dir={profile}",
    ):
        options.add_argument(flag)
    return webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))


def main() -> None:
    """Run the comparison and print it."""
    parser = argparse.ArgumentParser(description="Time the county map in a headless browser.")
    parser.add_argument("--parcels", type=int, default=150_000)
    parser.add_argument("--plain", type=int, nargs="*", default=[1_000, 5_000])
    parser.add_argument("--region", type=Path, help="run this region file and map its result")
    parser.add_argument("--timeout", type=float, default=120.0)
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        if wanted.region is None:
            _timed(Path(folder), _write_invented(wanted.parcels), wanted.timeout)
        else:
            _timed(Path(folder), _write_run(wanted.region), wanted.timeout)
        for count in wanted.plain:
            _plain(Path(folder), count, wanted.timeout)


def _write_invented(count: int) -> Callable[[Path], MapReport]:
    base = make_ranked(count)
    county = make_full(base, make_layers(base))
    _line("parcels", f"{count:,}, {len(county.model.factors)} factors, {len(county.pairs):,} pairs")
    terrain = make_terrain(base, cells=1200)
    return lambda folder: write_map(
        folder,
        county.ranked,
        Imprint("Example County", datetime.date(2025, 6, 30)),
        model=county.map_model,
        layers=county.layers,
        terrain=terrain,
        threats=county.pairs,
        top=TOP,
    )


def _write_run(region: Path) -> Callable[[Path], MapReport]:
    result = assess(open_region(region))
    ranked = int(result.parcels["rank"].notna().sum())
    _line(
        "parcels",
        f"{len(result.parcels):,}, {ranked:,} ranked, {len(result.model.factors)} factors",
    )
    return lambda folder: county_map(folder, result)


def _timed(folder: Path, write: Callable[[Path], MapReport], timeout: float) -> None:
    began = time.perf_counter()
    report = write(folder)
    _line("writing", f"{time.perf_counter() - began:.1f} s")
    _line("data to open", f"{report.opening_bytes / 1e6:.2f} MB")
    _line("all other data", f"{report.details_bytes / 1e6:.2f} MB")
    for name, size in report.sizes.items():
        _line(f"  {name}", f"{size / 1e6:.2f} MB")
    browser = open_browser(folder / "profile")
    try:
        browser.set_script_timeout(timeout)
        paints = [_open(browser, folder / "map" / "index.html", timeout) for _ in range(3)]
        _line("first paint", f"{statistics.median(p[0] for p in paints) / 1000:.2f} s")
        _line("all ready", f"{statistics.median(p[1] for p in paints) / 1000:.2f} s")
        _line("first card", f"{browser.execute_async_script(CARD):.0f} ms")
        _line("all details", f"{browser.execute_async_script(DETAILS):.0f} ms")
        first_zoom = round(browser.execute_script("return county.map.getZoom()"))
        for zoom in range(first_zoom, min(18, first_zoom + 5)):
            _at_zoom(browser, zoom)
        _line("search", f"{_after(browser, FIND):.0f} ms")
        heap = browser.execute_script("return performance.memory.usedJSHeapSize")
        _line("heap", f"{heap / 1e6:.0f} MB")
    finally:
        browser.quit()


def _at_zoom(browser: webdriver.Chrome, zoom: int) -> None:
    redraw = browser.execute_async_script(VIEW, zoom)
    times = {
        name: _after(browser, act)
        for name, act in (("filter", FILTER), ("switch", SWITCH), ("weight", WEIGHT))
    }
    frames = sorted(browser.execute_async_script(PAN))
    middle, late = statistics.median(frames), frames[int(0.95 * len(frames))]
    words = ", ".join(f"{name} {value:.0f} ms" for name, value in times.items())
    pan = f"pan frame {middle:.1f} ms (95th percentile {late:.1f})"
    _line(f"zoom {zoom}", f"redraw {redraw:.0f} ms, {words}, {pan}")


def _open(browser: webdriver.Chrome, page: Path, timeout: float) -> tuple[float, float]:
    browser.get("about:blank")
    browser.get(page.as_uri())
    end = time.monotonic() + timeout
    while time.monotonic() < end:
        state: Any = browser.execute_script(
            "return window.county ? [county.firstPaint, county.ready] : [0, 0]"
        )
        if state[1]:
            return float(state[0]), float(state[1])
        time.sleep(0.05)
    raise SystemExit(f"the map did not open in time: {browser.get_log('browser')}")


def _after(browser: webdriver.Chrome, act: str) -> float:
    script = AFTER.replace("{act}", act)
    return statistics.median(float(browser.execute_async_script(script)) for _ in range(5))


def _plain(folder: Path, count: int, timeout: float) -> None:
    """Time the same parcels by the composer's GeoJSON layer with a style function."""
    ranked = make_ranked(count)[["priority", "address", "geometry"]].reset_index().to_crs(4326)
    began = time.perf_counter()
    center = ranked.total_bounds
    chart = folium.Map(
        [(center[1] + center[3]) / 2, (center[0] + center[2]) / 2], zoom_start=14, tiles=None
    )
    script = (folder / "map" / "page" / "leaflet.js").as_uri()
    chart.default_js, chart.default_css = [("leaflet", script)], []
    folium.GeoJson(
        ranked,
        style_function=lambda row: {
            "fillColor": _shade(row["properties"]["priority"]),
            "weight": 1,
        },
        popup=None,
    ).add_to(chart)
    page = folder / f"plain_{count}.html"
    chart.save(str(page))
    written = time.perf_counter() - began
    browser = open_browser(folder / f"profile_{count}")
    try:
        browser.set_page_load_timeout(timeout)
        began = time.perf_counter()
        browser.get(page.as_uri())
        browser.execute_async_script("requestAnimationFrame(() => setTimeout(arguments[0]))")
        opened = f"opened in {time.perf_counter() - began:.1f} s"
    except (TimeoutException, WebDriverException):
        opened = f"not open after {timeout:.0f} s"
    finally:
        browser.quit()
    size = page.stat().st_size / 1e6
    _line(f"GeoJSON layer, {count:,}", f"{size:.1f} MB, written in {written:.1f} s, {opened}")


def _shade(priority: float | None) -> str:
    return "#cccccc" if priority is None else f"#{int(255 - 2 * priority):02x}6040"


def _line(name: str, value: str) -> None:
    print(f"{name:<24}{value}", flush=True)


if __name__ == "__main__":
    main()
