"""Small files that people write by hand: read whole, in UTF-8, as TOML.

A region file, a scoring model or a letter that cannot be read ends in one error that names the file
and the place, never in a traceback.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from riskmap.contract.errors import RiskmapError

MOST_BYTES: Final = 2_000_000
"""No file that a person writes is longer; a data file named by mistake is."""
MOST_DEPTH: Final = 12
"""Tables inside tables: the deepest place that any of these files knows is five deep."""


def read_small(path: Path, what: str, error: type[RiskmapError]) -> bytes:
    """Read a file that a person wrote.

    Parameters
    ----------
    path
        The file.
    what
        What it is, for the message: "the region file".
    error
        Class of the error to raise.

    Raises
    ------
    RiskmapError
        Of class `error`, if the file cannot be read or is longer than :data:`MOST_BYTES`.
    """
    try:
        if not path.is_file():
            raise error(f"{path}: {what} cannot be read: there is no such file. Check the path.")
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as fault:
        raise error(f"{path}: {what} cannot be read ({fault}). Check the path.") from fault
    if len(data) > MOST_BYTES:
        raise error(f"{path}: {what} is longer than {MOST_BYTES:,} bytes. Name the right file.")
    return data


def decoded(data: bytes, name: str, error: type[RiskmapError]) -> str:
    """Text of a file's bytes.

    Parameters
    ----------
    data
        UTF-8, with or without a byte-order mark.
    name
        What to call it in a message.
    error
        Class of the error to raise.

    Raises
    ------
    RiskmapError
        Of class `error`, with the line that is not UTF-8.
    """
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data.count(b"\n", 0, fault.start) + 1
        raise error(f"{name}: line {line} is not UTF-8. Save the file as UTF-8.") from fault


def faults_together(name: str, faults: Sequence[str]) -> str:
    """Text of one error for all faults of a file, which is called `name`.

    >>> print(faults_together("region.toml", ["No county.", "No date."]))
    region.toml has 2 faults:
    - No county.
    - No date.
    """
    if len(faults) == 1:
        return faults[0]
    return f"{name} has {len(faults)} faults:\n" + "\n".join(f"- {fault}" for fault in faults)


def toml_tables(text: str, name: str, error: type[RiskmapError]) -> dict[str, Any]:
    """Tables of a TOML text.

    Parameters
    ----------
    text
        The text.
    name
        What to call it in a message.
    error
        Class of the error to raise.

    Raises
    ------
    RiskmapError
        Of class `error`, with the line at fault; also if tables nest without end.
    """
    try:
        content = tomllib.loads(text)
        deepest = _depth(content)
    except ValueError as fault:
        raise error(f"{name}: not valid TOML: {fault}. Correct the place named.") from fault
    except RecursionError as fault:
        raise error(f"{name}: lists or tables nest without end. Correct the file.") from fault
    if deepest > MOST_DEPTH:
        raise error(f"{name}: lists or tables nest {deepest} deep. Correct the file.")
    return content


def _depth(value: object) -> int:
    if not isinstance(value, dict | list):
        return 0
    parts = value.values() if isinstance(value, dict) else value
    return 1 + max(map(_depth, parts), default=0)
