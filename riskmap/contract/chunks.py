"""Work on a county piece by piece: one way to cut it, one way to go through the pieces.

What a piece gives may depend on nothing but the piece: neither the cut nor the number of workers
changes a result.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TypeVar

from threadpoolctl import ThreadpoolController  # type: ignore[import-untyped]
from tqdm import tqdm

Chunk = TypeVar("Chunk")
Part = TypeVar("Part")


@dataclass
class _Crew:
    """Who works: how many at once (0: one per core), in which pool, and whether a bar is shown."""

    workers: int = 0
    pool: Executor | None = None
    bar: bool = False


_crew = _Crew()


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def workers() -> int:
    """Return how many pieces are worked on at once."""
    return _crew.workers or cores()


@contextmanager
def crew(workers: int = 0, *, pool: Executor | None = None, bar: bool = False) -> Iterator[None]:
    """Say who does the work of :func:`map_chunks` inside.

    Parameters
    ----------
    workers
        Pieces at once; 0: as many as there are cores.
    pool
        Where pieces go that say they can be sent to another process: a pool of spawned processes,
        or a cluster's executor (``dask.distributed.Client.get_executor()``). None: to threads.
    bar
        Whether a person watches long work.
    """
    before = vars(_crew).copy()
    vars(_crew).update(workers=workers, pool=pool, bar=bar)
    try:
        yield
    finally:
        vars(_crew).update(before)


@contextmanager
def one_thread() -> Iterator[None]:
    """Have the linear algebra inside use one thread, so far as its libraries are loaded.

    Its matrices are small: threads that wait for each other double the processor time, and the last
    digit would depend on the number of cores.
    """
    with ThreadpoolController().limit(limits=1, user_api="blas"):
        yield


def spans(total: int, step: int) -> list[slice]:
    """Cut ``0 .. total`` into pieces of at most `step`.

    >>> spans(5, 2)
    [slice(0, 2, None), slice(2, 4, None), slice(4, 5, None)]
    """
    return [slice(start, min(start + step, total)) for start in range(0, total, step)]


def shares(total: int, most: int) -> list[slice]:
    """Cut ``0 .. total`` into pieces of at most `most`, and into enough for every worker.

    >>> with crew(2):
    ...     shares(5, 100)
    [slice(0, 3, None), slice(3, 5, None)]
    """
    return spans(total, max(1, min(most, -(-total // workers()))))


def map_chunks(
    work: Callable[[Chunk], Part],
    chunks: Sequence[Chunk],
    *,
    elsewhere: bool = False,
    unit: str = "",
) -> list[Part]:
    """Do the work on every piece; results come in the order of the pieces.

    Parameters
    ----------
    work
        From a piece to its result. It may write to arrays of its own rows only.
    chunks
        The pieces, such as :func:`spans`.
    elsewhere
        Whether `work` and the pieces can be sent to another process (they pickle, and results are
        small against the work). They are where :func:`crew` names a pool; threads do all else.
    unit
        Word for a piece, for the bar of long work; no bar without one.
    """
    hidden = not (_crew.bar and unit) or len(chunks) < 2
    if elsewhere and _crew.pool is not None and len(chunks) > 1:
        return list(_shown(_crew.pool.map(work, chunks), len(chunks), unit, hidden))
    at_once = min(workers(), len(chunks))
    if at_once < 2:
        return list(_shown(map(work, chunks), len(chunks), unit, hidden))
    with ThreadPoolExecutor(max_workers=at_once) as pool:
        return list(_shown(pool.map(work, chunks), len(chunks), unit, hidden))


def _shown(parts: Iterable[Part], total: int, unit: str, hidden: bool) -> Iterable[Part]:
    """Show a bar on a terminal; none in a log (``None`` asks whether there is a terminal)."""
    return tqdm(parts, total=total, unit=unit, disable=hidden or None, leave=False)
