"""The handbook: worked examples run, links lead somewhere."""

from __future__ import annotations

import doctest
import re
from pathlib import Path

import pytest

from docs import generate

REPO = Path(__file__).resolve().parents[1]
PAGES = sorted([*(REPO / "docs").rglob("*.md"), REPO / "README.md", REPO / "DEVELOPERS.md"])


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(REPO)))
def test_examples_run(page: Path) -> None:
    options = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS
    result = doctest.testfile(str(page), module_relative=False, optionflags=options)
    assert result.failed == 0


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(REPO)))
def test_links_lead_somewhere(page: Path) -> None:
    links = re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8"))
    missing = [link for link in links if not (page.parent / link).exists()]
    assert not missing


@pytest.mark.parametrize("name", generate.PAGES)
def test_generated_pages_are_what_the_code_writes(name: str) -> None:
    written = (REPO / "docs" / name).read_text(encoding="utf-8")
    assert written == generate.PAGES[name](), "write them anew: python docs/generate.py"


def test_every_method_page_is_in_the_index() -> None:
    index = (REPO / "docs" / "index.md").read_text(encoding="utf-8")
    pages = [p.relative_to(REPO / "docs").as_posix() for p in (REPO / "docs").rglob("*.md")]
    assert [p for p in pages if p != "index.md" and f"({p})" not in index] == []
