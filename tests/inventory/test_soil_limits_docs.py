"""The page on soil limits: its worked example runs, and its table is the rule in the code."""

from __future__ import annotations

import doctest
import re
from pathlib import Path

from riskmap.inventory.soil_rule import SUB_RULES


def test_worked_example(repo: Path) -> None:
    page = repo / "docs" / "methods" / "soil_limits.md"
    result = doctest.testfile(str(page), module_relative=False, encoding="utf-8")
    assert result.attempted >= 8
    assert result.failed == 0


def test_table_names_every_limit_with_its_borders(repo: Path) -> None:
    text = (repo / "docs" / "methods" / "soil_limits.md").read_text(encoding="utf-8")
    rows = {
        row.split("|")[1].strip(" `"): row
        for row in text.splitlines()
        if row.startswith("| `limit_")
    }
    assert set(rows) == {sub.column for sub in SUB_RULES}
    for sub in SUB_RULES:
        if sub.shape in ("rising", "falling"):
            numbers = [float(n) for n in re.findall(r"[\d.]+", rows[sub.column].split("|")[3])]
            assert numbers == [sub.low, sub.high]
            assert sub.shape in rows[sub.column]
        if sub.shape == "above":
            assert f"above {sub.low:g} " in rows[sub.column]
        assert ("not rated" in rows[sub.column]) == sub.missing_is_not_rated
