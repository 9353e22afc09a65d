"""Writes a mailing: letters to post and to release, labels, tables, and the list to fill in."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import pandas as pd

from data_pipelines.tables import parse_delimited, read_text
from riskmap.action.outreach import LEFT_OUT
from riskmap.contract.errors import SourceFormatError
from riskmap.contract.letters import LETTER_KEYS, LETTER_QUESTIONS
from riskmap.contract.quantities import EXPECTED, figure
from riskmap.publish.lists.list_columns import filled_in
from riskmap.publish.lists.workbook import RunMark, Worklist, cleaned, write_workbook
from riskmap.publish.paper.letter_texts import LANGUAGES, county_letters
from riskmap.publish.paper.letters import Sender, set_letters, words_of_letters
from riskmap.publish.paper.typesetting import field, paper_of, typeset, write_pdf
from riskmap.publish.plain_page import plain_page
from riskmap.publish.words.cautions import STAFF_ONLY
from riskmap.publish.words.imprint import Imprint, sender_of
from riskmap.publish.words.text_safety import csv_text, plain_text
from riskmap.results.swap import result_folder
from riskmap.season.mailing import PlannedMailing
from riskmap.stages.progress import Progress

MAILING: Final = "mailing 1"
"""What the mark of a mailing's folder says it is; only a mailing takes its place."""
TEMPLATE: Final = Path(__file__).with_name("mailing_page.html")
RELEASE: Final = ("reference", "released_by", "released_on")
"""Columns of the table in which a person releases letters."""
DRAFT: Final = "DRAFT – not released"


def write_mailing(
    planned: PlannedMailing, out: Path, progress: Progress, *, release: Path | None = None
) -> None:
    """Write a mailing's folder, whole or not at all; an earlier mailing there is replaced.

    Parameters
    ----------
    planned
        The mailing.
    out
        Its folder.
    progress
        Shows what is going on.
    release
        The table of letters on file with names and days of release filled in; without it, and
        for rows that are not filled in, these letters are drafts.

    Raises
    ------
    SourceFormatError
        If the table of release is not this mailing's.
    """
    released = _released(release, planned) if release else {}
    with (
        progress.stage("write the mailing"),
        result_folder(out, tell=progress.tell, kind=MAILING) as folder,
    ):
        made = _write_letters(folder, planned, released)
        _write_tables(folder, planned, released)
        everybody = pd.concat([planned.people, planned.on_file[_is_in(planned.on_file, released)]])
        _write_labels(folder / "labels.pdf", everybody, sender_of(planned.region))
        (folder / "index.html").write_bytes(_page(planned, made, len(released)).encode("utf-8"))


def _is_in(people: pd.DataFrame, released: Mapping[str, str]) -> pd.Series:
    return people["reference"].isin(list(released))


def _write_letters(
    folder: Path, planned: PlannedMailing, released: Mapping[str, str]
) -> list[tuple[str, int]]:
    """Write the PDFs; returns their names with the letters in each."""
    region, settings = planned.region, planned.region.mailing
    imprint = Imprint(region.county.name, planned.on, region.county.units, region.county.contact)
    given = county_letters(region.letter_texts)
    words = words_of_letters(imprint, given)
    sender = Sender(settings.signer, settings.signer_title, settings.return_address)
    on_file = planned.on_file.assign(letter="notice")
    rule = planned.people.assign(
        letter=["well" if kind == "well" else "" for kind in planned.people["letter"]]
    )
    done = _is_in(on_file, released)
    parts = (
        ("letters", rule, ""),
        ("letters_on_file", on_file[done], ""),
        ("letters_on_file_draft", on_file[~done], DRAFT),
    )
    made = []
    for name, people, draft in parts:
        for languages, own in by_language(people, settings.languages):
            path = folder / f"{name}_{'both' if len(languages) > 1 else languages[0]}.pdf"
            count = set_letters(path, own, words, imprint, languages, sender=sender, draft=draft)
            if count:
                made.append((path.name, count))
    return made


def by_language(people: pd.DataFrame, wanted: str) -> list[tuple[tuple[str, ...], pd.DataFrame]]:
    """Part addressees by the languages of their letters."""
    if wanted == "both":
        return [(LANGUAGES, people)]
    if wanted in LANGUAGES:
        return [((wanted,), people)]
    known = people["language"].where(people["language"].isin(list(LANGUAGES)), "")
    return [
        *(((code,), people[known == code]) for code in LANGUAGES),
        (LANGUAGES, people[known == ""]),
    ]


def _write_tables(folder: Path, planned: PlannedMailing, released: Mapping[str, str]) -> None:
    both = pd.concat([planned.people, planned.on_file], ignore_index=True)
    _write_csv(folder / "mail_merge.csv", _merge(both, planned, released))
    _write_csv(folder / "left_out.csv", planned.left_out)
    if len(planned.on_file):
        _write_csv(folder / "to_release.csv", _to_release(planned, released))
    county = plain_text(planned.region.county.name)
    write_workbook(
        folder / "letters.xlsx",
        Worklist(
            name="Letters",
            heading=f"{county}: letters of {planned.on.isoformat()} (run {planned.run})",
            table=cleaned(both[[column.name for column in LETTER_KEYS]]),
            columns=LETTER_KEYS,
            results=filled_in(LETTER_QUESTIONS, planned.region.county.units),
            units=planned.region.county.units,
            frozen=1,
            most=len(both),
        ),
        mark=RunMark(planned.run, planned.region.county.name),
    )


def _write_csv(path: Path, table: pd.DataFrame) -> None:
    path.write_bytes(csv_text(cleaned(table)).encode("utf-8"))


def _merge(
    people: pd.DataFrame, planned: PlannedMailing, released: Mapping[str, str]
) -> pd.DataFrame:
    """Make the table that an office program's mail merge opens: a row a letter."""
    county, settings = planned.region.county, planned.region.mailing
    held = people["letter"].eq("on file") & ~_is_in(people, released)
    table = people[
        ["reference", "letter", "audience", "language", "name", "delivery_line", "last_line",
         "address_check", "site_addresses", "parcel_ids"]
    ]  # fmt: skip
    return table.assign(
        post=["no: to be released" if one else "yes" for one in held],
        county=county.name,
        contact=county.contact,
        signer=settings.signer,
        date=planned.on.isoformat(),
        run=planned.run,
    )


def _to_release(planned: PlannedMailing, released: Mapping[str, str]) -> pd.DataFrame:
    people = planned.on_file
    return pd.DataFrame(
        {
            "reference": people["reference"],
            "parcel_ids": people["parcel_ids"],
            "site_addresses": people["site_addresses"],
            "on_file": people["on_file"],
            "released_by": [released.get(one, "") for one in people["reference"]],
            "released_on": [
                planned.on.isoformat() if one in released else "" for one in people["reference"]
            ],
        }
    )


def _released(path: Path, planned: PlannedMailing) -> dict[str, str]:
    """Read who released which letter: reference -> name; rows without a name and a day are not."""
    table = parse_delimited(read_text(path, path.name), layer=path.name, name=path.name)
    missing = [name for name in RELEASE if name not in table]
    if missing:
        raise SourceFormatError(
            path.name,
            f"there is no column {missing[0]!r}.",
            "Fill in to_release.csv as riskmap mail wrote it.",
        )
    told = table[list(RELEASE)].fillna("").astype(str).apply(lambda column: column.str.strip())
    strange = sorted(set(told["reference"]) - set(planned.on_file["reference"]))
    if strange:
        raise SourceFormatError(
            path.name,
            f"the letter {strange[0]!r} is not one of this mailing.",
            "Take the table that this mailing wrote: another run or day gives other letters.",
        )
    half = told[(told["released_by"] == "") != (told["released_on"] == "")]
    if len(half):
        raise SourceFormatError(
            path.name,
            f"the letter {half['reference'].iloc[0]!r} has a name or a day of release, not both.",
            "Fill in both, or neither.",
        )
    for text in told.loc[told["released_on"] != "", "released_on"]:
        _day(path, text)
    full = told[told["released_by"] != ""]
    return dict(zip(full["reference"], full["released_by"], strict=True))


def _day(path: Path, text: str) -> datetime.date:
    try:
        return datetime.date.fromisoformat(text)
    except ValueError as error:
        raise SourceFormatError(
            path.name, f"{text!r} is no date.", "Write days of release as 2026-06-30."
        ) from error


def _write_labels(path: Path, people: pd.DataFrame, imprint: Imprint) -> None:
    rows = people.loc[people["delivery_line"] != "", ["name", "delivery_line", "last_line"]]
    lines = [
        [line for line in (field(name, 40), field(street, 40), plain_text(last)[:40]) if line]
        for name, street, last in rows.itertuples(index=False)
    ]
    if lines:
        data = {"county": field(imprint.county), "labels": lines}
        write_pdf(path, typeset("labels", data, date=imprint.date, paper=paper_of(imprint.units)))


def _page(planned: PlannedMailing, made: Sequence[tuple[str, int]], released: int) -> str:
    settings, effect = planned.region.mailing, planned.effect
    reasons = planned.left_out["why"].value_counts()

    def number(name: str) -> str:
        return figure(effect[name], EXPECTED.us.decimals)

    return plain_page(
        TEMPLATE,
        county=plain_text(planned.region.county.name),
        run=planned.run,
        on=planned.on.isoformat(),
        rule=settings.to,
        places=[plain_text(one) for one in (*settings.zones, *settings.neighborhoods)],
        letters=len(planned.people),
        on_file=len(planned.on_file),
        released=released,
        without=int((planned.people["delivery_line"] == "").sum()),
        left_out=[(why, int(reasons.get(why, 0))) for why in LEFT_OUT],
        effect={name: number(name) for name in effect},
        made=made,
        signer=plain_text(settings.signer),
        caution=STAFF_ONLY,
    )
