"""The worked examples of the inventory's method pages run as written."""

from __future__ import annotations

import doctest
from pathlib import Path

import pytest

PAGES = ("service", "siting", "terrain", "evidence")


@pytest.mark.parametrize("page", PAGES)
def test_examples(repo: Path, page: str) -> None:
    path = repo / "docs" / "methods" / f"{page}.md"
    result = doctest.testfile(
        str(path), module_relative=False, encoding="utf-8", optionflags=doctest.NORMALIZE_WHITESPACE
    )
    assert result.attempted > 0
    assert result.failed == 0
