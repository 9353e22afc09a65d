"""How long each step of a region's runs took when it was last done."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Final

from riskmap.keeping.store import Store

FILE: Final = "took.json"


class Took:
    """Seconds by step, kept in the store for the next run of a region file.

    Parameters
    ----------
    store
        Where they are kept.
    run
        Name of the region file: another one may be another county.
    """

    def __init__(self, store: Store, run: str) -> None:
        self._store, self._run = store, run
        self.seconds: dict[str, float] = dict(store.read_json(FILE).get(run, {}))

    @contextmanager
    def noted(self) -> Iterator[None]:
        """Keep what changes inside, also where the work ends early; a full disk is no fault."""
        before = dict(self.seconds)
        try:
            yield
        finally:
            if self.seconds != before:
                kept = self._store.read_json(FILE)
                with suppress(OSError):
                    self._store.write_json(FILE, {**kept, self._run: self.seconds})
