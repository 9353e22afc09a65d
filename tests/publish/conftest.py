from __future__ import annotations

import datetime
import importlib.util
import json
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from riskmap.publish.map.webmap import write_map
from riskmap.publish.public.edition import write_public_edition
from riskmap.publish.words.imprint import Imprint

REPO = Path(__file__).resolve().parents[2]

FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND",
)


def _load(name: str) -> ModuleType:
    """Load a module of the benchmarks folder."""
    spec = importlib.util.spec_from_file_location(name, REPO / "benchmarks" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def made() -> ModuleType:
    """The generator of an invented ranked county that the benchmark uses as well."""
    return _load("map_page_input")


@pytest.fixture(scope="session")
def ranked(made: ModuleType) -> gpd.GeoDataFrame:
    return made.make_ranked(900)


@pytest.fixture
def screenshots() -> Path:
    """Where screenshots are kept for looking at; git ignores the default place."""
    folder = Path(os.environ.get("RISKMAP_SCREENSHOTS", REPO / "screenshots"))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Headless Chromium that cannot reach any network."""
    chromium, chromedriver = shutil.which("chromium"), shutil.which("chromedriver")
    if not chromium or not chromedriver:
        pytest.skip("browser tests need chromium and chromedriver on the path")
    from selenium import webdriver
    from selenium.webdriver.chrome.options import Options
    from selenium.webdriver.chrome.service import Service

    with tempfile.TemporaryDirectory() as profile:
        options = Options()
        options.binary_location = chromium
        for flag in (*FLAGS, f"--user-data-dir={profile}", "--window-size=1360,900"):
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
        driver = webdriver.Chrome(options=options, service=Service(chromedriver))
        driver.set_script_timeout(30)
        driver.execute_cdp_cmd("Network.enable", {})
        driver.execute_cdp_cmd(
            "Network.emulateNetworkConditions",
            {"offline": True, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0},
        )
        yield driver
        driver.quit()


@pytest.fixture
def wait_for(browser: Any) -> Callable[[str], Any]:
    """Wait until a JavaScript expression is true; fail with what the page says otherwise."""
    from selenium.common.exceptions import TimeoutException
    from selenium.webdriver.support.ui import WebDriverWait

    def wait(expression: str) -> Any:
        try:
            return WebDriverWait(browser, 20, 0.05).until(
                lambda driver: driver.execute_script(f"return {expression}")
            )
        except TimeoutException:
            pytest.fail(f"never true: {expression}; console: {browser.get_log('browser')}")

    return wait


@dataclass(frozen=True)
class MapPage:
    """The map in a browser: open one, ask it, act on it."""

    browser: Any
    wait_for: Callable[[str], Any]

    def open(self, folder: Path, link: str = "") -> Any:
        self.browser.get("about:blank")
        self.browser.get_log("browser")
        self.browser.get_log("performance")
        self.browser.get((folder / "map" / "index.html").as_uri() + link)
        self.settle()
        return self.browser

    def settle(self) -> None:
        self.wait_for("!!(window.county && county.ready && county.jobsLeft() === 0)")

    def run(self, script: str, *values: Any) -> Any:
        return self.browser.execute_script(script, *values)

    def read_details(self) -> None:
        self.browser.execute_async_script("county.needDetails().then(() => arguments[0]())")

    def choose(self, parcel: str, *, move: bool = True) -> str:
        """Open a parcel's card and return its text."""
        script = "county.choose(arguments[0], arguments[1]).then(() => arguments[2]())"
        self.browser.execute_async_script(script, self.row(parcel), move)
        return str(self.browser.find_element("id", "card-body").text)

    def row(self, parcel: str) -> int:
        return int(self.run("return county.facts.parcel_id.lines().indexOf(arguments[0])", parcel))

    def errors(self) -> list[str]:
        return [entry["message"] for entry in self.browser.get_log("browser")]

    def requests(self) -> list[str]:
        events = [json.loads(entry["message"])["message"]
                  for entry in self.browser.get_log("performance")]  # fmt: skip
        return [
            event["params"]["request"]["url"]
            for event in events
            if event["method"] == "Network.requestWillBeSent"
        ]

    def set(self, field: str, value: object) -> None:
        self.run(
            """const e = document.getElementById(arguments[0]); e.value = arguments[1];
            e.dispatchEvent(new Event('input', {bubbles: true}))""",
            field,
            str(value),
        )


@pytest.fixture
def map_page(browser: Any, wait_for: Callable[[str], Any]) -> MapPage:
    return MapPage(browser, wait_for)


@pytest.fixture(scope="session")
def made_full() -> ModuleType:
    """The generator of all that a run puts on the map, scored by the bundled model."""
    return _load("map_page_full")


@pytest.fixture(scope="session")
def full(made: ModuleType, made_full: ModuleType, ranked: gpd.GeoDataFrame) -> Any:
    """The lots of `ranked` with everything on them."""
    return made_full.make_full(ranked, made.make_layers(ranked))


@pytest.fixture(scope="session")
def map_folder(tmp_path_factory: pytest.TempPathFactory, full: Any, made: ModuleType) -> Path:
    """A result folder with the map of `full`."""
    place = tmp_path_factory.mktemp("result")
    write_map(
        place,
        full.ranked,
        Imprint("Example County", datetime.date(2025, 6, 30)),
        model=full.map_model,
        layers=full.layers,
        terrain=made.make_terrain(full.ranked),
        threats=full.pairs,
        top=200,
    )
    return place


@pytest.fixture
def page(map_page: MapPage, map_folder: Path) -> MapPage:
    map_page.open(map_folder)
    return map_page


NASTY = (
    "</script><script>window.hurt=1</script>",
    '"><img src=x onerror="window.hurt=1">',
    '=HYPERLINK("http://example.invalid","x")',
    "{{ 7*7 }}{% raw %}{% endraw %}{%endraw%}",
    "12 Elm \u202e\u2066enaL",
    "@SUM(1+1)|cmd",
)


@dataclass(frozen=True)
class PublicCounty:
    """A county with private columns and much risk in its west, and its public edition written."""

    parcels: gpd.GeoDataFrame
    layers: dict[str, gpd.GeoDataFrame]
    folder: Path
    contact: str = "Example Health\n555-0100"
    nasty: tuple[str, ...] = NASTY

    def write(self, folder: Path, **more: Any) -> Path:
        """Write another public edition of it into `folder`."""
        day = datetime.date(2026, 6, 1)
        head = {name: more.pop(name) for name in ("county", "contact", "units") if name in more}
        imprint = Imprint(**{"county": "Example County", "date": day, **head})
        write_public_edition(folder, self.parcels, imprint, **{"cell_m": 800.0, **more})
        return folder / "public"

    def blocks(self) -> gpd.GeoDataFrame:
        """Six upright strips over most of the county, with nasty names."""
        west, south, east, north = self.parcels.total_bounds
        edges = np.linspace(west, west + 0.9 * (east - west), 7)
        strips = [shapely.box(a, south, b, north) for a, b in pairwise(edges)]
        names = {"name": list(self.nasty)}
        return gpd.GeoDataFrame(names, geometry=strips, crs=self.parcels.crs)


@pytest.fixture(scope="session")
def public_county(tmp_path_factory: pytest.TempPathFactory, made: ModuleType) -> PublicCounty:
    table = made.make_ranked(1500).copy()
    rng = np.random.default_rng(3)
    west = table.geometry.centroid.x < table.geometry.centroid.x.median()
    raised = (table["service"] == "onsite") & (rng.random(len(table)) < np.where(west, 0.5, 0.15))
    table["priority_class"] = table["priority_class"].mask(raised, "high")
    number = range(len(table))
    table["owner"] = [f"Owner-{n:05d} Quillfeather" for n in number]
    table["mail_name"] = [f"Trust-{n:05d}" for n in number]
    table["mail_address"] = [f"{n} Faraway Boxes" for n in number]
    table["mail_city"] = "Elsewhereville"
    table["mail_zip"] = [f"ZIP{n:05d}" for n in number]
    table["notes"] = [f"dog bites {n}" for n in number]
    table["permit_id"] = [f"PRM/{n:05d}" for n in number]
    layers = dict(made.make_layers(table))
    county = PublicCounty(table, layers, tmp_path_factory.mktemp("public_result") / "public")
    county.write(county.folder.parent, contact=county.contact, layers=layers)
    return county


@pytest.fixture
def public(public_county: PublicCounty) -> Path:
    return public_county.folder
