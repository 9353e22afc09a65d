"""What became of a damaged input, and how many damaged inputs a test makes."""

from __future__ import annotations

import os
import signal
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Literal

from riskmap.contract.errors import RiskmapError


def cases(usual: int) -> range:
    """Numbers of the cases to make: `usual` many, ``FUZZ_TIMES`` as many, from ``FUZZ_SEED`` on."""
    first = int(os.environ.get("FUZZ_SEED", 0))
    times = int(os.environ.get("FUZZ_TIMES", 1))
    return range(first, first + usual * times)


@dataclass(frozen=True)
class Outcome:
    """How reading ended: a value, an error made on purpose, a traceback, or no end."""

    kind: Literal["read", "refused", "traceback", "endless"]
    value: Any = None
    words: str = ""


def outcome(read: Callable[[], Any], *, seconds: int = 40) -> Outcome:
    """Read and say how it ended; for the main thread of a process, on systems with alarms."""
    try:
        with _alarm(seconds):
            return Outcome("read", read())
    except RiskmapError as error:
        return Outcome("refused", error, str(error))
    except TimeoutError:
        return Outcome("endless", words=f"no end within {seconds} s")
    except Exception as error:
        last = traceback.extract_tb(error.__traceback__)
        own = [f for f in last if "riskmap" in f.filename or "data_pipelines" in f.filename]
        place = f"{own[-1].filename.rsplit('/', 1)[-1]}:{own[-1].name}" if own else "?"
        return Outcome("traceback", error, f"{place}: {type(error).__name__}: {error}"[:300])


@contextmanager
def _alarm(seconds: int) -> Iterator[None]:
    def late(*_: object) -> None:
        raise TimeoutError

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)
