"""The page ``docs/layers/sources.md`` keeps pace with the readers."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from data_pipelines.registry import READERS
from riskmap.starting.layer_pages import LAST, layers_with_pages, with_written_part


def checks_in_code(repo: Path) -> set[str]:
    """Names of checks: second argument of ``log.add`` and ``log.note``, and named variables."""
    names = set()
    loading = repo / "riskmap" / "stages" / "loading.py"
    for path in (*sorted((repo / "data_pipelines").glob("*.py")), loading):
        for node in ast.walk(ast.parse(path.read_text())):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
                continue
            if node.func.attr in {"add", "note"} and len(node.args) >= 4:
                check = node.args[1]
                names |= {check.value} if isinstance(check, ast.Constant) else set()
    variables = {"impossible_year", "out_of_range", "feet_sold_as_meters", "terrain_in_feet"}
    variables |= {"future_date", "future_year", "not_in_parcels", "not_in_wells"}
    rows = {"ragged_row", "open_quote", "stray_quote", "cell_too_long", "binary_zero"}
    elements = {"deleted_record", "no_feature"}
    depths = {
        "depth_over_200_m",
        "casing_below_bottom",
        "screen_below_bottom",
        "level_below_bottom",
    }
    return names | variables | rows | elements | depths


def test_every_check_is_explained_and_no_other(repo):
    page = (repo / "docs/layers/sources.md").read_text()
    told = re.findall(r"^\| `([a-z0-9_]+)` \| [^`]", page.split("## All checks")[1], re.MULTILINE)
    assert told == sorted(told)
    assert set(told) == checks_in_code(repo)


def test_every_layer_has_a_page_with_a_part_by_hand(repo):
    assert set(READERS) < set(layers_with_pages())
    for name in layers_with_pages():
        page = (repo / f"docs/layers/{name}.md").read_text(encoding="utf-8")
        assert len(page.partition(LAST)[2].split()) > 40, name


def test_a_page_without_its_marks_is_refused():
    with pytest.raises(ValueError, match=r"docs/layers/wells\.md lacks one of the marks"):
        with_written_part("# Wells\n", "wells")
