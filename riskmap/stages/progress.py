"""Progress and seconds per stage."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from math import ceil
from threading import Event, Thread
from typing import Final

from tqdm import tqdm

LONG_S: Final = 5.0
"""Work that is likely to take longer shows a bar with the time left, s."""
REFRESH_S: Final = 0.5


@dataclass
class Progress:
    """Shows what is going on and keeps the seconds of each stage.

    ``quiet`` keeps the clock but writes nothing.
    """

    quiet: bool = True
    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str, likely_s: float = 0.0) -> Iterator[None]:
        """Time a stage; its name is shown while it runs, its seconds when it is done.

        Parameters
        ----------
        name
            Of the stage, in plain words.
        likely_s
            Seconds that it is likely to take; 0: not known.
        """
        start = time.perf_counter()
        with self._shown(name, likely_s):
            yield
        self.seconds[name] = time.perf_counter() - start
        self._write(f"{name:<44}{self.seconds[name]:7.1f} s\n")

    def say(self, text: str) -> None:
        """Say what is good to know, if progress is to be shown."""
        self._write(f"{text}\n")

    def tell(self, text: str) -> None:
        """Say what a person must know, even if progress is not to be shown."""
        sys.stderr.write(f"{text}\n")
        sys.stderr.flush()

    @contextmanager
    def _shown(self, name: str, likely_s: float) -> Iterator[None]:
        """Show the name on a terminal, with a bar where the work is long."""
        terminal = sys.stderr.isatty() and not self.quiet
        if terminal and likely_s < LONG_S:
            self._write(f"{name} ...\r")
        if not terminal or likely_s < LONG_S:
            yield
            return
        done = Event()
        bar = Thread(target=_draw, args=(name, likely_s, done), daemon=True)
        bar.start()
        try:
            yield
        finally:
            done.set()
            bar.join()

    def _write(self, text: str) -> None:
        if not self.quiet:
            sys.stderr.write(text)
            sys.stderr.flush()


def duration(seconds: float) -> str:
    """Say a duration as people do.

    >>> duration(0.4), duration(42.2), duration(100), duration(7300)
    ('1 second', '43 seconds', '2 minutes', '2.0 hours')
    """
    if seconds >= 7200:
        return f"{seconds / 3600:.1f} hours"
    size, unit = (60, "minute") if seconds > 90 else (1, "second")
    count = max(1, ceil(seconds / size))
    return f"{count} {unit}{'s' if count > 1 else ''}"


def _draw(name: str, likely_s: float, done: Event) -> None:
    """Draw a bar that fills as the time passes, until the work is done."""
    start = time.perf_counter()
    shape = "{desc:<44}{bar:20}{postfix}"
    with tqdm(total=likely_s, desc=name, leave=False, bar_format=shape) as bar:
        while not done.wait(REFRESH_S):
            left = likely_s - (time.perf_counter() - start)
            bar.n = max(likely_s - left, 0.0) if left > 0 else likely_s
            words = f"about {duration(left)} left" if left > 0 else "longer than the last time"
            bar.set_postfix_str(words)
