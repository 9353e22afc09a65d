"""One typed door to the just-in-time compiler, so that kernels stay typed Python functions."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

from numba import njit

Function = TypeVar("Function", bound=Callable[..., object])


def compiled(function: Function) -> Function:
    """Compile a numeric kernel; its signature stays the function's own.

    The machine code is kept between runs where there is a place to keep it. A kernel frees the
    interpreter lock while it runs, divides as numpy does (1 / 0 is inf), and gives the same result
    on one thread and on many, because every call runs its loop in order.

    >>> @compiled
    ... def twice(x: float) -> float:
    ...     return 2.0 * x
    >>> twice(1.5)
    3.0
    """
    cacheable = not function.__module__.startswith(("__main__", "builtins"))
    try:
        return cast("Function", njit(cache=cacheable, nogil=True, error_model="numpy")(function))
    except RuntimeError:  # no place to keep machine code: compile anew in each run
        return cast("Function", njit(nogil=True, error_model="numpy")(function))
