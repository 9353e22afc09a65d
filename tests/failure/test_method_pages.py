"""The worked examples of this room's method pages run, and the pages agree with the code."""

from __future__ import annotations

import doctest
import re
from pathlib import Path

import pytest

from riskmap.contract.kinds import KINDS
from riskmap.failure.rules_data import FLOW_RULES, LOADING_RULES

PAGES = ("flow.md", "clogging.md", "aging.md")


@pytest.mark.parametrize("page", PAGES)
def test_worked_examples(repo: Path, page: Path) -> None:
    path = repo / "docs" / "methods" / page
    options = doctest.NORMALIZE_WHITESPACE
    result = doctest.testfile(str(path), module_relative=False, optionflags=options)
    assert result.attempted >= 3
    assert result.failed == 0


def test_the_flow_page_names_every_rule_set(repo: Path) -> None:
    text = (repo / "docs" / "methods" / "flow.md").read_text(encoding="utf-8")
    for name in (*FLOW_RULES, *LOADING_RULES):
        assert f"`{name}`" in text


def test_the_aging_page_prints_the_defaults(repo: Path) -> None:
    text = (repo / "docs" / "methods" / "aging.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| ([a-z ,]+) \| (\.\d+) \| (\.\d+) \|", text, flags=re.MULTILINE)
    printed = {
        kind.strip().replace(" ", "_"): (float(ten), float(twenty))
        for kinds, ten, twenty in rows
        for kind in kinds.split(",")
    }
    assert printed == {name: kind.serving[:2] for name, kind in KINDS.items()}
