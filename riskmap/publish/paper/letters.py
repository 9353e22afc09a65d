"""Letters to households and owners, as PDF to print and as a table for mail merge."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from riskmap.publish.lists.mailing_list import people_to_write_to
from riskmap.publish.lists.workbook import cleaned
from riskmap.publish.paper.letter_texts import (
    LANGUAGES,
    county_letters,
    default_letter,
    filled,
    read_letter,
)
from riskmap.publish.paper.typesetting import field, paper_of, typeset, write_pdf
from riskmap.publish.words.imprint import Imprint, sender_of
from riskmap.publish.words.text_safety import csv_text, plain_text
from riskmap.stages.result import Result

MOST_SITES: Final = 10
"""Addresses named in one letter."""


@dataclass(frozen=True)
class Sender:
    """Who signs the letters, and the lines of the address that answers go to."""

    signer: str = ""
    title: str = ""
    return_lines: tuple[str, ...] = ()


AUDIENCES: Final = ("household", "owner")


def letters(folder: Path, result: Result) -> None:
    """Write the letters of a run, if the region file asks for any."""
    lists = result.region.lists
    if lists.letters:
        write_letters(
            folder,
            people_to_write_to(result),
            sender_of(result.region),
            texts=county_letters(result.region.letter_texts),
            most=lists.letters,
        )


def write_letters(
    folder: Path,
    people: pd.DataFrame,
    imprint: Imprint,
    *,
    texts: Mapping[str, Path] | None = None,
    most: int | None = None,
) -> list[Path]:
    """Write ``letters/letters_en.pdf``, ``letters_es.pdf`` and ``letters/mail_merge.csv``.

    The words used are put next to them (``letter_en.toml``, ``letter_es.toml``), to be copied and
    changed.

    Parameters
    ----------
    folder
        The result folder.
    people
        Rows of :func:`riskmap.action.mailing.addressees`.
    imprint
        Sender, office and telephone, date of the letters; its units choose the paper.
    texts
        Letter files by language (``en``, ``es``) in place of those that come with the program.
    most
        Letters set as PDF, best ranks first, as its first page says; None: all. The table has
        all.

    Returns
    -------
    list of Path
        Files written. Without anybody to write to only the table, empty. Rows without any address
        are in the table, marked, and get no letter. Where the county keeps a language, each
        letter is in that language; otherwise each is in both.

    Raises
    ------
    OutputError
        If a letter file is unreadable or says what a letter may not say.
    """
    given = dict(texts or {})
    words = words_of_letters(imprint, given)
    place = folder / "letters"
    written = [_write_merge(place / "mail_merge.csv", people, words, imprint)]
    for code in LANGUAGES:
        source = given.get(code) or default_letter(code)
        (place / f"letter_{code}.toml").write_bytes(source.read_bytes())
        others = [other for other in LANGUAGES if other != code]
        mine = people[~people["language"].isin(others).to_numpy(dtype=bool)]
        path = place / f"letters_{code}.pdf"
        if set_letters(path, mine, words, imprint, (code,), most=most):
            written.append(path)
    return written


def words_of_letters(imprint: Imprint, given: Mapping[str, Path]) -> dict[str, dict[str, Any]]:
    """Read and fill the words of both languages; `given` files in place of the program's own."""
    return {
        code: filled(
            read_letter(given.get(code), code),
            county=field(imprint.county),
            contact=field(imprint.contact),
            date=imprint.date,
            source=str(given.get(code, "")),
        )
        for code in LANGUAGES
    }


def set_letters(
    path: Path,
    people: pd.DataFrame,
    words: Mapping[str, dict[str, Any]],
    imprint: Imprint,
    languages: Sequence[str],
    *,
    sender: Sender | None = None,
    most: int | None = None,
    draft: str = "",
) -> int:
    """Set letters as one PDF, a page each, behind a page that says how many it holds.

    Parameters
    ----------
    path
        The file.
    people
        Addressees; rows without an address get no letter. Where there, ``letter`` names the part
        of the letter file that opens the letter in place of the audience's, ``since`` is put in
        the words of a notice, and ``reference`` gives it a reply slip.
    words
        Filled texts by language (:func:`riskmap.publish.paper.letter_texts.filled`).
    imprint
        County, date, units.
    languages
        One language, or two for a sheet with one on the front and the other on the back.
    sender
        Who signs, and where answers go.
    most
        Letters at most; None: all.
    draft
        Words across every page of letters that nobody has released yet.

    Returns
    -------
    int
        Letters set; no file is written for none.
    """
    mailable = people[people["delivery_line"] != ""]
    chosen = mailable.head(len(mailable) if most is None else most)
    if chosen.empty:
        return 0
    sender = sender or Sender()
    content = typeset(
        "letters",
        {
            "county": field(imprint.county),
            "contact": field(imprint.contact),
            "held": _held(len(chosen), len(mailable), len(people)),
            "texts": {code: words[code] for code in languages},
            "languages": list(languages),
            "letters": [_entry(row, words, languages) for row in chosen.to_dict("records")],
            "signer": field(sender.signer, 60),
            "signer_title": field(sender.title, 60),
            "return_lines": [field(line, 60) for line in sender.return_lines],
            "draft": draft,
        },
        date=imprint.date,
        paper=paper_of(imprint.units),
    )
    write_pdf(path, content)
    return len(chosen)


def _held(held: int, mailable: int, people: int) -> str:
    """Say how many addressees a file of letters holds, and where the others are."""
    if held == mailable:
        told = f"This file holds all {held:,} letters of its list." if held > 1 else (
            "This file holds the one letter of its list.")  # fmt: skip
    else:
        told = (
            f"This file holds {held:,} of {mailable:,} letters: the first of the list. All "
            "addressees are in the table for mail merge."
        )
    without = people - mailable
    if without:
        told += f" {without:,} more have no address on record and get no letter."
    return told


def _entry(
    row: Mapping[Hashable, Any], words: Mapping[str, dict[str, Any]], languages: Sequence[str]
) -> dict[str, object]:
    lines = _address(row["name"], row["delivery_line"], row["last_line"])
    part = row.get("letter") or row["audience"]
    since = str(row.get("since", ""))
    return {
        "part": part,
        "lines": [line for line in lines if line],
        "reference": field(row.get("reference"), 40),
        "sites": {
            code: _sites(row["site_addresses"], row["parcel_ids"], str(words[code]["more"]))
            for code in languages
        },
        "opening": {
            code: [text.replace("{since}", since) for text in words[code][part]["opening"]]
            for code in languages
        },
    }


def _address(name: str, street: str, last: str) -> tuple[str, str, str]:
    """Address lines; the two blanks before a ZIP code stay."""
    return field(name, 64), field(street, 64), plain_text(last)[:64]


def _sites(site_addresses: str, parcel_ids: str, more: str) -> list[str]:
    sites = [field(site, 44) for site in site_addresses.split("; ") if site]
    sites = sites or [field(f"parcel {parcel_id}", 44) for parcel_id in parcel_ids.split("; ")]
    left = len(sites) - MOST_SITES
    return sites if left <= 0 else [*sites[:MOST_SITES], f"+ {left} {more}"]


def _write_merge(
    path: Path, people: pd.DataFrame, words: Mapping[str, dict[str, Any]], imprint: Imprint
) -> Path:
    greetings = {
        code: people["audience"].map({who: words[code][who]["greeting"] for who in AUDIENCES})
        for code in LANGUAGES
    }
    table = pd.DataFrame(
        {
            "letter": people["order"],
            **{name: people[name] for name in ("audience", "language", "name")},
            "address_1": people["delivery_line"],
            "address_2": people["last_line"],
            "address_check": people["address_check"],
            **{f"greeting_{code}": greetings[code] for code in LANGUAGES},
            "properties": people["site_addresses"],
            "parcel_ids": people["parcel_ids"],
            "county": imprint.county,
            "contact": imprint.contact,
            **{f"date_{code}": words[code]["date"] for code in LANGUAGES},
        }
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(csv_text(cleaned(table)).encode("utf-8"))
    return path
