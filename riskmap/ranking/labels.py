"""What is known of failures, from when, and how the visits were chosen.

A label is the outcome of visits inside a time window; features must be as they were when the
window opened. Complaint-driven visits find more failures than there are; weights undo what the
features explain of the choice of visits (inverse probability weighting; Horvitz and Thompson
1952). They cannot undo a choice made *because* a system was failing: only random audits can.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from sklearn.impute import SimpleImputer
from sklearn.linear_model import LogisticRegression
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from riskmap.contract.arrays import Floats
from riskmap.ranking.metrics import area_under_roc

SUSPECT_AREA: Final = 0.97
"""A feature that alone separates failing from sound systems this well gives the outcome away (a
judgment)."""

LARGEST_WEIGHT: Final = 10.0


def label_systems(
    inspections: pd.DataFrame,
    parcels: pd.Index,
    *,
    start: pd.Timestamp,
    end: pd.Timestamp,
    repairs: pd.DataFrame | None = None,
    failing: Iterable[str] = ("failed",),
) -> pd.DataFrame:
    """Label parcels by what visits from `start` until before `end` found.

    Parameters
    ----------
    inspections
        Columns ``parcel_id, date, reason, stage``.
    parcels
        The parcels chosen.
    repairs
        Optional repair permits, columns ``parcel_id, date``: each counts as a failure found.
    failing
        Stages that count as failing.

    Returns
    -------
    DataFrame
        Indexed by parcel: ``visited``, ``failed`` (1, 0, NaN where not visited), ``audited``
        (whether a random audit was among the visits), ``reason`` of the decisive visit.
    """
    visits = inspections[["parcel_id", "date", "reason", "stage"]].dropna(
        subset=["parcel_id", "date", "stage"]
    )
    visits = visits.assign(bad=visits["stage"].isin(list(failing)))
    if repairs is not None and len(repairs):
        fixed = repairs[["parcel_id", "date"]].assign(reason="repair", bad=True)
        visits = pd.concat([visits, fixed], ignore_index=True) if len(visits) else fixed
    inside = (visits["date"] >= start) & (visits["date"] < end)
    visits = visits[inside].sort_values(["parcel_id", "bad", "date"], kind="stable")
    visits["audited"] = visits["reason"].eq("audit")
    groups = visits.groupby("parcel_id", sort=True)
    found = pd.DataFrame(
        {
            "failed": groups["bad"].max().astype(float),
            "audited": groups["audited"].max().astype(bool),
            "reason": groups["reason"].last(),
        }
    ).reindex(parcels)
    found["audited"] = found["audited"].eq(True)
    found.insert(0, "visited", found["failed"].notna())
    return found


def suspect_features(features: pd.DataFrame, failed: Floats) -> list[str]:
    """Features whose value, or whose being known, all but gives the outcome away."""
    return [
        str(name)
        for name in features.columns
        if _telling(features[name].to_numpy(dtype=float), failed) >= SUSPECT_AREA
    ]


def _telling(column: Floats, failed: Floats) -> float:
    """How well a column or its being known separates, direction aside: 0.5 to 1."""
    known = ~np.isnan(column)
    areas = [area_under_roc(failed, known.astype(float))]
    if known.any():
        areas.append(area_under_roc(failed[known], column[known]))
    return max((max(area, 1 - area) for area in areas if not np.isnan(area)), default=0.5)


@dataclass(frozen=True)
class VisitWeights:
    """Weights (n,) of visited parcels, NaN elsewhere, mean 1.

    ``effective`` is the number of equally weighted visits that would be worth as much (Kish
    1965); ``clipped`` the share of weights cut to the largest allowed.
    """

    weight: Floats
    effective: float
    clipped: float


def visit_weights(
    features: pd.DataFrame, visited: npt.NDArray[np.bool_], *, largest: float = LARGEST_WEIGHT
) -> VisitWeights:
    """Weigh visits by the inverse of their chance, learned from who was and was not visited.

    Parameters
    ----------
    features
        (n, k) numbers that may have steered the choice of visits, NaN where unknown.
    visited
        (n,) whether the parcel was visited in the window.
    largest
        Largest weight relative to the mean; larger ones are cut (less noise, some bias).
    """
    weight = np.full(len(features), np.nan)
    if visited.all() or not visited.any():
        weight[visited] = 1.0
        return VisitWeights(weight, float(visited.sum()), 0.0)
    chance = _visit_chance(features.to_numpy(dtype=float), visited)
    raw = 1.0 / chance[visited]
    raw /= raw.mean()
    cut = np.minimum(raw, largest)
    weight[visited] = cut / cut.mean()
    used = weight[visited]
    effective = float(used.sum() ** 2 / (used**2).sum())
    return VisitWeights(weight, effective, float((raw > largest).mean()))


def _visit_chance(features: Floats, visited: npt.NDArray[np.bool_]) -> Floats:
    learner = make_pipeline(
        SimpleImputer(strategy="median", add_indicator=True, keep_empty_features=True),
        StandardScaler(),
        LogisticRegression(C=1.0, max_iter=1000),
    )
    learner.fit(features, visited)
    chance = np.asarray(learner.predict_proba(features)[:, 1], dtype=np.float64)
    return np.asarray(np.maximum(chance, 1e-4))
