"""Letters to households and owners, as PDF to print and as a table for mail merge."""

from __future__ import annotations

from collections.abc import Mapping
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

MOST_LETTERS: Final = 1000
"""Letters set as PDF in each language; the table for mail merge holds all."""
MOST_SITES: Final = 10
"""Addresses named in one letter."""

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
    most: int = MOST_LETTERS,
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
        Letters set as PDF, best ranks first; the table has all.

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
    words = {
        code: filled(
            read_letter(given.get(code), code),
            county=field(imprint.county),
            contact=field(imprint.contact),
            date=imprint.date,
            source=str(given.get(code, "")),
        )
        for code in LANGUAGES
    }
    place = folder / "letters"
    written = [_write_merge(place / "mail_merge.csv", people, words, imprint)]
    for code in LANGUAGES:
        source = given.get(code) or default_letter(code)
        (place / f"letter_{code}.toml").write_bytes(source.read_bytes())
        pages = _letters(people, code, str(words[code]["more"]))[:most]
        if pages:
            content = typeset(
                "letters",
                {
                    "county": field(imprint.county),
                    "contact": field(imprint.contact),
                    "texts": words[code],
                    "letters": pages,
                },
                date=imprint.date,
                paper=paper_of(imprint.units),
            )
            written.append(write_pdf(place / f"letters_{code}.pdf", content))
    return written


def _letters(people: pd.DataFrame, code: str, more: str) -> list[dict[str, object]]:
    """Letters of one language: those who asked for it, and all whose language is not known."""
    mine = people["language"].map(lambda kept: kept == code or kept not in LANGUAGES)
    mailable = people["delivery_line"] != ""
    chosen = people[mine.to_numpy(dtype=bool) & mailable.to_numpy(dtype=bool)]
    names = ("audience", "name", "delivery_line", "last_line", "site_addresses", "parcel_ids")
    return [
        {
            "audience": audience,
            "lines": [line for line in _address(name, street, last) if line],
            "sites": _sites(sites, ids, more),
        }
        for audience, name, street, last, sites, ids in chosen[list(names)].itertuples(index=False)
    ]


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
