from __future__ import annotations

import inspect
from pathlib import Path

import pandas as pd

from riskmap.contract import errors


def test_every_error_has_its_section_on_the_page(repo: Path) -> None:
    page = (repo / "docs" / "errors.md").read_text(encoding="utf-8")
    classes = [
        name
        for name, value in inspect.getmembers(errors, inspect.isclass)
        if issubclass(value, errors.RiskmapError)
    ]
    assert len(classes) >= 10
    assert [name for name in classes if f"## {name}\n" not in page] == []


def test_message_names_layer_problem_cure_and_faults() -> None:
    faults = pd.DataFrame({"row": range(25), "value": "x"})
    error = errors.ContractError("wells", "25 depths are wrong.", "Check the unit.", faults=faults)
    text = str(error)
    assert text.startswith("wells: 25 depths are wrong. Check the unit.")
    assert text.endswith("... and 5 more")
