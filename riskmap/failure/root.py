"""A bracketed root finder that solves one equation for hundreds of thousands of systems at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.errors import RiskmapError

MAX_STEPS: Final = 120
_EPS: Final = float(np.finfo(float).eps)


def find_root(
    function: Callable[..., Floats],
    low: Floats,
    high: Floats,
    arrays: tuple[Any, ...] = (),
    *,
    x_tolerance: float = 1e-13,
    f_tolerance: Floats | float = 0.0,
) -> Floats:
    """Solve ``function(x, *arrays) = 0`` elementwise, x between `low` and `high`.

    Chandrupatla's method (1997, Adv. Eng. Softw. 28:145): inverse quadratic interpolation where it
    is safe, bisection where not, so that the bracket shrinks in any case. Solved elements leave the
    work at once.

    Parameters
    ----------
    function
        Takes x and the matching elements of `arrays`; its signs at the two ends must differ or one
        of them must be zero.
    low, high
        Ends of the bracket, shape (n,).
    x_tolerance
        Half-width of the final bracket relative to the larger of abs(x) and the first bracket.
    f_tolerance
        Residual small enough to stop at, scalar or shape (n,).

    Returns
    -------
    Roots, shape (n,); NaN where an end or the function there is NaN.

    Raises
    ------
    RiskmapError
        If an element is not bracketed.

    Examples
    --------
    >>> find_root(lambda x, c: x**3 - c, np.zeros(2), np.full(2, 9.0), (np.array([8.0, 27.0]),))
    array([2., 3.])
    """
    work = _Bracket(function, low, high, arrays, x_tolerance, f_tolerance)
    for _ in range(MAX_STEPS):
        if not work.step():
            break
    return work.roots


class _Bracket:
    """The elements still being solved. `b` is the newest point, root between `a` and `b`."""

    def __init__(
        self,
        function: Callable[..., Floats],
        low: Floats,
        high: Floats,
        arrays: tuple[Any, ...],
        x_tolerance: float,
        f_tolerance: Floats | float,
    ) -> None:
        self.function = function
        self.arrays = arrays
        self.a, self.b = np.array(low, float), np.array(high, float)
        self.fa, self.fb = function(self.a, *arrays), function(self.b, *arrays)
        self.c, self.fc = self.a, self.fa
        self.t = np.full(self.a.shape, 0.5)
        self.x_small = x_tolerance * np.abs(self.b - self.a)
        self.x_relative = x_tolerance
        self.f_small = np.broadcast_to(np.asarray(f_tolerance, float), self.a.shape)
        self.where = np.arange(self.a.size)
        self.roots = np.full(self.a.shape, np.nan)
        self._check()

    def _check(self) -> None:
        unsolvable = np.isnan(self.fa) | np.isnan(self.fb)
        if np.any((np.sign(self.fa) == np.sign(self.fb)) & (self.fa != 0) & ~unsolvable):
            raise RiskmapError("Root not bracketed: the function has one sign at both ends.")
        self._keep(~unsolvable)
        self._settle()

    def _settle(self) -> None:
        """Note the better end of each bracket as its root so far."""
        better = np.abs(self.fa) < np.abs(self.fb)
        self.roots[self.where] = np.where(better, self.a, self.b)

    def _keep(self, left: Flags) -> None:
        if left.all():
            return
        for name in ("a", "b", "c", "fa", "fb", "fc", "t", "x_small", "f_small", "where"):
            setattr(self, name, getattr(self, name)[left])
        self.arrays = tuple(array[left] for array in self.arrays)

    def step(self) -> bool:
        """Make one step; False when nothing is left to solve."""
        best = np.where(np.abs(self.fa) < np.abs(self.fb), self.a, self.b)
        width = np.abs(self.b - self.a)
        close = np.maximum(self.x_small, 2 * (_EPS + self.x_relative) * np.abs(best))
        residual = np.minimum(np.abs(self.fa), np.abs(self.fb))
        open_ = (width > close) & (residual > self.f_small)
        self._settle()
        self._keep(open_)
        if not self.where.size:
            return False
        self._advance(close[open_] / width[open_])
        return True

    def _advance(self, close: Floats) -> None:
        self.t = np.clip(self.t, close / 2, 1 - close / 2)
        x = self.a + self.t * (self.b - self.a)
        fx = self.function(x, *self.arrays)
        same = np.sign(fx) == np.sign(self.fa)
        self.c, self.fc = np.where(same, self.a, self.b), np.where(same, self.fa, self.fb)
        self.b, self.fb = np.where(same, self.b, self.a), np.where(same, self.fb, self.fa)
        self.a, self.fa = x, fx
        self.t = self._next_share()

    def _next_share(self) -> Floats:
        """Share of the bracket for the next point: interpolation where safe, else one half."""
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            xi = (self.a - self.b) / (self.c - self.b)
            phi = (self.fa - self.fb) / (self.fc - self.fb)
            safe = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi)
            across = self.fa / (self.fb - self.fa) * self.fc / (self.fb - self.fc)
            beyond = (self.c - self.a) / (self.b - self.a)
            beyond = beyond * self.fa / (self.fc - self.fa) * self.fb / (self.fc - self.fb)
            share = across + beyond
        return np.where(safe & np.isfinite(share), share, 0.5)
