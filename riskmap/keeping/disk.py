"""Room on a disk: how much is left, and whether a writer failed for want of it."""

from __future__ import annotations

import math
import os
import shutil
from pathlib import Path
from typing import Final

from riskmap.contract.errors import NO_ROOM, OutputError, RiskmapError

FEW_BYTES: Final = 16 << 20
FEW_FILES: Final = 16
"""A writer that fails with less than this left on its disk, or less than it has written, has failed
for want of room: a database that cannot be finished gives back what it took."""


def for_want_of_room(error: BaseException, part: Path) -> bool:
    """Whether a writer failed because the disk is full, which each reports in its own words."""
    if isinstance(error, MemoryError) or not any(part.iterdir()):
        return False
    if isinstance(error, RiskmapError) and not isinstance(error, OutputError):
        return False
    cause: BaseException | None = error
    while cause is not None:
        if isinstance(cause, OSError) and cause.errno in NO_ROOM:
            return True
        cause = cause.__cause__ or cause.__context__
    free, files = room_left(part)
    written = sum(path.stat().st_size for path in part.rglob("*") if path.is_file())
    return free < max(FEW_BYTES, written) or files < FEW_FILES


def room_left(folder: Path) -> tuple[int, float]:
    """Bytes and files that the disk of `folder` still takes; infinity where it does not count."""
    if not hasattr(os, "statvfs"):
        return shutil.disk_usage(folder).free, math.inf
    disk = os.statvfs(folder)
    return disk.f_bavail * disk.f_frsize, disk.f_favail if disk.f_files else math.inf
