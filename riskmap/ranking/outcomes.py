"""What is drawn together in scenarios of the county, before the scores are drawn.

A scenario is one way the county might be: one set of physical parameters for all, and for every
system one draw of each of its records. The physics runs in each. The draws of the scores then take
the scenarios in turn: draw d belongs to scenario d modulo their number.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.arrays import Floats
from riskmap.ranking.curves import limitation
from riskmap.ranking.model import Factor
from riskmap.ranking.sequences import angles, normal_draws, sobol

SCENARIOS: Final = 64
"""Scenarios of a large county; a power of two, for which the Sobol sequence is evenest."""
LARGE: Final = 50_000
"""Systems above which a county counts as large: twice the scenarios cost little below."""

THOUSANDTHS: Final = 1000
"""Limitations of outcomes are held as whole thousandths, as the score rounds them."""


def scenarios_for(systems: int) -> int:
    """Return how many scenarios a county of so many systems gets.

    >>> scenarios_for(3_000), scenarios_for(100_000)
    (128, 64)
    """
    return SCENARIOS if systems > LARGE else 2 * SCENARIOS


@dataclass(frozen=True)
class Outcomes:
    """What n systems came to in s scenarios.

    ``factors``: names of the m factors, ``limits`` (n, m, s) their limitations in thousandths.
    ``records``: name -> (n, s) drawn records that several factors depend on. ``by_chance`` (n, s):
    100 x the part of the priority that the chances make, None where the scores' mean is the
    priority; ``by_water``: whether the groundwater score multiplies it.
    """

    factors: tuple[str, ...]
    limits: npt.NDArray[np.uint16]
    records: Mapping[str, npt.NDArray[np.float32]]
    by_chance: npt.NDArray[np.float32] | None = None
    by_water: bool = False


@dataclass(frozen=True)
class Dice:
    """Uniform numbers behind every record of every system, and normal ones behind parameters.

    ``points`` (streams, s) are scrambled Sobol points; ``turns`` (n, streams) the angle by which
    each system turns them (Cranley and Patterson 1976), from its number and the seed alone, so that
    a chunk of the county sees the same.
    """

    streams: tuple[str, ...]
    points: Floats
    turns: Floats
    shared: Floats

    def uniform(self, stream: str, scenario: int) -> Floats:
        """Uniform numbers of all systems in one scenario, shape (n,), strictly inside 0 and 1."""
        k = self.streams.index(stream)
        turned = (self.turns[:, k] + self.points[k, scenario]) % 1.0
        return np.asarray(np.clip(turned, 1e-9, 1 - 1e-9))


def roll(
    keys: npt.NDArray[np.uint64],
    streams: Sequence[str],
    *,
    parameters: int,
    scenarios: int = SCENARIOS,
    seed: int = 0,
) -> Dice:
    """Prepare the random numbers of systems and parameters.

    Parameters
    ----------
    keys
        Key of each system (n,), from :func:`riskmap.ranking.layout.parcel_keys`.
    streams
        Names of the records that are drawn.
    parameters
        How many parameters all systems share.
    scenarios
        Number of scenarios, best a power of two.
    seed
        Of all random numbers.

    Returns
    -------
    Dice
        ``shared`` is (parameters, scenarios).
    """
    return Dice(
        tuple(streams),
        sobol(scenarios, len(streams), seed + 3),
        angles(keys, len(streams), seed + 3),
        normal_draws(scenarios, parameters, seed + 4),
    )


def thousandths(factor: Factor, values: pd.Series | Floats) -> npt.NDArray[np.uint16]:
    """Limitation of each value in whole thousandths; the factor's ``unknown`` where it is NaN."""
    if isinstance(values, pd.Series):
        limits = limitation(factor, values)
    else:
        x, y = np.array(factor.curve).T
        limits = np.interp(values, x, y)
    filled = np.where(np.isnan(limits), factor.unknown, limits)
    return np.asarray(np.rint(filled * THOUSANDTHS), np.uint16)
