"""Checks what was filled in, row by row: visits that can be recorded, and what is wrong with rest.

The columns are read by the same functions as the county's own layers, so that a date or a number
is understood in the same way wherever it stands.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Final

import pandas as pd

from data_pipelines.dates import to_date
from data_pipelines.defect_log import DefectLog
from data_pipelines.values import to_flag, to_number, to_words
from riskmap.contract.columns import Column
from riskmap.contract.letters import LETTER_COLUMNS, LETTER_QUESTIONS
from riskmap.contract.quantities import DEPTH
from riskmap.contract.sources import ColumnSource
from riskmap.contract.suggest import nearest
from riskmap.contract.visits import (
    COULD_NOT_TELL,
    QUESTIONS,
    VISIT_REASONS,
)
from riskmap.season.filled import ASKED, KEYS, Filled, plain_cell

ON_THE_LIST: Final = next(iter(VISIT_REASONS))
"""Why a system was visited where the file does not say: it stood on the list."""

_CHECKS: Final[Mapping[str, str]] = {
    "impossible_date": "is a day that there is not",
    "two_digit_year": "has a year of two digits; write 2026-06-30",
    "unreadable_date": "is no date; write 2026-06-30",
    "partial_date": "is no whole date; write 2026-06-30",
    "placeholder_date": "stands for no date",
    "not_a_number": "is no number; write it without its unit",
    "out_of_range": "is out of bounds",
    "unknown_code": "is none of the words to choose from",
}
"""Check of a reader -> what is said of the cell."""


@dataclass(frozen=True)
class Checked:
    """What came of a file: ``rows`` to record, ``faults`` in sentences, ``blank`` rows.

    ``rows`` has the typed answers and ``cell``, where the row's key stands; each row at fault has
    one sentence a fault, with its cell, in ``faults``; ``wrong`` is the number of such rows.
    """

    rows: pd.DataFrame
    faults: list[str]
    wrong: int
    blank: int


def check_filled(
    filled: Filled, *, parcels: Collection[str], today: datetime.date, by: str = ""
) -> Checked:
    """Check a file row by row.

    Parameters
    ----------
    filled
        As read.
    parcels
        Parcel numbers of the region.
    today
        No visit is later.
    by
        Who made the visits, where a row does not say.
    """
    raw, columns = filled.answers, ASKED[filled.of]
    plain = {name: [plain_cell(v, c) for v in raw[name]] for name, c in columns.items()}
    texts = pd.DataFrame(plain, index=raw.index, dtype=object).astype("string")
    questions = QUESTIONS if filled.of == "visits" else LETTER_QUESTIONS
    answered = texts[[question.name for question in questions]].notna().any(axis=1)
    texts = texts[answered]
    log = DefectLog(filled.file.name)
    typed = pd.DataFrame(
        {name: _typed(texts[name], column, filled, log) for name, column in columns.items()},
        index=texts.index,
    )
    contradictions = _contradictions
    if filled.of == "visits":
        typed["visit"] = typed["visit"].fillna(ON_THE_LIST)
        typed["visited_by"] = typed["visited_by"].fillna(by or pd.NA)
    else:
        contradictions = _of_letters
    faults = _said_by_readers(log.table(), filled)
    for row in typed.index:
        faults += [
            (int(row), name, f"{_place(filled, row, name)}: {words}.")
            for name, words in contradictions(typed.loc[row], texts.loc[row], parcels, today)
        ]
    wrong = {row for row, _, _ in faults}
    good = typed[~typed.index.isin(wrong)]
    good = good.assign(cell=[str(filled.cells.at[row, KEYS[filled.of]]) for row in good.index])
    told = [words for _, _, words in sorted(faults, key=lambda fault: fault[0])]
    return Checked(good, told, len(wrong), int((~answered).sum()))


def _typed(texts: pd.Series, column: Column, filled: Filled, log: DefectLog) -> pd.Series:
    if column.dtype == "date":
        return to_date(texts, column, ColumnSource(), log)
    if column.dtype == "number":
        unit = filled.units.get(column.name) if column.quantity is DEPTH else None
        return to_number(texts, column, ColumnSource(unit=unit), log)
    if column.dtype == "flag":
        return to_flag(texts, column, ColumnSource(), log)
    if not column.domain:
        return texts
    return to_words(texts, column, ColumnSource(), log)


def _said_by_readers(defects: pd.DataFrame, filled: Filled) -> list[tuple[int, str, str]]:
    faults = []
    for fault in defects.itertuples():
        row, name = int(str(fault.row)), str(fault.column)
        column = ASKED[filled.of][name]
        words = _CHECKS.get(str(fault.check), str(fault.check).replace("_", " "))
        choices = f": {', '.join(column.domain)}" if fault.check == "unknown_code" else ""
        if fault.check == "unknown_code" and column.dtype == "flag":
            choices = ": yes, no"
        cell = str(filled.cells.at[row, name])
        faults.append((row, name, f"{cell}: {fault.value!r} {words}{choices}."))
    return faults


def _contradictions(
    row: pd.Series, texts: pd.Series, parcels: Collection[str], today: datetime.date
) -> list[tuple[str, str]]:
    """Say what cannot be true of a visit as a whole, by column."""
    said = []
    parcel = row["parcel_id"]
    if pd.isna(parcel):
        said.append(("parcel_id", "there is no parcel number"))
    elif parcel not in parcels:
        hint = nearest(str(parcel), parcels) if len(parcels) < 20_000 else ""
        said.append(("parcel_id", f"the region has no parcel {str(parcel)!r}{hint.rstrip('.')}"))
    if pd.isna(texts["visited_on"]):
        said.append(("visited_on", "there are answers but no date of the visit"))
    elif pd.notna(row["visited_on"]) and row["visited_on"].date() > today:
        day = row["visited_on"].date().isoformat()
        said.append(("visited_on", f"the visit is dated {day}, which is still to come"))
    if pd.isna(row["visited_by"]):
        said.append(("visited_by", "nobody is named who made the visit (or name one with --by)"))
    if pd.isna(texts["found"]):
        said.append(("found", f"nothing was found; write {COULD_NOT_TELL!r} if so"))
    elif row[["access", "found"]].notna().all() and (
        row["access"] == "none" and row["found"] != COULD_NOT_TELL
    ):
        said.append(("found", f"there was no access, yet {row['found']!r} was found"))
    return said


def _of_letters(
    row: pd.Series, texts: pd.Series, parcels: Collection[str], today: datetime.date
) -> list[tuple[str, str]]:
    """Say what cannot be true of a letter as a whole, by column."""
    said = []
    if pd.isna(row["reference"]):
        said.append(("reference", "there is no reference number"))
    if pd.isna(row["parcel_ids"]) or pd.isna(row["audience"]):
        said.append(("reference", "the row does not say which parcels the letter was about, and "
                     "whether it went to the household or the owner"))  # fmt: skip
    else:
        gone = [one for one in str(row["parcel_ids"]).split("; ") if one not in parcels]
        said += [("parcel_ids", f"the region has no parcel {one!r}") for one in gone]
    if pd.isna(texts["sent_on"]) and not pd.isna(texts["answer"]):
        said.append(("sent_on", "there is an answer but no day on which the letter was sent"))
    for name in ("sent_on", "answered_on", "tank_pumped"):
        if pd.notna(row[name]) and row[name].date() > today:
            words = LETTER_COLUMNS[name].label.lower()
            said.append((name, f"{words} {row[name].date().isoformat()} is still to come"))
    return said


def _place(filled: Filled, row: object, name: str) -> str:
    """Cell of an answer; that of the parcel number where the file does not ask for it."""
    cell: object = filled.cells.at[row, name]
    return str(cell if isinstance(cell, str) else filled.cells.at[row, KEYS[filled.of]])
