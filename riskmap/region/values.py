"""From the keys of one TOML table to the values of declared settings, with all faults together."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, TypeVar

from riskmap.contract.settings import Section, Setting, settings_of, taken
from riskmap.contract.suggest import NOWHERE, nearest, unknown_keys
from riskmap.contract.units import FOOT_M

AnySection = TypeVar("AnySection", bound=Section)

LONGEST: int = 60
"""Letters of a wrong value that a message shows."""


def shown(given: object) -> str:
    """Write a wrong value for a message, not too long.

    >>> shown("x" * 100)[-5:]
    'x ...'
    """
    text = given.isoformat() if isinstance(given, date) else repr(given)
    return text if len(text) <= LONGEST else text[:LONGEST] + " ..."


def read_section(
    section: type[AnySection],
    table: Any,
    place: str,
    faults: list[str],
    elsewhere: Mapping[str, str] = NOWHERE,
) -> AnySection | None:
    """Read one table as a section.

    Parameters
    ----------
    section
        Its class.
    table
        What the file has there, of any type.
    place
        Its name in messages, such as ``[rules]``.
    faults
        Grows by a sentence for each fault.
    elsewhere
        Keys of other sections -> where they belong.

    Returns
    -------
    The section; None if there was a fault.
    """
    if not isinstance(table, dict):
        faults.append(f"{place} must be a table of key = value lines.")
        return None
    before = len(faults)
    faults += unknown_keys(table, keys_of(section), place, elsewhere)
    values = values_of(section, table, place, faults)
    for one in settings_of(section).values():
        if one.required and one.key not in table:
            faults.append(f"{place}: {one.key} is missing. {one.meaning}.")
    if len(faults) > before:
        return None
    try:
        return section(**values)
    except ValueError as error:
        faults.append(f"{place}: {error}.")
        return None


def keys_of(section: type[Section]) -> list[str]:
    """List the keys that a section's table may have."""
    declared = settings_of(section).values()
    return [key for one in declared for key in (one.key, one.in_feet) if key]


def values_of(
    section: type[Section], table: Mapping[str, Any], place: str, faults: list[str]
) -> dict[str, Any]:
    """Values of the settings that a table gives.

    Parameters
    ----------
    section, table, place, faults
        As in :func:`read_section`; lengths may be given in feet under the setting's second key.

    Returns
    -------
    dict
        Value by the setting's name; settings at fault are left out.
    """
    values = {}
    for one in settings_of(section).values():
        given = [
            (key, factor)
            for key, factor in ((one.key, 1.0), (one.in_feet, FOOT_M))
            if key and key in table
        ]
        if len(given) == 2:
            faults.append(f"{place}: give {one.key} or {one.in_feet}, not both.")
        elif given:
            key, factor = given[0]
            if issubclass(one.kind, Section):
                values[one.name] = _rows(one, table[key], f"{place} {key}", faults)
            else:
                _take(one, key, table[key], factor, place, values, faults)
    return values


def _take(
    one: Setting,
    key: str,
    given: Any,
    factor: float,
    place: str,
    values: dict[str, Any],
    faults: list[str],
) -> None:
    try:
        values[one.name] = taken(one, given, factor=factor)
    except ValueError as error:
        hint = nearest(given, one.choices) if isinstance(given, str) else ""
        faults.append(f"{place} {key} = {shown(given)}: {error}.{hint} {one.meaning}.")


def _rows(one: Setting, given: Any, place: str, faults: list[str]) -> tuple[Any, ...]:
    if not isinstance(given, list) or not given:
        faults.append(f"{place}: expected a list of tables. {one.meaning}.")
        return ()
    return tuple(
        read_section(one.kind, table, f"{place}, table {number}", faults)
        for number, table in enumerate(given, start=1)
    )
