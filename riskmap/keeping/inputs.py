"""The files a region names, known by their content; an untouched file is not read again."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

from pyproj import CRS

from riskmap.keeping.store import Store, sha256_of

MEMORY: Final = "inputs.json"
SETTLED_NS: Final = 2_000_000_000
"""A file changed so shortly before it was hashed may change again within the clock's step."""


class Inputs:
    """Hashes of input files, kept from run to run by size and time of last change.

    Parameters
    ----------
    folder
        Folder of the region file: names of files within are relative to it.
    store
        Where the hashes are kept.
    """

    def __init__(self, folder: Path, store: Store) -> None:
        self.folder = folder.resolve()
        self._store = store
        self._known: dict[str, Any] = store.read_json(MEMORY)
        self._fresh = False

    def sha256(self, path: Path) -> str:
        """Hash a file, or take the hash it had if it is untouched since."""
        path = path.resolve()
        seen = path.stat()
        state = [seen.st_size, seen.st_mtime_ns]
        known = self._known.get(str(path))
        if known is not None and known[:2] == state and known[3] - state[1] > SETTLED_NS:
            return str(known[2])
        now = time.time_ns()
        self._known[str(path)] = [*state, sha256_of(path), now]
        self._fresh = True
        return str(self._known[str(path)][2])

    def remember(self) -> None:
        """Keep the hashes for the next run."""
        if self._fresh:
            self._store.write_json(MEMORY, self._known)
            self._fresh = False

    def content(self, paths: Iterable[Path]) -> dict[str, str]:
        """Name and hash of every file there is behind some paths, folders and companions too."""
        files = {file for path in paths for file in _behind(path)}
        names = {self._name(path.resolve()): path for path in files if path.is_file()}
        return {name: self.sha256(names[name]) for name in sorted(names)}

    def _name(self, path: Path) -> str:
        inside = path.is_relative_to(self.folder)
        return path.relative_to(self.folder).as_posix() if inside else path.name

    def stated(self, value: Any) -> Any:
        """State a setting in plain things for a key; of a file its content counts, not its place.

        Raises
        ------
        TypeError
            If it has no plain form.
        """
        if value is None or isinstance(value, bool | int | float | str):
            return value
        if isinstance(value, Path):
            return {"files": self.content([value])}
        if isinstance(value, date):
            return value.isoformat()
        if isinstance(value, CRS):
            return value.to_wkt()
        if is_dataclass(value):
            return {field.name: self.stated(getattr(value, field.name)) for field in fields(value)}
        if isinstance(value, Mapping):
            return [[self.stated(key), self.stated(item)] for key, item in value.items()]
        if isinstance(value, tuple | list):
            return [self.stated(item) for item in value]
        raise TypeError(f"a setting of type {type(value).__qualname__} has no plain form")


def _behind(path: Path) -> set[Path]:
    """Files that a path stands for: those of a folder, a shapefile's companions, or itself."""
    if path.is_dir():
        return set(path.rglob("*"))
    if path.suffix.lower() == ".shp":
        return set(path.parent.glob(f"{path.stem}.*"))
    return {path}


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
