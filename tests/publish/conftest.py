from __future__ import annotations

import importlib.util
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import geopandas as gpd
import pytest

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


@pytest.fixture(scope="session")
def made() -> ModuleType:
    """The generator of an invented ranked county that the benchmark uses as well."""
    path = REPO / "benchmarks" / "map_page_input.py"
    spec = importlib.util.spec_from_file_location("map_page_input", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["map_page_input"] = module
    spec.loader.exec_module(module)
    return module


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
