"""The mailing list for outreach: one row per addressee, to be worked in."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pandas as pd

from riskmap.action.mailing import LETTER_CLASSES, addressees, to_write_to
from riskmap.action.outreach import keep_to_log_and_budget
from riskmap.contract.results import MAILING
from riskmap.outcomes.log import letters
from riskmap.publish.lists.list_columns import ResultColumn
from riskmap.publish.lists.workbook import Worklist, cleaned, write_workbook
from riskmap.publish.words.imprint import Imprint, imprint_of
from riskmap.publish.words.text_safety import csv_text, plain_text
from riskmap.stages.result import Result

RESULTS: Final = (
    ResultColumn("Sent on", 12, "Date the letter was posted", kind="date"),
    ResultColumn("Language sent", 10, "Language of the letter", ("en", "es", "other")),
    ResultColumn("Came back", 10, "Whether the post returned it", ("yes", "no")),
    ResultColumn("Answer", 13, "What the addressee wants",
                 ("none", "visit", "question", "gave records", "not on septic", "no contact")),
    ResultColumn("Answered on", 12, "Date of the answer", kind="date"),
    ResultColumn("Notes", 34, "Anything the next caller must know"),
)  # fmt: skip
"""Columns for outreach staff to fill in."""

NOTES: Final = (
    ("Who is listed", "Owners or households of ranked systems in the classes named in the heading. "
     "Parcels ranked apart, because it is not known where their sewage goes, are left out. "
     "So are systems that the last visit found failed: `riskmap mail` has a letter of their own. "
     "So is who asked for no more letters or was written to of late, by the outcome log."),
    ("Addresses", "Upper case and abbreviated by USPS Publication 28. They are not checked against "
     "the post office's records: run them through address checking before a large mailing."),
    ("Private", "Names and addresses are for this mailing. Keep them as your rules for personal "
     "data ask, and honor requests not to be written to."),
)  # fmt: skip


def mailing_list(folder: Path, result: Result) -> None:
    """Write the mailing list of a run."""
    write_mailing_list(folder, people_to_write_to(result), imprint_of(result.region))


def people_to_write_to(result: Result) -> pd.DataFrame:
    """Addressees of a run's letters, the likeliest to fail first, as many as the budget pays for.

    Who asked for no more letters or was written to of late is left out, by the outcome log.
    """
    region = result.region
    people = addressees(
        to_write_to(result.parcels),
        result.county.tables["parcels"],
        site_last_line=region.lists.site_last_line,
    )
    sent = letters(None if region.outcomes is None else region.outcomes.place)
    return keep_to_log_and_budget(people, sent, region.mailing, on=region.county.date).people


def write_mailing_list(
    folder: Path,
    people: pd.DataFrame,
    imprint: Imprint,
) -> list[Path]:
    """Write ``lists/mailing.csv`` and ``lists/mailing.xlsx``; the rows are those of the letters.

    Parameters
    ----------
    folder
        The result folder.
    people
        Rows of :func:`riskmap.action.mailing.addressees`.
    imprint
        Printed at the head; its units choose the paper.

    Returns
    -------
    list of Path
        Files written.
    """
    people = cleaned(people)
    place = folder / "lists"
    place.mkdir(parents=True, exist_ok=True)
    table = place / "mailing.csv"
    table.write_bytes(csv_text(people[MAILING.column_names]).encode("utf-8"))
    classes = ", ".join(LETTER_CLASSES)
    heading = f"{plain_text(imprint.county)}: mailing list, {classes}, {imprint.date.isoformat()}"
    worklist = Worklist(
        name="Mailing",
        heading=heading,
        table=people,
        columns=MAILING.columns,
        results=RESULTS,
        notes=NOTES,
        units=imprint.units,
        frozen=2,
        pages_wide=2,
    )
    return [table, write_workbook(place / "mailing.xlsx", worklist)]
