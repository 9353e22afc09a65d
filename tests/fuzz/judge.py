"""What must hold of every reader, whatever is done to its files."""

from __future__ import annotations

import faulthandler
import resource
import shutil
import signal
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Final

from riskmap.contract.errors import LayerError, RiskmapError
from tests.fuzz.damage import Damaged
from tests.fuzz.targets import Outcome, Target

LONGEST_S: Final = 20.0
"""A case that takes longer hangs: sound files of this size are read in a tenth of a second."""

MOST_MB: Final = 1_000
"""A case may raise the peak of memory by this much: sound files take a hundredth of it."""


class Hang(BaseException):
    """A reader did not come back; no ``except Exception`` may swallow this."""


@contextmanager
def within_limits() -> Iterator[None]:
    """Break off what takes too long or too much; end the process if not even that helps."""

    def stop(_signal: int, _frame: FrameType | None) -> None:
        raise Hang(f"no end within {LONGEST_S:g} s")

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, LONGEST_S)
    faulthandler.dump_traceback_later(5 * LONGEST_S, exit=True)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
        faulthandler.cancel_dump_traceback_later()
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - peak) // 1024
    assert grown < MOST_MB, f"{grown} MB for one small file"


def read(target: Target, files: Mapping[str, bytes], folder: Path) -> Outcome | RiskmapError:
    """Lay `files` into a fresh `folder` and read them; any other exception goes through."""
    shutil.rmtree(folder, ignore_errors=True)
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    try:
        with within_limits():
            return target.read(folder)
    except RiskmapError as error:
        return error


def faults(
    target: Target, sound: Outcome, damaged: Damaged, outcome: Outcome | RiskmapError
) -> list[str]:
    """What is wrong with an outcome; nothing if all properties hold."""
    if isinstance(outcome, RiskmapError):
        return _faults_of_error(outcome)
    if target.keeps == "nothing":
        return []
    found = []
    records = damaged.records
    if target.counted and not damaged.resized:
        records = len(sound.rows)
    accounted = len(set(outcome.rows) | set(filter(_number, outcome.told))) + outcome.more
    if records is not None and accounted < records:
        found.append(f"rows lost: {records} in, {accounted} out or told")
    if damaged.touched is not None:
        if target.keeps == "rows":
            found += _shifted(sound, damaged.touched, outcome)
        silent = sorted(damaged.torn & damaged.touched - set(map(_number, outcome.told)))
        if silent:
            found.append(f"torn rows not told: {silent[:5]}")
    return found


def _faults_of_error(error: RiskmapError) -> list[str]:
    if not isinstance(error, LayerError):
        return [] if len(str(error)) > 20 else [f"error says too little: {error}"]
    parts = {"layer": error.layer, "problem": error.problem, "cure": error.cure}
    return [f"error without {name}" for name, text in parts.items() if not text]


def _number(label: str) -> int:
    return int(label) if label.isdigit() else 0


def _shifted(sound: Outcome, touched: set[int], outcome: Outcome) -> list[str]:
    """Rows that nobody touched must come out as before, or be told."""
    have = Counter(map(repr, outcome.rows.values()))
    wrong = [
        label
        for label, row in sound.rows.items()
        if int(label) not in touched and not have[repr(row)] and label not in outcome.told
    ]
    return [f"untouched rows changed or lost: {', '.join(wrong[:5])}"] if wrong else []
