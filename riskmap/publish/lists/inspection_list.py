"""The inspection list, as CSV for programs and as a workbook to be worked in."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import pandas as pd

from riskmap.action.aims import share_visits
from riskmap.action.inspections import ALWAYS
from riskmap.contract.evidence import EVIDENCE_MEANINGS
from riskmap.contract.features import column
from riskmap.contract.quantities import Units
from riskmap.contract.vocabulary import ON_FILE, TO_FIND
from riskmap.publish.lists.list_columns import (
    file_name_of,
    for_reading,
    list_table,
    listed_column,
    visit_results,
)
from riskmap.publish.lists.workbook import RunMark, Worklist, write_workbook
from riskmap.publish.words.doubt_words import RANGE_MEANING
from riskmap.publish.words.imprint import Imprint, imprint_of, run_name
from riskmap.publish.words.text_safety import csv_text, plain_text
from riskmap.stages.listing import as_listed, list_length
from riskmap.stages.result import Result

Notes = Sequence[tuple[str, str]]
NOTES: Final = (
    ("At every stop", "; ".join(ALWAYS)),
    ("Likely state", "By the clogging model, if nothing was repaired off the record: an estimate, "
     "not a finding. What was found at the last visit outweighs it."),
    ("Chance that it has failed", "From the site, the system and all that is on file; in brackets "
     f"the range. {RANGE_MEANING}"),
    *((f"Known: {word}", meaning) for word, meaning in EVIDENCE_MEANINGS.items()),
)  # fmt: skip


def inspection_list(folder: Path, result: Result) -> None:
    """Write the inspection list of a run."""
    lists, share = result.region.lists, result.region.season.followup_frac
    listed = as_listed(result.parcels, lists.order)
    imprint = imprint_of(result.region)
    run = run_name(result.region, result.inputs)
    write_inspection_list(
        folder, listed, imprint, length=list_length(listed, lists), share=share, run=run
    )


def write_inspection_list(
    folder: Path,
    ranked: pd.DataFrame,
    imprint: Imprint,
    *,
    length: int,
    share: float,
    run: str = "",
) -> int:
    """Write ``lists/inspections.csv`` and ``.xlsx``.

    The workbook has a sheet for each list: what is to be found, and what is on file and to be
    followed up. Parcels whose service is unknown are ranked apart: where there are any they follow
    in ``lists/service_unknown.csv`` and on a sheet of their own.

    Parameters
    ----------
    folder
        The result folder.
    ranked
        Ranked table, index ``parcel_id``.
    imprint
        Stands at the head; its units are those of the numbers.
    length
        Rows of each list at most, and the list that ``top_chance`` is for; ``parcels.parquet`` and
        ``parcels.gpkg`` hold every parcel.
    share
        Share of the season's visits that follow up what is on file.
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
    table = list_table(first, units=imprint.units)
    sheets = {name: _on_list(table, name) for name in (TO_FIND, ON_FILE)}
    listed = pd.concat([rows.head(length) for rows in sheets.values()]).sort_values("rank")
    _write_csv(place / "inspections.csv", listed, imprint.units)
    if len(apart):
        sheets["service unknown"] = list_table(apart, units=imprint.units)
        _write_csv(
            place / "service_unknown.csv", sheets["service unknown"].head(length), imprint.units
        )
    follow, find = share_visits(length, share, len(sheets[ON_FILE]))
    parts = (
        (TO_FIND.capitalize(), f"By priority; this season the first {find:,}."),
        (
            ON_FILE.capitalize(),
            "Found failed, or complained of at least twice, with no later repair on file: to be "
            "followed up, the oldest case first, in a year the highest groundwater score first; "
            f"this season the first {follow:,}.",
        ),
    )
    worklists = [
        _worklist(name.capitalize(), rows, imprint, length, (*parts, *NOTES))
        for name, rows in sheets.items()
        if len(rows) or name == TO_FIND
    ]
    write_workbook(place / "inspections.xlsx", *worklists, mark=RunMark(run, imprint.county))
    return len(first)


def _ordered(ranked: pd.DataFrame, by: str) -> pd.DataFrame:
    rows = ranked[ranked[by].notna()].sort_values(by, kind="stable")
    return rows.assign(rank=rows[by]) if by != "rank" else rows


def _worklist(
    name: str, table: pd.DataFrame, imprint: Imprint, length: int, notes: Notes
) -> Worklist:
    read = for_reading(table)
    return Worklist(
        name=name,
        heading=f"{plain_text(imprint.county)}: {name.lower()}, {imprint.date.isoformat()}",
        table=read,
        columns=[listed_column(str(column), top=length) for column in read.columns],
        results=visit_results(imprint.units),
        notes=notes,
        units=imprint.units,
        most=length,
        who="the inspector",
        pages_wide=2,
    )


def _on_list(table: pd.DataFrame, name: str) -> pd.DataFrame:
    return table[table["worklist"].eq(name)].sort_values("list_rank", kind="stable")


def _write_csv(path: Path, table: pd.DataFrame, units: Units) -> None:
    names = {name: file_name_of(column(str(name)), units=units) for name in table.columns}
    named = table.rename(columns=names)
    path.write_bytes(csv_text(named).encode("utf-8"))
