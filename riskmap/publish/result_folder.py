"""A result folder that is written whole or not at all."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from riskmap.contract.errors import OutputError

MARK: Final = "run.json"
"""File by which a folder is known to be an earlier result, which may be replaced."""


@contextmanager
def result_folder(target: Path) -> Iterator[Path]:
    """Give a new folder to write into; it takes the place of `target` when all went well.

    An earlier result at `target` stays untouched until then, and for good if anything fails.

    Raises
    ------
    OutputError
        If `target` holds something that is not an earlier result, or cannot be written.
    """
    target = target.resolve()
    _refuse_foreign(target)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(prefix=f".{target.name}.part-", dir=target.parent))
    except OSError as error:
        raise OutputError(f"{target}: cannot be written ({error.strerror}).") from error
    try:
        part.chmod(0o755)
        yield part
        _take_place(part, target)
    finally:
        shutil.rmtree(part, ignore_errors=True)


def _refuse_foreign(target: Path) -> None:
    if target.is_file():
        raise OutputError(f"{target} is a file. Name a folder with --out.")
    if target.is_dir() and any(target.iterdir()) and not (target / MARK).is_file():
        raise OutputError(
            f"{target} holds files that riskmap did not make. Name another folder with --out."
        )


def _take_place(part: Path, target: Path) -> None:
    old = part.with_name(part.name + ".old")
    try:
        if target.exists():
            target.rename(old)
        part.rename(target)
    except OSError as error:
        if old.exists() and not target.exists():
            old.rename(target)
        raise OutputError(f"{target}: cannot be replaced ({error.strerror}).") from error
    shutil.rmtree(old, ignore_errors=True)
