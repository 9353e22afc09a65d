"""The handbook: pictures are what the code draws, sources and names exist, scripts run."""

from __future__ import annotations

import importlib
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from xml.etree import ElementTree as ET

import numpy as np
import pytest

import riskmap

REPO = Path(__file__).resolve().parents[1]
DOCS = REPO / "docs"
METHODS = sorted((DOCS / "methods").glob("*.md"))
SCRIPTS = sorted((DOCS / "gallery").glob("*.py"))
KEY = re.compile(r"\[([A-Z][A-Za-z]+ \d{3,5}[a-z]?)\](?!\()")
MOST_BYTES = 60_000


def load(name: str) -> ModuleType:
    """Import a module that lies beside the packages."""
    sys.path.insert(0, str(REPO))
    try:
        return importlib.import_module(name)
    finally:
        sys.path.remove(str(REPO))


@pytest.fixture(scope="module")
def drawn() -> dict:
    """Draw every picture once."""
    return {name: draw() for name, draw in load("docs.pictures.make_all").PICTURES.items()}


def numbers_and_words(svg: str) -> tuple[np.ndarray, list[str]]:
    paths = " ".join(re.findall(r'\bd="([^"]*)"', svg))
    words = [element.text or "" for element in ET.fromstring(svg).iter() if "text" in element.tag]
    return np.array([float(n) for n in re.findall(r"-?\d+\.?\d*", paths)]), words


class TestPictures:
    def test_every_method_page_shows_one(self) -> None:
        without = [p.name for p in METHODS if "](../pictures/" not in p.read_text("utf-8")]
        assert without == []

    def test_the_words_for_those_who_do_not_see_it_stand_on_the_page(self, drawn: dict) -> None:
        for name, figure in drawn.items():
            page = (DOCS / "methods" / f"{name}.md").read_text("utf-8")
            assert f"![{figure.words}](../pictures/{name}.svg)" in page

    def test_they_are_what_the_code_draws(self, drawn: dict) -> None:
        """Within two points: fonts are measured a little differently from machine to machine."""
        stale = []
        for name, figure in drawn.items():
            kept = numbers_and_words((DOCS / "pictures" / f"{name}.svg").read_text("utf-8"))
            now = numbers_and_words(figure.svg)
            same = kept[0].shape == now[0].shape and np.allclose(kept[0], now[0], atol=2.0)
            if not same or kept[1] != now[1]:
                stale.append(name)
        assert stale == [], "draw them anew: python -m docs.pictures.make_all"

    def test_they_are_small_and_the_same_each_time(self, drawn: dict) -> None:
        pictures = load("docs.pictures.make_all").PICTURES
        for name in ("flow", "siting", "scoring"):
            assert pictures[name]().svg == drawn[name].svg
        sizes = {p.name: p.stat().st_size for p in (DOCS / "pictures").glob("*.svg")}
        assert {name: size for name, size in sizes.items() if size > MOST_BYTES} == {}


class TestSources:
    ENTRIES = KEY.findall((DOCS / "sources.md").read_text("utf-8"))

    def cited(self) -> Iterator[tuple[str, str]]:
        for page in DOCS.rglob("*.md"):
            if page.name != "sources.md":
                yield from ((page.name, key) for key in KEY.findall(page.read_text("utf-8")))

    def test_every_key_is_in_the_bibliography_once(self) -> None:
        assert len(self.ENTRIES) == len(set(self.ENTRIES)) > 50
        assert [pair for pair in self.cited() if pair[1] not in self.ENTRIES] == []

    def test_every_entry_is_cited(self) -> None:
        assert set(self.ENTRIES) - {key for _, key in self.cited()} == set()

    def test_every_entry_says_whether_it_was_read(self) -> None:
        rows = [r for r in (DOCS / "sources.md").read_text("utf-8").splitlines() if KEY.search(r)]
        known = ("read", "from memory", "recomputed")
        assert [r for r in rows if not any(w in r.split("|")[3] for w in known)] == []


class TestPublicNames:
    NAMES = re.findall(r"`(riskmap(?:\.\w+)+)`", (DOCS / "python.md").read_text("utf-8"))

    def test_the_flat_names_are_those_of_the_package(self) -> None:
        flat = sorted(name.split(".")[1] for name in self.NAMES if name.count(".") == 1)
        assert flat == sorted(riskmap.__all__)
        assert all(getattr(riskmap, name) is not None for name in flat)

    def test_every_name_can_be_imported(self) -> None:
        deep = [name.rpartition(".") for name in self.NAMES if name.count(".") > 1]
        assert len(deep) > 40
        missing = [f"{m}.{n}" for m, _, n in deep if not hasattr(importlib.import_module(m), n)]
        assert missing == []

    def test_every_room_s_main_function_is_named(self) -> None:
        """What the modules of the run take from the computing rooms, as far as it is a function."""
        rooms = ("riskmap.failure.assess", "riskmap.groundwater.assess", "riskmap.ranking.score")
        for module in rooms:
            assert any(name.startswith(f"{module}.") for name in self.NAMES)


class TestScripts:
    def script(self, name: str) -> ModuleType:
        return load(f"docs.gallery.{name}")

    def test_all_are_run_here_and_linked(self) -> None:
        index = (DOCS / "index.md").read_text("utf-8")
        run = {"score_by_hand", "where_a_plume_goes", "how_long_a_field_lasts"}
        assert {p.stem for p in SCRIPTS} == run
        assert all(f"(gallery/{p.name})" in index for p in SCRIPTS)

    def test_the_score_by_hand_is_the_program_s(self) -> None:
        by_hand, by_program = self.script("score_by_hand").main()
        assert by_hand == pytest.approx(by_program, abs=1e-9)

    def test_a_plume_reaches_the_wells_below_and_no_other(self) -> None:
        wells = self.script("where_a_plume_goes").main(cells=40)
        added = wells["nitrate_added_mg_l"]
        assert added["next door"] > added["down the road"] > 0
        assert added["up-gradient"] == 0
        assert added["across the flow"] < 0.01

    def test_more_flow_leaves_fewer_years(self) -> None:
        years = self.script("how_long_a_field_lasts").main(loads=4)["years_to_failed_yr"]
        assert years.is_monotonic_decreasing
        assert years.iloc[0] > 50 > years.iloc[-1]
