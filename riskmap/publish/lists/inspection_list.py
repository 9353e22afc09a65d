"""The inspection list, as CSV for programs and as a workbook to be worked in."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Final

import pandas as pd

from riskmap.action.inspections import ALWAYS
from riskmap.contract.evidence import EVIDENCE_MEANINGS
from riskmap.contract.features import column
from riskmap.contract.quantities import Units, percent
from riskmap.publish.lists.list_columns import (
    file_name_of,
    for_reading,
    list_table,
    listed_column,
    visit_results,
)
from riskmap.publish.lists.workbook import RunMark, Worklist, write_workbook
from riskmap.publish.words.doubt_words import LIKELIHOOD, RANGE_MEANING, WIDE_MEANING
from riskmap.publish.words.text_safety import csv_text, plain_text

NOTES: Final = (
    ("At every stop", "; ".join(ALWAYS)),
    ("Likely state", "By the clogging model, if nothing was mended off the record: an estimate, "
     "not a finding. What was found at the last visit outweighs it."),
    ("Ranges and chance", f"{RANGE_MEANING} {WIDE_MEANING} In words: "
     + ", ".join(f"{percent(least)} and more {words}" for least, words in LIKELIHOOD)
     + " (scale of the Intergovernmental Panel on Climate Change, 2010)."),
    *((f"Known: {word}", meaning) for word, meaning in EVIDENCE_MEANINGS.items()),
)  # fmt: skip


def write_inspection_list(
    folder: Path,
    ranked: pd.DataFrame,
    *,
    county: str,
    date: datetime.date,
    units: Units = "us",
    owner_columns: tuple[str, ...] = (),
    length: int,
    run: str = "",
) -> int:
    """Write ``lists/inspections.csv`` and ``.xlsx``; returns the number of parcels listed.

    Parcels whose service is unknown are ranked apart: where there are any they follow in
    ``lists/service_unknown.csv`` and on a sheet of their own.

    Parameters
    ----------
    ranked
        One row per parcel with scores, ranks and reasons.
    owner_columns
        Columns of owners that are listed too.
    length
        Rows of each sheet of the workbook, and the list that ``top_chance`` speaks of; the tables
        hold every row.
    run
        Name of the run, which the workbook keeps so that what is filled in is recorded as of it.
    """
    place = folder / "lists"
    place.mkdir(parents=True, exist_ok=True)
    first = _ordered(ranked, "rank")
    apart = _ordered(ranked, "apart_rank") if "apart_rank" in ranked else ranked.iloc[:0]
    worklists = []
    for name, file, rows in (
        ("Inspections", "inspections", first),
        ("Service unknown", "service_unknown", apart),
    ):
        if rows.empty and name != "Inspections":
            continue
        table = list_table(rows, units=units, owner_columns=owner_columns)
        _write_csv(place / f"{file}.csv", table, units=units)
        read = for_reading(table)
        worklists.append(
            Worklist(
                name=name,
                heading=f"{plain_text(county)}: {name.lower()}, {date.isoformat()}",
                table=read,
                columns=[listed_column(str(name), top=length) for name in read.columns],
                results=visit_results(units),
                notes=NOTES,
                units=units,
                most=length,
                who="the inspector",
                pages_wide=2,
            )
        )
    write_workbook(place / "inspections.xlsx", *worklists, mark=RunMark(run, county))
    return len(first)


def _ordered(ranked: pd.DataFrame, by: str) -> pd.DataFrame:
    rows = ranked[ranked[by].notna()].sort_values(by, kind="stable")
    return rows.assign(rank=rows[by]) if by != "rank" else rows


def _write_csv(path: Path, table: pd.DataFrame, *, units: Units) -> None:
    names = {name: file_name_of(column(str(name)), units=units) for name in table.columns}
    named = table.rename(columns=names)
    path.write_bytes(csv_text(named).encode("utf-8"))
