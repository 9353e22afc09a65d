"""Scores, priority, classes and ranks.

Each score is a sum of points that anyone can add up: the points of a factor are its limitation
times its weight, scaled so that all factors of a score at their worst make 100. The sum of the
published points columns *is* the score, to the last digit: limitations and points are rounded
before they are added.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from riskmap.ranking.curves import limitation
from riskmap.ranking.model import SCORES, Model

POINT_DIGITS: Final = 3
LIMIT_DIGITS: Final = 3
"""Limitations are rounded so that the map's page, which carries them in thousandths, gives the very
same scores."""
TIE_RULE: Final = (
    "Rank 1 is the highest priority. Equal priorities are ordered by the higher failure score, "
    "then the higher groundwater score, then the parcel number in text order; no two parcels "
    "share a rank."
)


@dataclass(frozen=True)
class Scores:
    """What scoring gives; every table is indexed like the features.

    ``limits``: limitation per factor, NaN where unknown. ``points``: points per factor with the
    model's ``unknown`` limitation in place. ``known_frac``: share of the weight known, per score.
    ``scores``: columns ``failure_score, groundwater_score, priority``; NaN where too little is
    known.
    """

    limits: pd.DataFrame
    points: pd.DataFrame
    known_frac: pd.DataFrame
    scores: pd.DataFrame


def score(features: pd.DataFrame, model: Model) -> Scores:
    """Score every row of `features` by `model`.

    Raises
    ------
    KeyError
        If a factor's feature is no column of `features`.
    """
    parts = [factor_points(features, model, kind) for kind in SCORES]
    limits = pd.concat([part[0] for part in parts], axis=1)
    points = pd.concat([part[1] for part in parts], axis=1)
    known = pd.DataFrame({kind: _known_frac(limits, model, kind) for kind in SCORES})
    totals = pd.DataFrame({f"{kind}_score": _total(points, model, kind) for kind in SCORES})
    totals = totals.where(known.min(axis=1) >= model.min_known_frac)
    share = model.failure_share
    totals["priority"] = (
        share * totals["failure_score"] + (1 - share) * totals["groundwater_score"]
    ).round(POINT_DIGITS)
    return Scores(limits, points, known, totals)


def factor_points(
    features: pd.DataFrame, model: Model, kind: str
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Limitations (NaN where unknown) and points of the factors of one score.

    Parameters
    ----------
    features
        Inventory rows (n).
    model
        The scoring model.
    kind
        ``failure`` or ``groundwater``.

    Returns
    -------
    tuple
        Two tables (n, factors): limitations 0..1 and points; the points of an unknown feature are
        those of the factor's ``unknown`` limitation.
    """
    scale = model.scale(kind)
    limits = pd.DataFrame(
        {factor.name: limitation(factor, features[factor.feature]) for factor in model.of(kind)},
        index=features.index,
    ).round(LIMIT_DIGITS)
    points = pd.DataFrame(
        {
            factor.name: limits[factor.name].fillna(factor.unknown) * factor.weight * scale
            for factor in model.of(kind)
        }
    )
    return limits, points.round(POINT_DIGITS)


def limits_used(features: pd.DataFrame, model: Model) -> pd.DataFrame:
    """Limitations that the points come from, (n, factors): the model's where nothing is known."""
    unknown = {factor.name: factor.unknown for factor in model.factors}
    return score(features, model).limits.fillna(unknown)


def _known_frac(limits: pd.DataFrame, model: Model, kind: str) -> pd.Series:
    weights = pd.Series({factor.name: factor.weight for factor in model.of(kind)})
    return limits[weights.index].notna().mul(weights).sum(axis=1) / weights.sum()


def _total(points: pd.DataFrame, model: Model, kind: str) -> pd.Series:
    names = [factor.name for factor in model.of(kind)]
    return points[names].sum(axis=1).clip(upper=100.0).round(POINT_DIGITS)


def rank(scores: pd.DataFrame, eligible: NDArray[np.bool_]) -> pd.Series:
    """Rank the eligible rows that have a priority, 1 first; see :data:`TIE_RULE`.

    Parameters
    ----------
    scores
        Columns ``priority, failure_score, groundwater_score``; the index is the tie breaker.
    eligible
        (n,) whether the row takes part.
    """
    part = scores[np.asarray(eligible) & scores["priority"].notna().to_numpy()]
    keys = [
        part.index.astype(str).to_numpy(),
        -part["groundwater_score"].to_numpy(),
        -part["failure_score"].to_numpy(),
        -part["priority"].to_numpy(),
    ]
    order = np.lexsort(keys)
    ranks = pd.Series(pd.NA, index=scores.index, dtype="Int64")
    ranks.loc[part.index[order]] = np.arange(1, len(part) + 1)
    return ranks
