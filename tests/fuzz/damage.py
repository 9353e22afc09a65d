"""A blow, and the files after it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from tests.fuzz.delimited import Table

Files = dict[str, bytes]


class Blow(NamedTuple):
    """One act of damage: `first` and `second` are shares from 0 to below 1, `force` is free."""

    kind: str
    first: float
    second: float
    force: int


@dataclass
class Damaged:
    """Files after the blows; `touched` holds the 1-based records that were meant to change.

    ``touched`` and ``records`` are None once nobody can say which records changed, or how many
    there are. ``torn`` are touched records that no longer have the header's number of cells.
    ``table`` is the main file as cells, as long as only they changed; ``resized`` says that more
    changed than single bytes.
    """

    files: Files
    touched: set[int] | None = field(default_factory=set)
    torn: set[int] = field(default_factory=set)
    table: Table | None = None
    resized: bool = False
    records: int | None = None
