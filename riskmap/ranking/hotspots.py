"""Hot and cold spots by the local Gi* statistic, with control of false discoveries.

Sources: Getis and Ord (1992, Geographical Analysis 24:189-206); Ord and Getis (1995, Geographical
Analysis 27:286-306) for the standardized Gi* used here; Benjamini and Hochberg (1995, J. R. Stat.
Soc. B 57:289-300) for the false-discovery rate, as Caldas de Castro and Singer (2006, Geographical
Analysis 38:180-208) recommend for local statistics.
"""

from __future__ import annotations

from typing import Final, TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import sparse
from scipy.special import ndtr

from riskmap.contract.arrays import Floats
from riskmap.spatial.neighbors import sum_within

Weights: TypeAlias = "sparse.csr_array[np.float64, tuple[int, int]]"

ALPHA: Final = 0.05
"""False-discovery rate: of the spots named, about this share is named by chance."""


def standardized(
    weighted_sum: ArrayLike,
    weight_sum: ArrayLike,
    weight_square_sum: ArrayLike,
    *,
    mean: float,
    sd: float,
    count: int,
) -> Floats:
    """Gi* as a z value from the sums over each place's neighbors, itself among them.

    (sum wx - mean sum w) / (sd sqrt[(n sum w^2 - (sum w)^2) / (n - 1)]).

    Parameters
    ----------
    weighted_sum, weight_sum, weight_square_sum
        Sums of w x, w and w^2 over the neighbors of each place (n,).
    mean, sd
        Mean and standard deviation (over n) of all values.
    count
        Number of values.

    Returns
    -------
    ndarray
        (n,); NaN where nothing varies (all values equal, or all places neighbors of each other).
    """
    wx, w, w2 = (np.asarray(p, float) for p in (weighted_sum, weight_sum, weight_square_sum))
    spread = sd * np.sqrt(np.maximum(count * w2 - w**2, 0.0) / max(count - 1, 1))
    spread = np.where(spread > 1e-12 * max(abs(mean), sd, 1e-300), spread, np.nan)
    return (wx - mean * w) / spread


def gi_star(values: ArrayLike, weights: Weights) -> Floats:
    """Gi* by a table of weights.

    Parameters
    ----------
    values
        (n,); NaN is left out and gets NaN.
    weights
        (n, n) sparse, each place a neighbor of itself (diagonal not zero).

    Returns
    -------
    ndarray
        z per place (n,): high in clusters of high values, low in clusters of low ones.
    """
    x = np.asarray(values, float)
    known = np.isfinite(x)
    table = weights.astype(np.float64)
    held, here = np.where(known, x, 0.0), known.astype(float)
    mean = float(x[known].mean()) if known.any() else np.nan
    sd = float(x[known].std()) if known.any() else np.nan
    z = standardized(
        table @ held, table @ here, table.power(2) @ here, mean=mean, sd=sd, count=int(known.sum())
    )
    return np.where(known, z, np.nan)


def contiguity_weights(
    first: ArrayLike, second: ArrayLike, *, count: int, with_self: bool = True
) -> Weights:
    """Table of weights: 1 between neighbors, 0 elsewhere.

    Parameters
    ----------
    first, second
        Positions of each pair of neighbors (p,); a pair may be given once or both ways.
    count
        Number of places.
    with_self
        Whether a place is its own neighbor.
    """
    i, j = np.asarray(first, np.int64), np.asarray(second, np.int64)
    own = np.arange(count if with_self else 0)
    rows, columns = np.concatenate([i, j, own]), np.concatenate([j, i, own])
    table = sparse.csr_array((np.ones(len(rows)), (rows, columns)), shape=(count, count))
    table.data[:] = 1.0
    return table


def benjamini_hochberg(p_values: ArrayLike) -> Floats:
    """Adjust p values: naming those at or below a rate keeps the false share near that rate.

    NaN is left out and stays NaN.
    """
    p = np.asarray(p_values, float)
    adjusted = np.full(p.shape, np.nan)
    known = np.flatnonzero(np.isfinite(p))
    if len(known):
        order = known[np.argsort(p[known], kind="stable")[::-1]]
        rank = np.arange(len(known), 0, -1)
        adjusted[order] = np.minimum(np.minimum.accumulate(p[order] * len(known) / rank), 1.0)
    return adjusted


def name_spots(z: ArrayLike, *, alpha: float = ALPHA) -> pd.DataFrame:
    """Turn z values into named spots under false-discovery control.

    Returns
    -------
    DataFrame
        ``gi_star_z``, ``p_value`` (two-sided, normal), ``p_adjusted``, ``spot`` ("hot", "cold",
        "none", "unknown").
    """
    score = np.asarray(z, float)
    p = 2 * ndtr(-np.abs(score))
    adjusted = benjamini_hochberg(p)
    named = adjusted <= alpha
    spot = np.select(
        [np.isnan(score), named & (score > 0), named & (score < 0)],
        ["unknown", "hot", "cold"],
        "none",
    )
    return pd.DataFrame({"gi_star_z": score, "p_value": p, "p_adjusted": adjusted, "spot": spot})


def hot_spots(
    x_m: ArrayLike, y_m: ArrayLike, values: ArrayLike, *, radius_m: float, alpha: float = ALPHA
) -> pd.DataFrame:
    """Hot and cold spots of a value at places, neighbors being all within ``radius_m``.

    Parameters
    ----------
    x_m, y_m, values
        (n,); a row with a NaN takes no part and is "unknown".
    radius_m
        Reach of the neighborhood, m.
    alpha
        False-discovery rate.

    Returns
    -------
    DataFrame
        The columns of :func:`name_spots` and ``neighbors`` (others within reach that take part).
    """
    x, y, v = (np.asarray(part, float) for part in (x_m, y_m, values))
    known = np.isfinite(x) & np.isfinite(y) & np.isfinite(v)
    z, neighbors = np.full(len(x), np.nan), np.full(len(x), np.nan)
    if known.any():
        weights = np.column_stack([v[known] - v[known].mean(), np.ones(known.sum())])
        sums = sum_within(
            x[known], y[known], weights,
            target_x_m=x[known], target_y_m=y[known], radius_m=radius_m,
        )  # fmt: skip
        z[known] = standardized(
            sums[:, 0], sums[:, 1], sums[:, 1],
            mean=0.0, sd=float(v[known].std()), count=int(known.sum()),
        )  # fmt: skip
        neighbors[known] = sums[:, 1] - 1
    return name_spots(z, alpha=alpha).assign(neighbors=neighbors)
