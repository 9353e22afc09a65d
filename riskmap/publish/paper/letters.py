"""Letters to households and owners, as PDF to print and as a table for mail merge."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import pandas as pd

from riskmap.action.mailing import LETTER_CLASSES, addressees, to_write_to
from riskmap.contract.quantities import Units
from riskmap.publish.lists.workbook import cleaned
from riskmap.publish.paper.letter_texts import LANGUAGES, default_letter, filled, read_letter
from riskmap.publish.paper.typesetting import field, paper_of, typeset, write_pdf
from riskmap.publish.words.text_safety import csv_text, plain_text

MOST_LETTERS: Final = 1000
"""Letters set as PDF in each language; the table for mail merge holds all."""
MOST_SITES: Final = 10
"""Addresses named in one letter."""

AUDIENCES: Final = ("household", "owner")


def write_letters(
    folder: Path,
    ranked: pd.DataFrame,
    *,
    county: str,
    date: datetime.date,
    units: Units = "us",
    contact: str = "",
    parcels: pd.DataFrame | None = None,
    classes: Sequence[str] = LETTER_CLASSES,
    site_last_line: str = "",
    residents_too: bool = False,
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
    ranked
        Ranked table, index ``parcel_id``.
    county, contact, date
        Sender, office and telephone, date of the letters.
    units
        Chooses the paper: ``us`` letter, ``si`` A4.
    parcels, site_last_line, residents_too
        See :func:`riskmap.action.mailing.addressees`.
    classes
        Classes of the failure score that are written to.
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
            county=field(county),
            contact=field(contact),
            date=date,
            source=str(given.get(code, "")),
        )
        for code in LANGUAGES
    }
    people = addressees(
        to_write_to(ranked, classes),
        parcels,
        site_last_line=site_last_line,
        residents_too=residents_too,
    )
    place = folder / "letters"
    written = [_write_merge(place / "mail_merge.csv", people, words, county, contact)]
    for code in LANGUAGES:
        source = given.get(code) or default_letter(code)
        (place / f"letter_{code}.toml").write_bytes(source.read_bytes())
        letters = _letters(people, code, str(words[code]["more"]))[:most]
        if letters:
            content = typeset(
                "letters",
                {"county": field(county), "contact": field(contact), "texts": words[code],
                 "letters": letters},
                date=date,
                paper=paper_of(units),
            )  # fmt: skip
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
    path: Path,
    people: pd.DataFrame,
    words: Mapping[str, dict[str, Any]],
    county: str,
    contact: str,
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
            "county": county,
            "contact": contact,
            **{f"date_{code}": words[code]["date"] for code in LANGUAGES},
        }
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(csv_text(cleaned(table)).encode("utf-8"))
    return path
