"""One typed door to the just-in-time compiler, so that kernels stay typed Python functions."""

from __future__ import annotations

import inspect
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any, Final, TypeVar, cast

import numba
from numba import njit

from riskmap.contract.versions import PACKAGES, code_version

Function = TypeVar("Function", bound=Callable[..., object])

_config: Any = numba.config
HOME: Final = Path.home() / ".cache" / "riskmap"
"""Where machine code is kept if nothing can be written next to the source."""


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
    own = function.__module__.partition(".")[0] in PACKAGES
    try:
        with _kept_in(_place(function.__module__, inspect.getfile(function)) if own else ""):
            return cast("Function", njit(cache=own, nogil=True, error_model="numpy")(function))
    except RuntimeError:  # no place to keep machine code: compile again in each run
        return cast("Function", njit(nogil=True, error_model="numpy")(function))


@contextmanager
def _kept_in(place: str) -> Iterator[None]:
    """Have the compiler keep machine code in a folder."""
    before, _config.CACHE_DIR = _config.CACHE_DIR, place
    try:
        yield
    finally:
        _config.CACHE_DIR = before


@cache
def _place(module: str, file: str) -> str:
    """Folder for a module's machine code, another for every version of what the module rests on.

    The compiler itself looks at a kernel's own file only. It would take old code of a kernel that
    calls a changed one, and fail on one whose arguments have a type that is no longer there.
    """
    local = Path(file).parent / "__pycache__"
    base = Path(_config.CACHE_DIR) if _config.CACHE_DIR else local
    if not os.access(base if base.exists() else base.parent, os.W_OK):
        base = HOME
    place = base / "kernels" / f"{module}-{code_version(module)[:16]}"
    for old in place.parent.glob(f"{module}-*"):
        if old != place:
            shutil.rmtree(old, ignore_errors=True)
    return str(place)
