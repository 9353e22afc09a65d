"""Progress and seconds per stage."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field


@dataclass
class Progress:
    """Shows what is going on and keeps the seconds of each stage.

    ``quiet`` keeps the clock but writes nothing.
    """

    quiet: bool = True
    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Time a stage; its name is shown while it runs, its seconds when it is done."""
        start = time.perf_counter()
        if sys.stderr.isatty():
            self._write(f"{name} ...\r")
        yield
        self.seconds[name] = time.perf_counter() - start
        self._write(f"{name:<44}{self.seconds[name]:7.1f} s\n")

    def tell(self, text: str) -> None:
        """Say what a person must know, even if progress is not to be shown."""
        sys.stderr.write(f"{text}\n")
        sys.stderr.flush()

    def _write(self, text: str) -> None:
        if not self.quiet:
            sys.stderr.write(text)
            sys.stderr.flush()
