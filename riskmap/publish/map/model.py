"""What the map needs to know of the scoring model, to show points and to re-score in the page.

A factor's points are its limitation times its weight, scaled so that the factors of a score at
their worst make 100, rounded to three decimals; a score is the sum of its points. The priority
comes from chances, which no weight changes; where the county's aim multiplies them by the
groundwater score, it follows that score. The page repeats this sum with the weights that a reader
moves.
:func:`limitations` recovers each factor's limitation from the points in the ranked table and
:func:`largest_difference` says how well the sum gives back the table's scores: to the last digit
where the model's limitations are thousandths, else within about 0.05.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

SCORES: Final = ("failure", "groundwater")
LIMITATION_STEPS: Final = 1000
"""Limitations travel to the page in thousandths."""


class FactorLike(Protocol):
    """What the map reads of a factor; the scoring model's own factors fit."""

    @property
    def name(self) -> str:
        """Name, as in the column ``<name>_points``."""

    @property
    def score(self) -> str:
        """The score it adds to: ``failure`` or ``groundwater``."""

    @property
    def label(self) -> str:
        """Plain words for people."""

    @property
    def weight(self) -> float:
        """Weight before division by the sum of weights of its score."""


@dataclass(frozen=True)
class MapFactor:
    """A factor as the map shows it."""

    name: str
    score: str
    label: str
    weight: float


@dataclass(frozen=True)
class MapModel:
    """The factors, whether the groundwater score is part of the priority, the visits of a season.

    `visits` are those to systems that are to be found: the classes are counted by them. `text` is
    the scoring-model file itself; with it the page can save a complete file with changed weights.
    """

    factors: Sequence[FactorLike]
    by_water: bool = False
    visits: int = 200
    text: str = ""

    def of(self, score: str) -> list[FactorLike]:
        """Return the factors of one score, in order."""
        return [factor for factor in self.factors if factor.score == score]


def limitations(ranked: pd.DataFrame, factors: Iterable[FactorLike]) -> pd.DataFrame:
    """Limitation 0-1 of each factor and row, from its own column or its points; NaN if not scored.

    Rounded to thousandths, as the page holds them.

    A factor whose weight is zero has no points to derive its limitation from; it is given only if
    the table has ``<name>_limitation``.
    """
    listed = list(factors)
    sums = {score: sum(f.weight for f in listed if f.score == score) for score in SCORES}
    columns: dict[str, pd.Series] = {}
    for factor in listed:
        if f"{factor.name}_limitation" in ranked:
            columns[factor.name] = ranked[f"{factor.name}_limitation"].astype(float)
        elif f"{factor.name}_points" in ranked and factor.weight > 0:
            share = 100 * factor.weight / sums[factor.score]
            columns[factor.name] = ranked[f"{factor.name}_points"].astype(float) / share
    steps = pd.DataFrame(columns, index=ranked.index).clip(0.0, 1.0) * LIMITATION_STEPS
    return steps.round() / LIMITATION_STEPS


def rescore(limitation: pd.DataFrame, model: MapModel) -> pd.DataFrame:
    """Scores by the page's sum: columns ``failure_score``, ``groundwater_score``."""
    result = pd.DataFrame(index=limitation.index)
    for score in SCORES:
        factors = [f for f in model.of(score) if f.name in limitation]
        total = sum(f.weight for f in factors)
        scale = 100.0 / total if total > 0 else 0.0
        points = np.zeros(len(limitation))
        for factor in factors:
            points = points + (limitation[factor.name].to_numpy() * factor.weight * scale).round(3)
        result[f"{score}_score"] = np.minimum(points, 100.0).round(3)
    return result


def largest_difference(ranked: pd.DataFrame, limitation: pd.DataFrame, model: MapModel) -> float:
    """Largest distance between the table's scores and the page's sum; infinite if none compare.

    Parameters
    ----------
    ranked
        Table with the scores of the run.
    limitation
        Limitation of each factor, 0..1, same rows.
    model
        The map's scoring model.

    Returns
    -------
    float
        Points; inf also where a scored row cannot be computed again.
    """
    again = rescore(limitation, model)
    worst = np.inf
    for column in again.columns:
        if column not in ranked:
            return np.inf
        gap: NDArray[np.float64] = np.abs(
            ranked[column].to_numpy(dtype=float, na_value=np.nan) - again[column].to_numpy()
        )
        scored = np.isfinite(ranked[column].to_numpy(dtype=float, na_value=np.nan))
        if scored.any():
            if not np.isfinite(gap[scored]).all():
                return np.inf
            worst = float(gap[scored].max()) if np.isinf(worst) else max(worst, gap[scored].max())
    return float(worst)
