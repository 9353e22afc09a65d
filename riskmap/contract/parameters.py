"""Numbers of the physics that nobody knows exactly: their range, and draws from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from riskmap.contract.arrays import Floats

JUDGED: Final = "assumption of this project, no source"
"""Source of a number that is nobody's but ours."""

Z_95: Final = 1.6448536269514722
"""Standard normal quantile at 95%."""


@dataclass(frozen=True)
class UncertainParameter:
    """A number of the physics, the same for the whole county, known within a range.

    ``low`` and ``high`` are the 5 and 95% ends of what is believed: of the number itself where
    ``of`` is ``value``, of the factor that it is off by where it is ``factor``. ``shape`` says what
    lies between: lognormal and normal have their middle there and thin tails beyond the ends,
    uniform is flat and reaches a twentieth of the belief past each end.
    """

    name: str
    low: float
    high: float
    shape: Literal["lognormal", "normal", "uniform"]
    unit: str
    source: str
    of: Literal["value", "factor"] = "factor"

    def at(self, normal: npt.ArrayLike) -> Floats:
        """Value at standard normal numbers, same shape; 0 gives the middle.

        >>> margin = UncertainParameter("margin", 0.5, 2.0, "lognormal", "", "")
        >>> margin.at([-Z_95, 0.0, Z_95]).round(6).tolist()
        [0.5, 1.0, 2.0]
        """
        z = np.asarray(normal, float)
        if self.shape == "uniform":
            width = (self.high - self.low) / 0.9
            return np.asarray(self.low + (ndtr(z) - 0.05) * width)
        low, high = (
            (np.log(self.low), np.log(self.high))
            if self.shape == "lognormal"
            else (self.low, self.high)
        )
        found = (low + high) / 2 + z * (high - low) / (2 * Z_95)
        return np.asarray(np.exp(found) if self.shape == "lognormal" else found)


def draw_parameters(
    table: Sequence[UncertainParameter], normal: npt.ArrayLike
) -> tuple[Mapping[str, float], ...]:
    """One set of parameters per column of `normal` (parameters, sets)."""
    columns = [one.at(row) for one, row in zip(table, np.asarray(normal, float), strict=True)]
    names = [one.name for one in table]
    return tuple(
        dict(zip(names, map(float, values), strict=True)) for values in zip(*columns, strict=True)
    )
