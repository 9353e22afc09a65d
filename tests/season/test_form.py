"""The telephone form in a real browser: filled in by touch, saved, and recorded."""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest
from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.support import expected_conditions as ec
from selenium.webdriver.support.ui import WebDriverWait

from riskmap.contract.visits import FOUND_WORDS, QUESTIONS
from riskmap.outcomes.log import visits
from riskmap.region.sections import Region
from riskmap.season.form import form_page
from riskmap.season.recording import record
from tests.season.filling import RUN, TODAY

HOSTILE = "</script><script>alert(1)</script> 'Elm' \"St\""


@pytest.fixture
def stops(listed: pd.DataFrame) -> pd.DataFrame:
    first = listed.sort_values("rank").head(3)
    return first.assign(
        stop=[1, 2, 3], begins=["08:10", "09:00", "10:00"], visit=["list", "audit", "list"],
        date=TODAY, inspector="A B", address=[HOSTILE, "2 Made-up Road", None], road="Made-up Road",
    )  # fmt: skip


@pytest.fixture
def page(own: Region, stops: pd.DataFrame, tmp_path: Path) -> Path:
    path = tmp_path / "day.html"
    county = own.county.name
    path.write_text(form_page(stops, name="day_1", county=county, run=RUN, units="us"))
    return path


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[webdriver.Chrome]:
    chromium, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if chromium is None or driver is None:
        pytest.skip("no headless Chromium on this machine")
    options = Options()
    options.binary_location = chromium
    for word in ("--headless=new", "--no-sandbox", "--disable-gpu", "--window-size=390,844"):
        options.add_argument(word)
    options.add_experimental_option("prefs", {"download.default_directory": str(tmp_path / "got")})
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    with webdriver.Chrome(options=options, service=Service(driver)) as opened:
        yield opened


def test_the_page_is_one_file_that_asks_the_network_for_nothing(page: Path) -> None:
    text = page.read_text()
    assert "src=" not in text
    assert "http" not in text.replace("http-equiv", "")
    assert HOSTILE not in text
    assert "default-src 'none'" in text


@pytest.mark.browser
def test_it_is_filled_in_by_touch_and_recorded(
    browser: webdriver.Chrome, page: Path, own: Region, stops: pd.DataFrame, tmp_path: Path
) -> None:
    browser.get(page.as_uri())
    first = browser.find_elements(By.TAG_NAME, "details")[0]
    assert HOSTILE in first.text
    first.find_element(By.TAG_NAME, "summary").click()
    asked = [legend.text.split(" –")[0] for legend in first.find_elements(By.TAG_NAME, "legend")]
    assert asked == [question.label for question in QUESTIONS]

    def touch(word: str) -> None:
        button = first.find_element(By.XPATH, f".//button[text()='{word}']")
        browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", button)
        assert button.size["height"] >= 44  # a fingertip: WCAG 2.2, 2.5.5
        button.click()

    def write(name: str, words: str) -> None:
        place = first.find_element(By.CSS_SELECTOR, f"[data-name={name}]")
        browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", place)
        place.send_keys(words)

    assert [w for w in FOUND_WORDS if first.find_elements(By.XPATH, f".//button[text()='{w}']")]
    touch("stressed")
    touch("failed")
    touch("full")
    touch("owner")
    touch("yes")
    write("ponding_cm", "6")
    write("notes", 'gate; "code" 12 é')
    canvas = first.find_element(By.TAG_NAME, "canvas")
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", canvas)
    drag = ActionChains(browser).move_to_element(canvas).click_and_hold()
    drag.move_by_offset(40, 20).move_by_offset(20, -30).release().perform()
    counted = ec.text_to_be_present_in_element((By.ID, "state"), "1 of 3 stops")
    WebDriverWait(browser, 20).until(counted)

    def opened_again(browser: webdriver.Chrome) -> bool:
        """The telephone was closed in between; a busy browser takes a moment to store."""
        browser.get(page.as_uri())
        return "1 of 3 stops" in browser.find_element(By.ID, "state").text

    WebDriverWait(browser, 20, poll_frequency=1).until(opened_again)
    browser.find_element(By.ID, "save").click()
    saved = tmp_path / "got" / "day_1.json"
    for _ in range(100):
        if saved.exists():
            break
        time.sleep(0.1)
    (told,) = json.loads(saved.read_text())["visits"]
    assert told["ponding_cm"] == pytest.approx(15.24)
    assert told["sketch"].startswith("M")
    (done,) = record(own, [saved], today=TODAY)
    assert (done.new, done.wrong, done.run) == (1, 0, RUN)
    (row,) = visits(own.log_place).to_dict("records")
    assert row["parcel_id"] == stops.index[0]
    assert (row["found"], row["access"], row["met"]) == ("failed", "full", "owner")
    assert row["visited_by"] == "A B"
    assert row["notes"] == 'gate; "code" 12 é'
    assert row["visited_on"] == pd.Timestamp(TODAY)
    errors = [line for line in browser.get_log("browser") if line["level"] == "SEVERE"]
    assert errors == []
    asked_for = [line["message"] for line in browser.get_log("performance")]
    assert not [m for m in asked_for if '"requestWillBeSent"' in m and '"url":"http' in m]
