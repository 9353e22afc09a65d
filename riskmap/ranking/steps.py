# ruff: noqa: N803 (scikit-learn calls the features X)
"""Cuts numbers into a few steps of equal numbers of rows, keeping order and the unknown."""

from __future__ import annotations

from typing import Any, Self

import numpy as np
from sklearn.base import BaseEstimator, TransformerMixin

from riskmap.contract.arrays import Floats


class InSteps(TransformerMixin, BaseEstimator):  # type: ignore[misc]
    """Replace each value by the number of its step, counted from 0; NaN stays NaN.

    A column of which nothing is known when fitting is 0 throughout: it carries no information.
    Trees split between steps only, so a few suffice and a fit is quick.

    >>> InSteps(3).fit_transform(np.array([[1.0], [2.0], [3.0], [40.0], [np.nan]])).ravel().tolist()
    [0.0, 1.0, 2.0, 2.0, nan]
    """

    def __init__(self, count: int = 32) -> None:
        self.count = count

    def fit(self, X: Floats, y: Any = None) -> Self:
        """Find the edges, ``edges_``, by quantiles of each column's known values."""
        del y
        shares = np.arange(1, self.count) / self.count
        self.edges_ = [_edges(column, shares) for column in np.asarray(X).T]
        return self

    def transform(self, X: Floats) -> Floats:
        """Step numbers, shaped like X."""
        out = np.empty(np.shape(X))
        for place, (column, edges) in enumerate(zip(np.asarray(X).T, self.edges_, strict=True)):
            steps = np.searchsorted(edges, column, side="right").astype(float)
            out[:, place] = np.where(np.isnan(column), np.nan, steps) if len(edges) else 0.0
        return out


def _edges(column: Floats, shares: Floats) -> Floats:
    known = column[~np.isnan(column)]
    if not len(known):
        return np.empty(0)
    return np.asarray(np.unique(np.quantile(known, shares)))
