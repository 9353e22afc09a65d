"""The worked examples on the pages about doubt and learning are run; each page has one."""

from __future__ import annotations

import doctest
from pathlib import Path

import pytest

PAGES = (
    "doubt", "information", "weights", "classifier", "validation", "service_classifier", "drift",
    "fairness",
)  # fmt: skip


@pytest.mark.parametrize("page", PAGES)
def test_worked_example(page: str, repo: Path) -> None:
    path = repo / "docs" / "methods" / f"{page}.md"
    found = doctest.testfile(
        str(path), module_relative=False, encoding="utf-8", optionflags=doctest.NORMALIZE_WHITESPACE
    )
    assert found.attempted >= 3
    assert found.failed == 0
