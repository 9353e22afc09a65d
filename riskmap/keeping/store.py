"""A folder of kept results: each under a key of what made it, written whole or not at all.

Safe to delete at any time; safe with two runs at once and with a run that is killed: an entry is
written beside and takes its name when it is complete.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
import time
import weakref
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from riskmap.contract.errors import REASONS, OutputError, reason
from riskmap.keeping.disk import for_want_of_room

FOLDER: Final = ".riskmap"
"""Folder next to the region file in which a county's results are kept."""
RUNS_KEPT: Final = 3
"""Results of so many of the last runs are kept."""
IN_USE_S: Final = 6 * 3600.0
"""What was used so lately is kept too, s: another run may be at work with it."""

_ABOUT: Final = """\
Results that riskmap keeps between runs, so that a run does only what has changed.
Safe to delete at any time; the next run then takes as long as the first.
It holds what the sources hold, private columns included: treat it as you treat them.
"""
_TAG: Final = "Signature: 8a477f597d28d172789f06886806bc55\n# Kept results of riskmap.\n"
"""Marks the folder for backup programs (Cache Directory Tagging Specification)."""


_Groups = Mapping[str, Iterable[Path]]


@dataclass(frozen=True)
class Entry:
    """Kept results of one stage: `things` maps what it gave to a hash of its content.

    `files` (path in the entry -> SHA-256) is all that the entry holds.
    """

    folder: Path
    stage: str
    things: Mapping[str, str]
    files: Mapping[str, str]
    seconds: float


class Store:
    """Entries below one folder, which is made with the first.

    Where nothing can be written next to the region file, results are kept until the program ends.

    Parameters
    ----------
    folder
        Mostly :data:`FOLDER` next to the region file.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def open(self) -> str:
        """Make the folder; returns what a person must know of it, mostly nothing."""
        try:
            (self.folder / "new").mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=self.folder / "new"):
                pass
        except OSError as error:
            refused, self.folder = self.folder, Path(tempfile.mkdtemp(prefix="riskmap-"))
            weakref.finalize(self, shutil.rmtree, self.folder, ignore_errors=True)
            (self.folder / "new").mkdir()
            return f"{refused} cannot be written ({error.strerror}): nothing is kept for later."
        for name, text in (("README.txt", _ABOUT), ("CACHEDIR.TAG", _TAG), (".gitignore", "*\n")):
            if not (self.folder / name).exists():
                (self.folder / name).write_text(text, encoding="utf-8", newline="\n")
        return ""

    def find(self, key: str) -> Entry | None:
        """Return the entry kept under a key; None where there is none that is whole."""
        place = self.folder / "entries" / key
        try:
            said = json.loads((place / "entry.json").read_text(encoding="utf-8"))
            if any((place / name).stat().st_size != size for name, size in said["sizes"].items()):
                return None
            os.utime(place)
            return Entry(place, *(said[name] for name in ("stage", "things", "files", "seconds")))
        except (OSError, ValueError, KeyError):
            return None

    def add(
        self,
        key: str,
        stage: str,
        write: Callable[[Path], _Groups],
        *,
        started: float | None = None,
    ) -> Entry:
        """Keep what `write` writes into the folder it is given.

        Parameters
        ----------
        key
            From :func:`key_of`.
        stage
            Name of the stage, for people who look.
        write
            Writes files and returns, for each thing, those that hold it.
        started
            When the work began, by ``time.perf_counter()``; None: now.

        Returns
        -------
        Entry
            The new one, or one that another run has added meanwhile.

        Raises
        ------
        OutputError
            If the disk is full or cannot be written.
        """
        try:
            with self._part() as part:
                start = time.perf_counter() if started is None else started
                groups = self._written(write, part)
                _write_entry(part, stage, groups, time.perf_counter() - start)
                self._take_place(part, key)
        except OSError as error:
            if error.errno not in REASONS:
                raise
            raise OutputError(
                f"{self.folder}: results cannot be kept ({reason(error)}). Cure that and run again."
            ) from error
        entry = self.find(key)
        if entry is None:
            raise OutputError(f"{self.folder}: what was just written is gone. Run again.")
        return entry

    def _written(self, write: Callable[[Path], _Groups], part: Path) -> _Groups:
        """Write into `part`; a full disk is named as such, whatever the writer calls it."""
        try:
            return write(part)
        except Exception as error:
            if not isinstance(error, OSError) and for_want_of_room(error, part):
                raise OutputError(
                    f"{self.folder}: its disk is full, so results cannot be kept. Make room there."
                ) from error
            raise

    @contextmanager
    def _part(self) -> Iterator[Path]:
        """Give a folder to write an entry in."""
        part = Path(tempfile.mkdtemp(dir=self.folder / "new"))
        try:
            yield part
        finally:
            shutil.rmtree(part, ignore_errors=True)

    def _take_place(self, part: Path, key: str) -> None:
        """Give a complete entry its name, unless another run has just added the same."""
        place = self.folder / "entries" / key
        place.parent.mkdir(exist_ok=True)
        for _ in range(2):
            try:
                part.rename(place)
            except OSError:
                if self.find(key) is not None:
                    return
                self._put_away(place)
            else:
                return

    def _put_away(self, place: Path) -> None:
        """Clear an entry; a reader sees it whole or not at all."""
        if place.exists():
            with self._part() as part:
                place.rename(part / "old")

    def drop(self, key: str) -> None:
        """Remove an entry, if it is there: what it holds is not what was written."""
        self._put_away(self.folder / "entries" / key)

    def prune(self, run: str, used: Iterable[str]) -> None:
        """Remove what none of the last runs used.

        Parameters
        ----------
        run
            Name of the region file: runs of different files count apart.
        used
            Keys of the run that has ended.
        """
        runs = self.read_json("runs.json")
        runs[run] = [sorted(used), *runs.get(run, [])][:RUNS_KEPT]
        self.write_json("runs.json", runs)
        wanted = {key for lists in runs.values() for keys in lists for key in keys}
        for place in (*self.folder.glob("entries/*"), *self.folder.glob("new/*")):
            with suppress(OSError):
                if place.name not in wanted and time.time() - place.stat().st_mtime > IN_USE_S:
                    self._put_away(place)

    def read_json(self, name: str) -> dict[str, Any]:
        """Read a small file of the store; empty where there is none as it was written."""
        try:
            found = json.loads((self.folder / name).read_text(encoding="utf-8"))
            content: dict[str, Any] = found["content"]
            whole = found["key"] == key_of(content=content)
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            return {}
        return content if whole and isinstance(content, dict) else {}

    def write_json(self, name: str, content: Mapping[str, Any]) -> None:
        """Write a small file of the store, whole or not at all."""
        with self._part() as part:
            text = json.dumps({"key": key_of(content=content), "content": content})
            (part / name).write_text(text, encoding="utf-8")
            (part / name).replace(self.folder / name)


def key_of(**made_of: Any) -> str:
    """Return the key of what is made of all this: plain things, by name.

    >>> key_of(a=1, b="x") == key_of(b="x", a=1) != key_of(a=1, b="y")
    True
    """
    text = json.dumps(made_of, sort_keys=True, ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()[:40]


def sha256_of(path: Path) -> str:
    """Hash a file's content."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _write_entry(
    part: Path, stage: str, groups: Mapping[str, Iterable[Path]], seconds: float
) -> None:
    """Write ``entry.json``: what the files in `part` hold, to know them whole by."""
    paths = {p.relative_to(part).as_posix(): p for p in sorted(part.rglob("*")) if p.is_file()}
    files = {name: sha256_of(path) for name, path in paths.items()}
    within = {
        thing: sorted(path.relative_to(part).as_posix() for path in group)
        for thing, group in groups.items()
    }
    said = {
        "stage": stage,
        "things": {t: key_of(files={n: files[n] for n in names}) for t, names in within.items()},
        "files": files,
        "sizes": {name: path.stat().st_size for name, path in paths.items()},
        "seconds": round(seconds, 3),
    }
    (part / "entry.json").write_text(json.dumps(said, indent=1), encoding="utf-8")
