"""One typed door to the just-in-time compiler, so that kernels stay typed Python functions."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

import numba

Function = TypeVar("Function", bound=Callable[..., object])


def compiled(function: Function) -> Function:
    """Compile a numeric kernel once and keep it; the signature is the function's own."""
    return cast("Function", numba.njit(cache=True)(function))
