"""A check as a page and as tables in a folder."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
from jinja2 import Environment, StrictUndefined

from riskmap.checking.check import Checked
from riskmap.checking.coverage import Coverage
from riskmap.checking.findings import SERIOUS
from riskmap.contract.quantities import percent
from riskmap.publish import palette
from riskmap.publish.words.text_safety import csv_text, plain_text

SHARES: Final = ("share", "weight_frac", "unknown_frac", "lost_frac")
KIND: Final = "check 1"
"""What the mark of a check's folder says it is."""


def write_check(folder: Path, checked: Checked) -> None:
    """Write ``index.html`` and the tables of a check into a folder."""
    tables = {
        "findings.csv": checked.findings,
        "matches.csv": checked.matches,
        "coverage.csv": coverage_table(checked),
        "costs.csv": checked.costs,
        "defects.csv": checked.defects,
    }
    for name, table in tables.items():
        (folder / name).write_bytes(csv_text(table).encode("utf-8"))
    (folder / "index.html").write_bytes(check_page(checked).encode("utf-8"))


def coverage_table(checked: Checked) -> pd.DataFrame:
    """Grade and coverage of every layer."""
    shares = {one.layer: one.share for one in checked.coverage}
    shares["soil_survey"] = shares.get("soil_units", np.nan)
    names = list(checked.grades)
    return pd.DataFrame(
        {
            "layer": names,
            "grade": [checked.grades[name] for name in names],
            "share": [shares.get(name, np.nan) for name in names],
        }
    )


def check_page(checked: Checked) -> str:
    """Write the page; everything from outside is escaped by the template engine."""
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    source = (files("riskmap.checking") / "page.html").read_text("utf-8")
    found = checked.findings
    return environment.from_string(source).render(
        county=plain_text(checked.region.county.name),
        date=checked.region.county.date.isoformat(),
        faults=[plain_text(fault) for fault in checked.faults],
        ranked=checked.ranked,
        parcels=checked.parcels,
        unranked=checked.unranked,
        grades=list(checked.grades.items()),
        maps=[_map(one) for one in checked.coverage],
        tables=[
            _table("Serious: these change the ranking", found[found["weight"] == SERIOUS]),
            _table("Minor", found[found["weight"] != SERIOUS]),
            _table("What joins what", checked.matches),
            _table("What is not known, and what it costs the scores", checked.costs),
        ],
        colors=palette.PAGE_COLORS,
    )


def _map(one: Coverage) -> dict[str, Any]:
    rows, columns = np.nonzero(np.isfinite(one.squares))
    squares = [
        (int(x), int(y), f"{one.squares[y, x]:.2f}") for y, x in zip(rows, columns, strict=True)
    ]
    height, width = one.squares.shape
    return {
        "layer": one.layer,
        "share": percent(one.share),
        "squares": squares,
        "width": width,
        "height": height,
    }


def _table(title: str, table: pd.DataFrame) -> tuple[str, list[str], list[list[str]]]:
    shown = [name for name in table.columns if name != "weight"]
    heads = [name.removesuffix("_frac").replace("_", " ") for name in shown]
    rows = [[_cell(name, value) for name, value in zip(shown, row, strict=True)]
            for row in table[shown].itertuples(index=False)]  # fmt: skip
    return title, heads, rows


def _cell(name: str, value: Any) -> str:
    if name in SHARES:
        return "" if pd.isna(value) else percent(float(value))
    if isinstance(value, int | np.integer):
        return f"{value:,}" if value else ""
    return plain_text(value)
