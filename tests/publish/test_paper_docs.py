from __future__ import annotations

import doctest
from pathlib import Path

import pytest


@pytest.mark.parametrize("page", ["sheets", "letters", "mailing"])
def test_examples_of_the_handbook_run(page: str, repo: Path) -> None:
    result = doctest.testfile(
        str(repo / "docs" / "outputs" / f"{page}.md"), module_relative=False, encoding="utf-8"
    )
    assert result.attempted >= 2
    assert result.failed == 0
