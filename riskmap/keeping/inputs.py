"""Input files known by their content, and settings in plain words: what a key is made of."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

from pyproj import CRS

from riskmap.keeping.store import Store, sha256_of

MEMORY: Final = "inputs.json"
SETTLED_NS: Final = 2_000_000_000
"""A file changed so shortly before it was hashed may change again within the clock's step."""


class HashMemory:
    """Hashes of files, kept from run to run: a file that is untouched since is not read again.

    Parameters
    ----------
    store
        Where the hashes are kept.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._known: dict[str, Any] = store.read_json(MEMORY)
        self._fresh = False

    def sha256(self, path: Path) -> str:
        """Hash a file, or take the hash that it had in the state it is in."""
        state, known = state_of(path), self._known.get(str(path))
        if known is not None and known[0] == state and known[2] - state[1] > SETTLED_NS:
            return str(known[1])
        now = time.time_ns()
        self._known[str(path)] = [state, sha256_of(path), now]
        self._fresh = True
        return str(self._known[str(path)][1])

    def remember(self) -> None:
        """Keep the hashes for the next run."""
        if self._fresh:
            self._store.write_json(MEMORY, self._known)
            self._fresh = False


def state_of(path: Path) -> list[int]:
    """Return what the system records of a file; a change of its bytes changes some of it."""
    seen = path.stat()
    return [seen.st_size, seen.st_mtime_ns, seen.st_ctime_ns, seen.st_ino]


def stated(value: Any, content: Callable[[Path], Mapping[str, str]]) -> Any:
    """State a setting in plain things for a key.

    Parameters
    ----------
    value
        A setting: plain values, dates, reference systems, dataclasses and mappings of them; paths.
    content
        Name and hash of the files behind a path: of a file its content counts, not its place.

    Raises
    ------
    TypeError
        If it has no plain form.
    """
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, Path):
        return {"files": content(value)}
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, CRS):
        return value.to_wkt()
    if is_dataclass(value):
        return {each.name: stated(getattr(value, each.name), content) for each in fields(value)}
    if isinstance(value, Mapping):
        pairs = value.items()
        return [[stated(key, content), stated(item, content)] for key, item in pairs]
    if isinstance(value, tuple | list):
        return [stated(item, content) for item in value]
    raise TypeError(f"a setting of type {type(value).__qualname__} has no plain form")


def setting(region: Any, path: str) -> Any:
    """Value of a setting by its path, ``section.name``; ``name/file`` for one file of a folder.

    >>> from types import SimpleNamespace as Some
    >>> setting(Some(rules=Some(depth_m=2.0), sources={}), "rules.depth_m")
    2.0
    >>> setting(Some(sources={}), "sources.wells") is None
    True
    """
    dotted, _, file = path.partition("/")
    value = region
    for name in dotted.split("."):
        value = value.get(name) if isinstance(value, Mapping) else getattr(value, name)
    return value / file if file and value is not None else value
