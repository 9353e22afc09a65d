"""What the season brings back, for the fuzz: filled lists in every form, and the outcome log."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import openpyxl
import pandas as pd

from riskmap.contract.letters import LETTER_COLUMNS
from riskmap.contract.visits import QUESTIONS, VISIT_COLUMNS, VISIT_KEYS
from riskmap.outcomes.log import Recording, add, log_state, visits
from riskmap.season.filled import FORM, read_filled
from riskmap.season.findings import check_filled
from tests.fuzz.targets import Make, Outcome, Target, Workshop

TODAY: Final = datetime.date(2026, 8, 31)
ROWS: Final = 20
_FOUND: Final = ("failed", "stressed", "sound", "could not tell")
_ROW: Final = re.compile(r"^row (\d+), ")
"""How a fault of a text table begins."""


def _rows() -> list[dict[str, Any]]:
    """Visits as somebody fills them in, by column."""
    return [
        {
            "parcel_id": f"P-{number:03d}",
            "visit": "list",
            "visited_on": f"2026-07-{number + 1:02d}",
            "visited_by": "AB",
            "access": "full" if number % 4 < 3 else "none",
            "found": _FOUND[number % 4],
            "ponding_cm": str(number % 7 * 10),
            "notes": f"gate {number}",
        }
        for number in range(ROWS)
    ]


def _table() -> pd.DataFrame:
    names = [column.name for column in (*VISIT_KEYS, *QUESTIONS)]
    return pd.DataFrame(_rows()).reindex(columns=names)


def _checked(path: Path) -> Outcome:
    """Good rows by number; rows at fault and rows that the reader left out are told."""
    parcels = {row["parcel_id"] for row in _rows()}
    filled = read_filled(path)
    checked = check_filled(filled, parcels=parcels, today=TODAY)
    good = checked.rows.drop(columns="cell").astype(object)
    cells = good.where(good.notna(), None).to_numpy().tolist()
    labels = [str(int(str(row)) + 1) for row in good.index]
    at_fault = {found[1] for fault in checked.faults if (found := _ROW.match(fault))}
    rows = dict(zip(labels, map(tuple, cells), strict=True))
    return Outcome(rows, frozenset(at_fault), more=checked.blank)


def _filled_text(shop: Workshop) -> Target:
    del shop
    files = {"list.csv": _table().to_csv(index=False).encode()}
    return Target(files, "list.csv", "text", lambda place: _checked(place / "list.csv"), "rows")


def _filled_workbook(shop: Workshop) -> Target:
    """A filled workbook as any office program writes it."""
    path = shop.folder / "list.xlsx"
    book = openpyxl.Workbook()
    page: Any = book.active
    page.append([VISIT_COLUMNS[name].name for name in _table()])
    for row in _table().astype(object).where(_table().notna(), None).to_numpy().tolist():
        page.append(row)
    book.save(path)
    return _for_errors("list.xlsx", path.read_bytes(), "binary")


def _form(shop: Workshop) -> Target:
    """A file that the telephone form saved."""
    del shop
    content = {"riskmap": FORM, "run": "2026-06-01 0a", "county": "Nowhere", "visits": _rows()}
    return _for_errors("day.json", json.dumps(content).encode(), "json")


def _for_errors(name: str, content: bytes, form: str) -> Target:
    def read(place: Path) -> Outcome:
        _checked(place / name)
        return Outcome({}, frozenset())

    return Target({name: content}, name, form, read, "nothing")


def _answered_letters(shop: Workshop) -> Target:
    """The list of a mailing with what came back."""
    del shop
    row = {"reference": "AB12CD34", "parcel_ids": "P-001", "audience": "failing"}
    row |= {"sent_on": "2026-07-01", "answer": "visit", "answered_on": "2026-07-20"}
    table = pd.DataFrame([row] * ROWS).reindex(columns=list(LETTER_COLUMNS))
    files = {"letters.csv": table.to_csv(index=False).encode()}
    return Target(
        files, "letters.csv", "text", lambda place: _checked(place / "letters.csv"), "rows"
    )


def _log(shop: Workshop) -> Target:
    path = shop.folder / "outcomes.sqlite"
    path.unlink(missing_ok=True)
    table = _table().assign(cell="row", run="2026-06-01 0a", longitude=-90.0, latitude=43.0)
    add(path, [Recording("list.csv", "0" * 64, "ab", table)])

    def read(place: Path) -> Outcome:
        if (state := log_state(place / path.name)) is not None:
            visits(state.place, up_to=state.entries)
        return Outcome({}, frozenset())

    return Target({path.name: path.read_bytes()}, path.name, "binary", read, "nothing")


SEASON: Final[Mapping[str, Make]] = {
    "filled list, CSV": _filled_text,
    "filled workbook": _filled_workbook,
    "telephone form": _form,
    "answered letters": _answered_letters,
    "outcome log": _log,
}
