"""One run at a time: a lock that the system takes back when its process ends, however it ends."""

from __future__ import annotations

import os
import platform
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import IO, Final

from riskmap.contract.errors import OutputError

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

_FAR: Final = 1 << 30
"""On Windows a locked byte cannot be read, so one far behind the text is locked there."""


class BusyError(OutputError):
    """Another run is writing there."""


@contextmanager
def run_lock(path: Path) -> Iterator[str]:
    """Hold the lock file `path`; file and folder are gone afterwards, if nothing else is in it.

    Yields
    ------
    str
        Who held the lock before and never gave it back, because the process was killed or the
        machine stopped; empty otherwise.

    Raises
    ------
    BusyError
        If a process that still runs holds it: which, on which machine, since when.
    OSError
        If the file cannot be written, or the disk cannot lock files.
    """
    file = _take(path)
    try:
        file.seek(0)
        before = file.read().strip()
        file.seek(0)
        file.truncate()
        now = f"{datetime.now():%Y-%m-%d %H:%M}"
        file.write(f"process {os.getpid()} on {platform.node()}, since {now}\n")
        file.flush()
        yield before
    finally:
        _give_back(file, path)


def _take(path: Path) -> IO[str]:
    while True:
        with suppress(FileExistsError):
            path.parent.mkdir()
        try:
            file = path.open("a+", encoding="utf-8")
        except FileNotFoundError:
            continue  # another run has just ended and taken the folder away
        try:
            if not _lock(file):
                file.seek(0)
                raise BusyError(file.read().strip() or "a process that has only just started")
            if _is_at(file, path):
                return file
        except BaseException:
            file.close()
            raise
        file.close()  # the lock of a run that ended in between: its file is no longer there


def _is_at(file: IO[str], path: Path) -> bool:
    with suppress(FileNotFoundError):
        return os.path.samestat(path.stat(), os.fstat(file.fileno()))
    return False


def _lock(file: IO[str]) -> bool:
    try:
        if sys.platform == "win32":
            file.seek(_FAR)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def _give_back(file: IO[str], path: Path) -> None:
    """Delete first and release then, so that no run takes a lock that is about to be deleted."""
    if sys.platform == "win32":  # an open file cannot be deleted there
        file.close()
    with suppress(OSError):
        path.unlink()
        path.parent.rmdir()
    file.close()
