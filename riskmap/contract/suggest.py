"""Refusing unknown names, with the nearest known one suggested."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Final

from riskmap.contract.errors import RiskmapError

NOWHERE: Final[Mapping[str, str]] = MappingProxyType({})


def nearest(word: str, known: Iterable[str]) -> str:
    """Phrase a suggestion for a mistyped word; empty if nothing is near.

    >>> nearest("bedroms", ["bedrooms", "occupants"])
    ' Did you mean bedrooms?'
    """
    match = difflib.get_close_matches(word, list(known), n=1, cutoff=0.5)
    return f" Did you mean {match[0]}?" if match else ""


def unknown_keys(
    table: Iterable[str], known: Iterable[str], place: str, elsewhere: Mapping[str, str] = NOWHERE
) -> list[str]:
    """Word a fault for each key that is not `known`, with the nearest that is.

    Parameters
    ----------
    table
        The keys given.
    known
        The keys there are.
    place
        Their place in the file, for the message.
    elsewhere
        Keys of other places -> where they belong.

    Examples
    --------
    >>> unknown_keys(["bedroms"], ["bedrooms", "occupants"], "[layers.parcels.columns]")
    ["[layers.parcels.columns]: unknown key 'bedroms'. Did you mean bedrooms?"]
    """
    known = sorted(known)
    faults = []
    for name in table:
        if name not in known:
            belongs = f" It belongs to {elsewhere[name]}." if name in elsewhere else ""
            hint = belongs or nearest(name, known) or f" Known: {', '.join(known)}."
            faults.append(f"{place}: unknown key {name!r}.{hint}")
    return faults


def refuse_unknown(
    table: object, known: Iterable[str], place: str, error: type[RiskmapError]
) -> None:
    """Refuse a table with a key that is not known, or a value that is no table.

    Parameters
    ----------
    table
        What was read, of any type.
    known
        The keys there are.
    place
        Its name, for the message.
    error
        Class of the error to raise.

    Raises
    ------
    RiskmapError
        Of class `error`, for the first unknown key, with the nearest known one.
    """
    if not isinstance(table, dict):
        raise error(f"{place} must be a table of key = value lines.")
    known = set(known)
    for name in table:
        if name not in known:
            hint = nearest(name, known) or f" Known: {', '.join(sorted(known))}."
            raise error(f"{place}: unknown key {name!r}.{hint}")
