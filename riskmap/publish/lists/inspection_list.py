"""The inspection list, as CSV for programs and as a workbook to be worked in."""

from __future__ import annotations

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
from riskmap.publish.words.imprint import Imprint, imprint_of, run_name
from riskmap.publish.words.text_safety import csv_text, plain_text
from riskmap.stages.listing import as_listed, list_length
from riskmap.stages.result import Result

NOTES: Final = (
    ("At every stop", "; ".join(ALWAYS)),
    ("Likely state", "By the clogging model, if nothing was repaired off the record: an estimate, "
     "not a finding. What was found at the last visit outweighs it."),
    ("Ranges and chance", f"{RANGE_MEANING} {WIDE_MEANING} In words: "
     + ", ".join(f"{percent(least)} and more {words}" for least, words in LIKELIHOOD)
     + " (scale of the Intergovernmental Panel on Climate Change, 2010)."),
    *((f"Known: {word}", meaning) for word, meaning in EVIDENCE_MEANINGS.items()),
)  # fmt: skip


def inspection_list(folder: Path, result: Result) -> None:
    """Write the inspection list of a run."""
    lists = result.region.lists
    listed = as_listed(result.parcels, lists.order)
    imprint = imprint_of(result.region)
    run = run_name(result.region, result.inputs)
    write_inspection_list(folder, listed, imprint, length=list_length(listed, lists), run=run)


def write_inspection_list(
    folder: Path,
    ranked: pd.DataFrame,
    imprint: Imprint,
    *,
    length: int,
    run: str = "",
) -> int:
    """Write ``lists/inspections.csv`` and ``.xlsx``.

    Parcels whose service is unknown are ranked apart: where there are any they follow in
    ``lists/service_unknown.csv`` and on a sheet of their own.

    Parameters
    ----------
    folder
        The result folder.
    ranked
        Ranked table, index ``parcel_id``.
    imprint
        Stands at the head; its units are those of the numbers.
    length
        Rows of each sheet of the workbook, and the list that ``top_chance`` is for; the tables
        hold every row.
    run
        Name of the run, which the workbook keeps so that what is filled in is recorded as of it.

    Returns
    -------
    int
        Number of parcels listed.
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
        table = list_table(rows, units=imprint.units)
        _write_csv(place / f"{file}.csv", table, units=imprint.units)
        read = for_reading(table)
        worklists.append(
            Worklist(
                name=name,
                heading=f"{plain_text(imprint.county)}: {name.lower()}, {imprint.date.isoformat()}",
                table=read,
                columns=[listed_column(str(name), top=length) for name in read.columns],
                results=visit_results(imprint.units),
                notes=NOTES,
                units=imprint.units,
                most=length,
                who="the inspector",
                pages_wide=2,
            )
        )
    write_workbook(place / "inspections.xlsx", *worklists, mark=RunMark(run, imprint.county))
    return len(first)


def _ordered(ranked: pd.DataFrame, by: str) -> pd.DataFrame:
    rows = ranked[ranked[by].notna()].sort_values(by, kind="stable")
    return rows.assign(rank=rows[by]) if by != "rank" else rows


def _write_csv(path: Path, table: pd.DataFrame, *, units: Units) -> None:
    names = {name: file_name_of(column(str(name)), units=units) for name in table.columns}
    named = table.rename(columns=names)
    path.write_bytes(csv_text(named).encode("utf-8"))
