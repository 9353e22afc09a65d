"""The built handbook: no warning, every page there, search without a network, checks recorded."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from riskmap.contract.errors import OutputError
from riskmap.handbook_place import handbook_address
from tests.test_handbook import load

REPO = Path(__file__).resolve().parents[2]
validation = load("docs.site.validation")
build = load("docs.site.build")
ONE = validation.Check("a sum", "Nobody 1900", True, [(1.0, 1.0, 0.1), (2.04, 2.0, 0.05)])


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the handbook in a process of its own, as `make handbook` does, without the checks."""
    pytest.importorskip("sphinx", reason="the handbook is built with the extra docs")
    pytest.importorskip("myst_parser", reason="the handbook is built with the extra docs")
    out = tmp_path_factory.mktemp("handbook")
    page = validation.validation_page({"tests/published/test_x.py::test_a": ONE})
    work = (
        "import sys, pathlib; from docs.site.build import build;"
        "sys.exit(build(pathlib.Path(sys.argv[1]), validation=sys.argv[2]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", work, str(out), page], cwd=REPO, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return out


class TestPages:
    def test_every_page_is_built_and_in_the_contents(self, site: Path) -> None:
        contents = (site / "index.html").read_text(encoding="utf-8")
        for page in (REPO / "docs").rglob("*.md"):
            built = page.relative_to(REPO).with_suffix(".html").as_posix()
            assert (site / built).is_file()
            assert f'href="{built}"' in contents, built

    def test_nothing_is_asked_of_a_network(self, site: Path) -> None:
        asked = re.compile(r'(?:src|<link[^>]*href)="(?:https?:)?//')
        pages = [p for p in site.rglob("*.html") if asked.search(p.read_text(encoding="utf-8"))]
        assert pages == []

    def test_the_gallery_shows_every_picture(self, site: Path) -> None:
        shown = (site / "gallery.html").read_text(encoding="utf-8")
        pictures = {p.name for p in (REPO / "docs/pictures").glob("*.svg")}
        assert {name for name in pictures if name not in shown} == set()

    def test_the_place_is_told(self, site: Path, tmp_path: Path) -> None:
        assert handbook_address(site / "index.html").startswith("file:///")
        with pytest.raises(OutputError, match="make handbook"):
            handbook_address(tmp_path / "index.html")


@pytest.mark.browser
def test_search_works_from_disk(site: Path, browser: Any) -> None:
    browser.get((site / "search.html").as_uri() + "?q=plume")
    from selenium.webdriver.support.ui import WebDriverWait

    def titles(driver: Any) -> list[str]:
        return [found.text for found in driver.find_elements("css selector", "#search-results a")]

    found = WebDriverWait(browser, 20).until(titles)
    assert any("plume" in title.lower() for title in found)


class TestChecks:
    def test_the_closest_call_is_shown(self) -> None:
        page = validation.validation_page({"tests/published/test_x.py::test_a": ONE})
        assert "| a sum | 2 | 2 | 2.04 | 0.05 | 80% |" in page
        assert "1 checks, 2 numbers compared" in page

    def test_comparisons_of_a_run_are_recorded(self, tmp_path: Path) -> None:
        (tmp_path / "test_made_up.py").write_text(
            '"""Made-up sums."""\nimport pytest\n\n\ndef test_sums():\n'
            '    """Two sums."""\n    assert [1.0, 2.02] == pytest.approx([1.0, 2.0], abs=0.1)\n'
            "    assert 3.0 == pytest.approx(3.0)\n"
        )
        work = (
            "import sys, json, pathlib; from docs.site.validation import run_checks;"
            "found = run_checks(pathlib.Path(sys.argv[1]));"
            "print(json.dumps([[c.says, c.source, c.compared] for c in found.values()]))"
        )
        done = subprocess.run(
            [sys.executable, "-c", work, str(tmp_path)], cwd=REPO, capture_output=True, text=True,
            check=True,
        )  # fmt: skip
        ((says, source, compared),) = json.loads(done.stdout.splitlines()[-1])
        assert (says, source) == ("Two sums.", "Made-up sums.")
        assert [one[:2] for one in compared] == [[1.0, 1.0], [2.02, 2.0], [3.0, 3.0]]
