"""Compile a numeric loop to machine code, keeping its type for the type checker."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

from numba import njit

F = TypeVar("F", bound=Callable[..., object])


def compiled(function: F) -> F:
    """Return `function` compiled without Python objects; it releases the interpreter lock.

    The machine code is kept between runs. Results are the same on one thread and on many, because
    every call runs its loop in order.

    >>> @compiled
    ... def twice(x: float) -> float:
    ...     return 2.0 * x
    >>> twice(1.5)
    3.0
    """
    cacheable = not function.__module__.startswith(("__main__", "builtins"))
    try:
        return cast(F, njit(cache=cacheable, nogil=True, error_model="numpy")(function))
    except RuntimeError:  # no place to keep machine code: compile anew in each run
        return cast(F, njit(nogil=True, error_model="numpy")(function))
