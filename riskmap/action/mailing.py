"""Who is written to: one row per addressee, owners of several parcels once.

The owner is the one who can act. Where the tax bill goes elsewhere than to the parcel, or where
one owner has several parcels, the row is for an ``owner``; otherwise it is for the ``household``.
Without owner names and mailing addresses every row is for the household, as ``RESIDENT``.
"""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import pandas as pd

from riskmap.action.addresses import Address, address_fault, last_line, site_address
from riskmap.action.aims import on_file_as_failed
from riskmap.contract.results import MAILING
from riskmap.contract.vocabulary import CLASSES

RESIDENT: Final = "RESIDENT"
OR_RESIDENT: Final = "OR CURRENT RESIDENT"
OWNER: Final = "PROPERTY OWNER"
LETTER_CLASSES: Final = CLASSES[1:3]
"""Classes that get letters unless others are chosen."""

_PRIVATE: Final = ("owner", "mail_name", "mail_address", "mail_city", "mail_state", "mail_zip")
_NOISE: Final = frozenset({"AND", "OR", "THE", "MR", "MRS", "MS"})


@dataclass(frozen=True)
class Letter:
    """One parcel's letter before letters to the same addressee are merged."""

    parcel_id: str
    audience: str
    name: str
    address: Address
    site: str
    priority_class: str
    rank: float
    language: str

    @property
    def key(self) -> str:
        """Equal for letters to one addressee; without an address nothing is merged."""
        if not self.address.delivery:
            return f"||{self.parcel_id}"
        who = " ".join(sorted(set(re.findall(r"\w+", self.name)) - _NOISE))
        return "|".join([who, self.address.delivery, _without_plus_four(self.address.last)])


def to_write_to(ranked: pd.DataFrame, classes: Sequence[str] = LETTER_CLASSES) -> pd.DataFrame:
    """Give the ranked systems in the chosen classes, best rank first.

    Parcels ranked apart (service unknown) have no rank and are left out: no letter is sent about a
    system that may not exist. So are systems that are on file as failed: a general letter would
    read as if nothing were known. They are followed up in person.
    """
    chosen = ranked["rank"].notna() & ranked["priority_class"].isin(list(classes))
    if "worklist" in ranked:
        chosen &= ~on_file_as_failed(ranked)
    return ranked[chosen.to_numpy(dtype=bool, na_value=False)].sort_values("rank", kind="stable")


def addressees(
    chosen: pd.DataFrame,
    parcels: pd.DataFrame | None = None,
    *,
    site_last_line: str = "",
    residents_too: bool = False,
) -> pd.DataFrame:
    """One row per addressee of the chosen parcels.

    Parameters
    ----------
    chosen
        Rows of the ranked table, index ``parcel_id``; reads ``address``, ``priority_class``,
        ``rank`` and, if there, ``language``.
    parcels
        The canonical parcels with the private columns the county keeps; index or column
        ``parcel_id``. None or without those columns: every row goes to the resident.
    site_last_line
        City, state and ZIP code of sites whose address has none, if one fits all.
    residents_too
        Also write to the household of a parcel whose owner lives elsewhere.

    Returns
    -------
    DataFrame
        Columns of :data:`riskmap.contract.results.MAILING`, ``order`` from 1.
    """
    groups: dict[str, list[Letter]] = {}
    for letter in _letters(chosen, parcels, site_last_line, residents_too):
        groups.setdefault(letter.key, []).append(letter)
    if not groups:
        return pd.DataFrame(columns=MAILING.column_names)
    merged = pd.DataFrame([_merge(letters) for letters in groups.values()])
    merged = merged.sort_values(["best_rank", "audience"], kind="stable", ignore_index=True)
    merged.insert(0, "order", range(1, len(merged) + 1))
    return merged[MAILING.column_names]


def by_parcel_id(table: pd.DataFrame | None) -> pd.DataFrame | None:
    """Table indexed by ``parcel_id``, first row of repeated ids; None stays None."""
    if table is None:
        return None
    if "parcel_id" in table.columns:
        table = table.set_index("parcel_id")
    return table[~table.index.duplicated()]


def _letters(
    chosen: pd.DataFrame, parcels: pd.DataFrame | None, site_last_line: str, residents_too: bool
) -> Iterable[Letter]:
    """One letter a parcel, not yet merged."""
    owners = _private_columns(chosen, parcels).to_dict("records")
    texts = _texts(chosen["address"])
    languages = _texts(chosen["language"]) if "language" in chosen else [""] * len(chosen)
    ranks = chosen["rank"].to_numpy(dtype=float)
    for number, parcel_id in enumerate(chosen.index.astype(str)):
        site = site_address(texts[number], site_last_line)
        for audience, name, address in _recipients(owners[number], site, residents_too):
            yield Letter(
                parcel_id=parcel_id,
                audience=audience,
                name=" ".join(name.upper().split()),
                address=address,
                site=site.delivery,
                priority_class=str(chosen["priority_class"].iat[number]),
                rank=float(ranks[number]),
                language=languages[number].lower(),
            )


def _recipients(
    owner: dict[Hashable, str], site: Address, residents_too: bool
) -> Iterable[tuple[str, str, Address]]:
    name = owner["mail_name"] or owner["owner"]
    mail = site_address(owner["mail_address"])
    if owner["mail_city"] or owner["mail_zip"]:
        last = last_line(owner["mail_city"], owner["mail_state"], owner["mail_zip"])
        mail = Address(mail.delivery, last)
    if not mail.delivery:
        yield "household", RESIDENT, site
    elif mail.delivery == site.delivery and (not site.last or _same_place(mail, site)):
        yield "household", name or RESIDENT, mail
    else:
        yield "owner", name or OWNER, mail
        if residents_too and site.delivery:
            yield "household", RESIDENT, site


def _same_place(first: Address, second: Address) -> bool:
    return _without_plus_four(first.last) == _without_plus_four(second.last)


def _without_plus_four(last: str) -> str:
    return re.sub(r"-\d{4}$", "", last)


def _merge(letters: Sequence[Letter]) -> dict[str, object]:
    first = letters[0]
    ids = list(dict.fromkeys(letter.parcel_id for letter in letters))
    sites = list(dict.fromkeys(letter.site for letter in letters if letter.site))
    away = any(letter.audience == "owner" for letter in letters) or len(ids) > 1
    owner = away and first.name != RESIDENT
    return {
        "audience": "owner" if owner else "household",
        "name": first.name if owner or first.name == RESIDENT else f"{first.name} {OR_RESIDENT}",
        "delivery_line": first.address.delivery,
        "last_line": first.address.last,
        "address_check": address_fault(first.address),
        "parcels": len(ids),
        "parcel_ids": "; ".join(ids),
        "site_addresses": "; ".join(sites),
        "priority_class": _worst({letter.priority_class for letter in letters}),
        "best_rank": int(min(letter.rank for letter in letters)),
        "language": next((letter.language for letter in letters if letter.language), ""),
    }


def _worst(classes: set[str]) -> str:
    return next((name for name in CLASSES if name in classes), "")


def _private_columns(chosen: pd.DataFrame, parcels: pd.DataFrame | None) -> pd.DataFrame:
    given = by_parcel_id(parcels)
    source = chosen if given is None else given.reindex(chosen.index)
    return pd.DataFrame(
        {name: _texts(source[name]) if name in source else [""] * len(chosen) for name in _PRIVATE},
        index=chosen.index,
    )


def _texts(values: pd.Series) -> list[str]:
    return [_text(value) for value in values]


def _text(value: object) -> str:
    return "" if value is None or value is pd.NA or value != value else str(value).strip()
