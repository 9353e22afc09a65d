"""One typed door to the just-in-time compiler for kernels that run in threads."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

import numba

Function = TypeVar("Function", bound=Callable[..., object])


def threaded(function: Function) -> Function:
    """Compile a kernel once and keep it; it frees the interpreter lock while it runs."""
    return cast("Function", numba.njit(cache=True, nogil=True)(function))
