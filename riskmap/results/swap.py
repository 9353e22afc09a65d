"""A folder that takes the place of an earlier one whole or not at all, whatever happens.

While a run is going on, a hidden work folder lies next to the target::

    .NAME.riskmap/lock      who is writing
    .NAME.riskmap/probe     for the question whether the target may be renamed
    .NAME.riskmap/part      what is being written; whole once it has its mark
    .NAME.riskmap/earlier   what was at the target, between the swap and its clearing

:func:`_settle` alone moves anything, and each of its steps can be seen from what lies there. So
it ends a run, clears up after one that failed, and goes on where a killed one broke off.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from datetime import date
from itertools import count
from pathlib import Path
from typing import Final

from riskmap.contract.errors import OutputError, reason
from riskmap.ending import undisturbed
from riskmap.keeping.disk import FEW_FILES, for_want_of_room, room_left
from riskmap.results.folder import (
    RESULT,
    changed_files,
    read_mark,
    refuse_foreign,
    shown,
    sweep,
    write_mark,
    written_bytes,
)
from riskmap.results.lock import BusyError, run_lock

Tell = Callable[[str], None]

NAMED: Final = 8
"""So many files are named one by one."""

WORKBOOKS: Final = (".xlsx", ".xlsm", ".ods")


@contextmanager
def result_folder(
    target: Path, *, tell: Tell, kind: str = RESULT, expected_bytes: int = 0
) -> Iterator[Path]:
    """Give a new folder to write into; it takes the place of `target` when all went well.

    An earlier folder of the same kind at `target` stays untouched until then, and for good if
    anything fails. What people changed in it or added to it is kept, see :func:`kept_files`.

    Parameters
    ----------
    target
        The folder, or where one is to be. Its parents are made.
    tell
        Gets, a sentence or two at a time, what people must know: files kept, disk space running
        out, leftovers cleared.
    kind
        What the folder is; a folder of another kind is never replaced.
    expected_bytes
        About how large the folder will be, where no earlier one shows it; 0 if not known.

    Raises
    ------
    OutputError
        Before the work, if `target` holds something else, cannot be written or replaced, or
        another run is writing there. After it, if the disk is full, or if `target` could not be
        replaced all the same: the new folder then lies next to it, and the message says where.
    """
    target = _resolved(target)
    with _as_output_error(target):
        refuse_foreign(target, kind)
    with _work_on(target) as (work, dead):
        _clear_up(work, target, kind, dead=dead, tell=tell)
        _require_replaceable(target, work)
        _warn_if_tight(target, written_bytes(target) or expected_bytes, tell)
        _announce(target, tell)
        part = work / "part"
        try:
            with _as_output_error(target):
                part.mkdir()
            try:
                yield part
            except Exception as error:
                if for_want_of_room(error, part):
                    raise OutputError(_no_room(target)) from error
                raise
            try:
                write_mark(part, kind)
            except OSError as error:
                raise _set_aside(part, target, reason(error)) from error
        finally:
            _settle(work, target, kind, tell)


def settle_leftovers(target: Path, *, tell: Tell, kind: str = RESULT) -> None:
    """Put in order a folder that a killed run was about to replace; mostly there is none.

    Parameters
    ----------
    target
        The result folder.
    tell
        Gets what people must know, a sentence or two at a time.
    kind
        Kind of folder, as its mark names it.
    """
    target = _resolved(target)
    if _work_folder(target).is_dir():
        with suppress(BusyError), _work_on(target) as (work, dead):
            _clear_up(work, target, kind, dead=dead, tell=tell)


def kept_files(target: Path) -> list[str]:
    """Say what is kept of the folder at `target` when it is replaced, and where.

    Returns
    -------
    list of str
        Paths from the folder that `target` lies in, as they can be shown: of each file that
        people changed or added, in the folder where it will be.
    """
    target = _resolved(target)
    place = _free_name(target, "kept").name
    return [shown(f"{place}/{name}") for name in changed_files(target)]


def _resolved(target: Path) -> Path:
    try:
        return target.resolve()
    except (OSError, RuntimeError) as error:  # links that lead round in a circle
        raise OutputError(f"{target}: no folder can be there ({error}). Name another.") from error


def _work_folder(target: Path) -> Path:
    return target.with_name(f".{target.name}.riskmap")


@contextmanager
def _work_on(target: Path) -> Iterator[tuple[Path, str]]:
    """Give the locked work folder and who left it behind; parents made for nothing go again."""
    work = _work_folder(target)
    with ExitStack() as stack:
        try:
            with _as_output_error(target):
                made = [parent for parent in target.parents if not parent.exists()]
                stack.callback(_remove_empty, made)
                target.parent.mkdir(parents=True, exist_ok=True)
                dead = stack.enter_context(run_lock(work / "lock"))
        except BusyError as busy:
            raise BusyError(
                f"{target}: another run is writing there ({busy}). Wait until it has ended, or "
                "name another folder."
            ) from None
        yield work, dead


@contextmanager
def _as_output_error(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise OutputError(
            f"{target}: cannot be written ({reason(error)}). Cure that, or name another folder."
        ) from error


def _clear_up(work: Path, target: Path, kind: str, *, dead: str, tell: Tell) -> None:
    """Go on where a killed run broke off, and say so."""
    whole = read_mark(work / "part") is not None
    _settle(work, target, kind, tell)
    if dead:
        what = "its result was whole and is in place" if whole else "what it left is cleared away"
        tell(
            f"{target}: an earlier run ended before its time ({dead}), killed, out of memory or "
            f"with the machine; {what}."
        )


def _settle(work: Path, target: Path, kind: str, tell: Tell) -> None:
    part, earlier = work / "part", work / "earlier"
    _remove_empty([work / "probe" / "full", work / "probe"])
    whole = read_mark(part) is not None
    with undisturbed(), _as_output_error(target):
        if not whole:
            shutil.rmtree(part, ignore_errors=True)
        if os.path.lexists(target):
            _clear(earlier, target, tell)
        if whole:
            _swap(part, target, earlier, kind)
        elif earlier.exists():
            earlier.rename(target)
        _clear(earlier, target, tell)


def _swap(part: Path, target: Path, earlier: Path, kind: str) -> None:
    try:
        refuse_foreign(target, kind)
        if os.path.lexists(target):
            target.rename(earlier)
        part.rename(target)
    except (OSError, OutputError) as error:
        if earlier.exists() and not os.path.lexists(target):
            earlier.rename(target)
        why = reason(error) if isinstance(error, OSError) else str(error)
        raise _set_aside(part, target, why) from error


def _clear(earlier: Path, target: Path, tell: Tell) -> None:
    if not earlier.exists():
        return
    rest = sweep(earlier)
    if rest:
        kept = _free_name(target, "kept")
        earlier.rename(kept)
        tell(f"Kept in {kept}: {_listed(rest)}.")


def _set_aside(part: Path, target: Path, why: str) -> OutputError:
    """Give what was computed a name of its own, and the error that says so."""
    new = _free_name(target, "new")
    try:
        part.rename(new)
    except OSError:
        new = part
    return OutputError(
        f"{target}: could not be replaced ({why}). What was computed lies in {new}. To put it in "
        f"place, move {target.name} out of the way and rename it."
    )


def _free_name(target: Path, word: str) -> Path:
    """Return a name beside `target` that nothing has yet: ``result kept 2026-11-25 (2)``."""
    first = f"{target.name} {word} {date.today()}"
    names = (first if number == 1 else f"{first} ({number})" for number in count(1))
    return next(path for path in map(target.with_name, names) if not os.path.lexists(path))


def _announce(target: Path, tell: Tell) -> None:
    """Say before the work what people changed, while it can still be recorded first."""
    names = changed_files(target)
    if not names:
        return
    text = (
        f"{target} was changed by people since it was written: {_listed(names)}. This run keeps "
        f"that in {_free_name(target, 'kept')}."
    )
    if any(name.endswith(WORKBOOKS) for name in names):
        text += (
            " Findings filled into a workbook count once they are recorded: stop this run with "
            "Ctrl-C, nothing is changed yet, and give the workbook to `riskmap record`."
        )
    tell(text)


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return ", ".join(shown(name) for name in names[:NAMED]) + more


def _require_replaceable(target: Path, work: Path) -> None:
    """Ask the system whether `target` may be renamed, without doing it.

    It is told to rename `target` to a folder that is not empty. That is refused in any case; where
    nothing else is in the way, for that reason.
    """
    if not target.exists():
        return
    probe = work / "probe"
    with _as_output_error(target):
        (probe / "full").mkdir(parents=True)
        try:
            trouble = errno.EBUSY if os.path.ismount(target) else _refusal(target, probe)
        finally:
            _remove_empty([probe / "full", probe])
    if trouble == errno.EBUSY:
        raise OutputError(
            f"{target} is a disk of its own (a mount point), which cannot be replaced as a whole. "
            f"Name a folder in it: {target / 'result'}."
        )
    if trouble not in (errno.ENOTEMPTY, errno.EEXIST):
        raise OutputError(
            f"{target}: cannot be replaced ({os.strerror(trouble)}). Name another folder."
        )


def _refusal(folder: Path, full: Path) -> int:
    try:
        folder.rename(full)
    except OSError as error:
        return error.errno or errno.EIO
    full.rename(folder)
    return errno.ENOTEMPTY


def _remove_empty(folders: Iterable[Path]) -> None:
    for folder in folders:
        with suppress(OSError):
            folder.rmdir()


def _warn_if_tight(target: Path, need: int, tell: Tell) -> None:
    free, files = room_left(target.parent)
    if free < need or files < FEW_FILES:
        tell(
            f"{target}: the result needs about {_mb(need)} and its disk has {_mb(free)} and room "
            f"for {files:,.0f} more files. The run may fail at the end; make room while it works."
        )


def _no_room(target: Path) -> str:
    free, _ = room_left(target.parent)
    return (
        f"{target}: the disk is full ({_mb(free)} left when a file could not be written), so "
        "the result was not put in place; what was there is untouched. Free space, or name a "
        "folder on another disk, and run again."
    )


def _mb(count_bytes: int) -> str:
    return f"{count_bytes / 1e6:,.1f} MB"
