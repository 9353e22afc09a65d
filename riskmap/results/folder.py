"""What a folder that riskmap wrote holds: its own files as written, and what people did to them."""

from __future__ import annotations

import hashlib
import json
import os
import stat
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path, PurePosixPath
from typing import Any, Final

from riskmap.contract.errors import OutputError
from riskmap.keeping.store import FOLDER

MARK: Final = ".riskmap-files.json"
"""The list of a folder's files, by which riskmap knows a folder as its own; written last."""

Files = Mapping[str, tuple[int, str]]
"""Path from the folder -> size in bytes and SHA-256. An empty folder's path ends in a slash."""

RESULT: Final = "result 1"
"""What a result folder's mark says it is. The number goes up when the mark's form changes."""

LITTER: Final = frozenset({".DS_Store", ".directory", "Thumbs.db", "desktop.ini"})
"""Files that file managers leave behind by themselves; no one's work."""

SIDE_FILES: Final = ("{}-wal", "{}-shm", "{}-journal", "~${}", ".~lock.{}#")
"""Beside a file that another program has open: edits that are not yet in the file itself (SQLite
and GeoPackage), or the sign that an office program holds it. The two stay together."""


def write_mark(folder: Path, kind: str) -> None:
    """List every file of `folder` with its size and SHA-256; all of it is on the disk afterwards.

    Parameters
    ----------
    kind
        What the folder is, :data:`RESULT` for one; only the same kind may take its place.

    Raises
    ------
    OSError
        If a file cannot be read or the disk does not take it.
    """
    names = sorted(_name(path, folder) for path in _entries(folder))
    files = {name: _size_and_hash(folder / name, flush=True) for name in names}
    with (folder / MARK).open("w", encoding="utf-8", newline="\n") as file:
        json.dump({"riskmap": kind, "files": files}, file, indent=0)
        file.flush()
        os.fsync(file.fileno())


def read_mark(folder: Path) -> Mapping[str, Any] | None:
    """Return what the mark of `folder` says; None if there is none, or one that was cut off."""
    try:
        content = json.loads((folder / MARK).read_text(encoding="utf-8"))
        listed = content["files"].items()
        files = {name: (int(size), str(digest)) for name, (size, digest) in listed}
        return {"riskmap": str(content["riskmap"]), "files": files}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def refuse_foreign(folder: Path, kind: str) -> None:
    """Refuse a place that riskmap may not write to.

    It may where nothing is, where an empty folder is, and where riskmap wrote a folder of the same
    kind before.

    Raises
    ------
    OutputError
        With what is there and what to do.
    """
    if not os.path.lexists(folder):
        return
    if not folder.is_dir():
        raise OutputError(f"{folder} is a file. Name a folder.")
    mark = read_mark(folder)
    if mark is not None and mark["riskmap"] == kind:
        return
    if all(path.name in LITTER for path in _entries(folder)):
        return
    if mark is not None:
        what = f"was written by riskmap as something else ({mark['riskmap']}, not {kind})"
    elif (folder / "run.json").is_file():
        what = (
            "looks like a result but has no list of its files (early editions wrote none), so "
            "riskmap's files cannot be distinguished from yours"
        )
    else:
        what = "holds files that riskmap did not make"
    raise OutputError(
        f"{folder} {what}. Nothing in it was touched. Rename that folder, or name another one."
    )


def changed_files(folder: Path) -> list[str]:
    """Name what people changed in `folder` or added to it since riskmap wrote it.

    Returns
    -------
    list of str
        Paths from `folder`, sorted: files whose bytes are not those that the mark lists, files
        that it does not list, links, and empty folders (with a slash at the end). A listed file
        that another program has open (see :data:`SIDE_FILES`) counts as changed. Empty where
        there is no folder; everything in it where there is no mark.
    """
    if not folder.is_dir():
        return []
    files = _listed(folder)
    changed = (path for path in _entries(folder) if not _is_riskmaps(path, folder, files))
    return sorted(_name(path, folder) for path in changed)


def sweep(folder: Path) -> list[str]:
    """Delete from `folder` what riskmap wrote and no one changed; return the names of the rest.

    Where nothing is left the folder goes too. When it breaks off it can be done again.
    """
    files = _listed(folder)
    for path in list(_entries(folder)):
        if path.name != MARK and not path.is_dir() and _is_riskmaps(path, folder, files):
            _try(path.unlink)
    for root, _, _ in os.walk(folder, topdown=False):
        if Path(root) != folder and _is_riskmaps(Path(root), folder, files):
            _try(Path(root).rmdir)
    rest = sorted(_name(path, folder) for path in _entries(folder) if path != folder / MARK)
    _try((folder / MARK).unlink)
    if not rest:
        _try(folder.rmdir)
    return rest


def written_bytes(folder: Path) -> int:
    """Size of all files that riskmap listed in `folder`; 0 where there is no mark."""
    return sum(size for size, _ in _listed(folder).values())


def shown(name: str) -> str:
    """Return a file's name as text that can be written anywhere, whatever bytes it is made of."""
    text = os.fsencode(name).decode("utf-8", "replace")
    return "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text)


def _listed(folder: Path) -> Files:
    mark = read_mark(folder)
    return {} if mark is None else mark["files"]


def _entries(folder: Path) -> Iterator[Path]:
    """Files and links below `folder`, and folders that are empty or cannot be looked into."""
    with os.scandir(folder) as found:
        here = sorted(found, key=lambda entry: entry.name)
    for entry in here:
        path = folder / entry.name
        inside: list[Path] = []
        if entry.is_dir(follow_symlinks=False):
            with suppress(OSError):
                inside = list(_entries(path))
        yield from inside or [path]


def _name(path: Path, folder: Path) -> str:
    slash = "/" if path.is_dir() and not path.is_symlink() else ""
    return path.relative_to(folder).as_posix() + slash


def _is_riskmaps(path: Path, folder: Path, files: Files) -> bool:
    """Whether riskmap wrote this file, as it is; or it belongs to no one, or is kept from a run."""
    name = _name(path, folder)
    if name == MARK or path.name in LITTER or name.partition("/")[0] == FOLDER:
        return True
    if name.endswith("/"):
        return any(listed.startswith(name) for listed in files)
    beside = (PurePosixPath(name).with_name(side.format(path.name)) for side in SIDE_FILES)
    if any(side.as_posix() not in files and (folder / side).exists() for side in beside):
        return False
    try:
        seen = path.lstat()
        same_size = stat.S_ISREG(seen.st_mode) and seen.st_size == files.get(name, (-1, ""))[0]
        return same_size and _size_and_hash(path) == files[name]
    except OSError:
        return False


def _size_and_hash(path: Path, *, flush: bool = False) -> tuple[int, str]:
    if path.is_dir():
        return 0, ""
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
        if flush:
            os.fsync(file.fileno())
        return file.tell(), digest


def _try(step: Callable[[], object]) -> None:
    """Do what may fail: what cannot be deleted is kept."""
    with suppress(OSError):
        step()
