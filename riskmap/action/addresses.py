"""Addresses in postal form, by USPS Publication 28, Postal Addressing Standards (October 2023).

Upper case, no punctuation but the hyphen and the slash, suffixes and unit designators abbreviated
(appendices C1 and C2, here the common ones, from memory), the unit at the end of the delivery
line, ``#`` separated from its number by a space, city, state and ZIP code on the last line. Nothing
is guessed: what is missing stays missing and is reported by :func:`address_fault`.

>>> delivery_line("123 Main Street #4")
'123 MAIN ST # 4'
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from riskmap.action.postal_words import DIRECTIONS, NUMBERED_ROADS, STATES, SUFFIXES, UNITS

OPTIMUM_LENGTH: Final = 64
"""Longest line that postal software must hold (Publication 28); longer ones are to be checked."""

_BOX: Final = re.compile(r"^(?:P ?O|POST OFFICE) ?(?:BOX|DRAWER|BX) ?#? ?(\S.*)$")
_RURAL: Final = re.compile(
    r"^(?:R ?R|RFD|R ?D|RURAL ROUTE|RURAL RTE) ?#? ?(\d+\w*)(?: ?(?:BOX|BX|#) ?#? ?(\S+))?$"
)
_CONTRACT: Final = re.compile(
    r"^(?:H ?C|STAR ROUTE|STAR RTE|HIGHWAY CONTRACT) ?#? ?(\d+)(?: ?(?:BOX|BX|#) ?(\S+))?$"
)
_LAST: Final = re.compile(
    r"^(?P<city>[^,\d]+?)[\s,]+(?P<state>[A-Za-z .]+?)[\s,]+(?P<zip>\d{5}(?:-?\d{4})?)$"
)
_ZIP: Final = re.compile(r"(\d{3,5})(?:-(\d{4}))?|(\d{4,5})(\d{4})")


@dataclass(frozen=True)
class Address:
    """Delivery line and last line in postal form; either may be empty where nothing is known."""

    delivery: str
    last: str


def delivery_line(text: str) -> str:
    """Delivery line in postal form.

    >>> delivery_line("45 North Elm Avenue, Apartment 2-b")
    '45 N ELM AVE APT 2-B'
    >>> delivery_line("P.O. Box 17"), delivery_line("R.R. 2, Box 18")
    ('PO BOX 17', 'RR 2 BOX 18')
    """
    plain = _plain(text)
    if box := _BOX.match(plain):
        return f"PO BOX {box[1]}"
    if route := _RURAL.match(plain) or _CONTRACT.match(plain):
        name = "RR" if _RURAL.match(plain) else "HC"
        return f"{name} {route[1]}" + (f" BOX {route[2]}" if route[2] else "")
    words, unit = _part_unit(plain.split())
    return " ".join([*_street(words), *unit])


def last_line(city: str, state: str, zip_code: str) -> str:
    """City, state and ZIP code; two spaces before the code.

    Parameters
    ----------
    city, state
        As recorded; the state written out or abbreviated.
    zip_code
        As recorded: five or nine digits, or a number that lost its leading zero.

    Returns
    -------
    str
        Empty where neither the city nor the code is known.

    Examples
    --------
    >>> last_line("Sample Falls", "new york", "1234.0")
    'SAMPLE FALLS NY  01234'
    """
    parts = [_plain(city), state_code(state)]
    place = " ".join(part for part in parts if part)
    code = zip_text(zip_code)
    if not parts[0] and not code:
        return ""
    return f"{place}  {code}".strip()


def state_code(text: str) -> str:
    """Two-letter code of a state written out or abbreviated; other texts stay as they are."""
    plain = _plain(text)
    return STATES.get(plain, plain)


def zip_text(text: str) -> str:
    """Five or nine digits; a zero that a spreadsheet dropped is put back. Else empty.

    >>> zip_text("133011234"), zip_text("13301-1234"), zip_text("501"), zip_text("abc")
    ('13301-1234', '13301-1234', '00501', '')
    """
    found = _ZIP.fullmatch(text.strip().removesuffix(".0"))
    if not found:
        return ""
    first, more = found[1] or found[3], found[2] or found[4]
    return first.zfill(5) + (f"-{more}" if more else "")


def site_address(text: str, site_last_line: str = "") -> Address:
    """Postal form of a site address in one line; a last line inside it is taken out of it.

    Parameters
    ----------
    text
        The assessor's site address, often the delivery line only.
    site_last_line
        Last line for sites that have none of their own; empty to leave it open.

    >>> site_address("7 Oak Road, Sample Falls, NY 13301")
    Address(delivery='7 OAK RD', last='SAMPLE FALLS NY  13301')
    """
    street, comma, rest = text.partition(",")
    while comma:
        found = _LAST.match(rest.strip())
        if found and state_code(found["state"]) in STATES.values():
            return Address(
                delivery_line(street), last_line(found["city"], found["state"], found["zip"])
            )
        more, comma, rest = rest.partition(",")
        street = f"{street},{more}"
    line = delivery_line(text)
    given = _LAST.match(site_last_line.strip())
    last = (
        last_line(given["city"], given["state"], given["zip"]) if given else _plain(site_last_line)
    )
    return Address(line, last if line else "")


def address_fault(address: Address) -> str:
    """Reason why an address cannot be mailed as it is; empty where it can.

    >>> address_fault(Address("7 OAK RD", ""))
    'city and ZIP code missing'
    """
    if not address.delivery:
        return "no address"
    faults = []
    if not address.last:
        faults.append("city and ZIP code missing")
    elif not re.search(r"\d{5}(-\d{4})?$", address.last):
        faults.append("ZIP code missing")
    if not re.match(r"\d|PO BOX|RR |HC |ONE ", address.delivery):
        faults.append("no house number")
    if max(len(address.delivery), len(address.last)) > OPTIMUM_LENGTH:
        faults.append(f"longer than {OPTIMUM_LENGTH} letters")
    return "; ".join(faults)


def _plain(text: str) -> str:
    """Upper case, ASCII, single blanks, no punctuation; ``#`` is a word of its own."""
    ascii_text = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    kept = re.sub(r"[.,;:'\"]", lambda sign: "" if sign[0] in ".'\"" else " ", ascii_text.upper())
    kept = re.sub(r"[^A-Z0-9#/\- ]", " ", kept.replace("&", " AND "))
    return " ".join(kept.replace("#", " # ").split())


def _part_unit(words: list[str]) -> tuple[list[str], list[str]]:
    """Separate the secondary unit from the rest, wherever it is after the first word."""
    if "#" in words[1:]:
        place = words.index("#", 1)
        before = UNITS.get(words[place - 1]) if place > 1 else None
        if before:
            return words[: place - 1], [before, *words[place + 1 :]]
        return words[:place], words[place:] if words[place + 1 :] else []
    for place in range(2, len(words)):
        designator = UNITS.get(words[place])
        rest = words[place + 1 :]
        if designator and len(rest) == 1 and _is_unit_number(rest[0]):
            return words[:place], [designator, *rest]
    return words, []


def _is_unit_number(word: str) -> bool:
    return any(sign.isdigit() for sign in word) or len(word) == 1


def _street(words: list[str]) -> list[str]:
    """Abbreviate directions and the suffix, spell out numbered roads."""
    head, name = (words[:1], words[1:]) if words and words[0][:1].isdigit() else ([], words)
    if name and re.fullmatch(r"\d+/\d+", name[0]):
        head, name = [*head, name[0]], name[1:]
    numbered = _numbered_road(name)
    if numbered:
        return head + numbered
    before: list[str] = []
    after: list[str] = []
    if len(name) > 2 and name[-1] in DIRECTIONS and name[-2] in SUFFIXES:
        name, after = name[:-1], [DIRECTIONS[name[-1]]]
    if len(name) > 1 and name[-1] in SUFFIXES and name[-2] not in {"OF", "THE"}:
        name, after = name[:-1], [SUFFIXES[name[-1]], *after]
    if len(name) > 1 and name[0] in DIRECTIONS:
        name, before = name[1:], [DIRECTIONS[name[0]]]
    return [*head, *before, *name, *after]


def _numbered_road(name: list[str]) -> list[str]:
    """``CO RD 12`` as ``COUNTY ROAD 12``; empty where the street is no numbered road."""
    for (first, second), number in zip(pairwise(name), name[2:], strict=False):
        road = NUMBERED_ROADS.get(f"{first} {second}")
        if name[0] == first and road and number[0].isdigit():
            return [*road.split(), *name[2:]]
    road = NUMBERED_ROADS.get(name[0]) if len(name) > 1 and name[1][0].isdigit() else None
    return [*road.split(), *name[1:]] if road else []
