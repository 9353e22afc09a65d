"""Hot and cold spots by the local Gi* statistic, with control of false discoveries.

Sources: Getis and Ord (1992, Geographical Analysis 24:189-206); Ord and Getis (1995, Geographical
Analysis 27:286-306) for the standardized Gi* used here; Benjamini and Hochberg (1995, J. R. Stat.
Soc. B 57:289-300) for the false-discovery rate, as Caldas de Castro and Singer (2006, Geographical
Analysis 38:180-208) recommend for local statistics. Scores are skewed, so that a normal p value
names spots where there are none; here p comes from shuffles of the county's own values (Anselin
1995, Geographical Analysis 27:93-115, for the idea; from memory).
"""

from __future__ import annotations

from typing import Final, TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import sparse
from scipy.spatial import cKDTree

from riskmap.contract.arrays import Floats, Whole

Weights: TypeAlias = "sparse.csr_array[np.float64, tuple[int, int]]"

ALPHA: Final = 0.05
"""False-discovery rate: of the spots named, about this share is named by chance."""
DRAWS: Final = 500_000
SHUFFLES: Final = (999, 9_999)
"""Values drawn by chance that p values are read from, about; fewest and most shuffles for it."""
_AT_ONCE: Final = 2_000_000


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


def shuffled_p(values: ArrayLike, weights: Weights, *, seed: int = 0) -> Floats:
    """Chance that shuffled values make a sum as far out as that over each place's neighbors.

    A shuffle deals the known values anew to the known places. What a place's sum may then be
    depends on nothing but how many neighbors it has, so all places with as many are read together.

    Parameters
    ----------
    values
        (n,); NaN is left out and gets NaN.
    weights
        (n, n) sparse of ones, each place a neighbor of itself.
    seed
        Of the shuffles.

    Returns
    -------
    ndarray
        Two-sided p (n,): twice the smaller tail, the value itself counted; NaN where all known
        places are neighbors or all values equal, since nothing can then be told.
    """
    x = np.asarray(values, float)
    known = np.flatnonzero(np.isfinite(x))
    found = np.full(len(x), np.nan)
    if not len(known) or not np.ptp(x[known]):
        return found
    table = weights.astype(np.float64)[known][:, known]
    count = np.asarray(table.sum(axis=1)).ravel().round().astype(np.int64)
    sums = table @ x[known]
    above, below, drawn = _tails(table, x[known], sums, count, seed)
    p = np.minimum(2 * (1 + np.minimum(above, below)) / (1 + drawn), 1.0)
    found[known] = np.where(count < len(known), p, np.nan)
    return found


def _tails(
    table: Weights, values: Floats, sums: Floats, count: Whole, seed: int
) -> tuple[Floats, Floats, Floats]:
    """How many shuffled sums of places with as many neighbors lie at or above, at or below."""
    n, rng = len(values), np.random.default_rng(seed)
    shuffles = int(np.clip(np.ceil(DRAWS / n), *SHUFFLES))
    at_once = max(1, min(shuffles, _AT_ONCE // n))
    above, below, drawn = np.zeros(n), np.zeros(n), np.zeros(n)
    near = 1e-9 * max(float(np.abs(values).max()), 1e-300)
    for start in range(0, shuffles, at_once):
        many = min(at_once, shuffles - start)
        chance = table @ rng.permuted(np.tile(values, (many, 1)), axis=1).T
        for neighbors in np.unique(count):
            own = count == neighbors
            line = np.sort(chance[own], axis=None)
            above[own] += len(line) - np.searchsorted(line, sums[own] - near, side="left")
            below[own] += np.searchsorted(line, sums[own] + near, side="right")
            drawn[own] += len(line)
    return above, below, drawn


def name_spots(z: ArrayLike, p_value: ArrayLike, *, alpha: float = ALPHA) -> pd.DataFrame:
    """Turn z and p values into named spots under false-discovery control.

    Parameters
    ----------
    z, p_value
        Gi* of each place and its p (n,), from :func:`gi_star` and :func:`shuffled_p`.
    alpha
        False-discovery rate.

    Returns
    -------
    DataFrame
        ``gi_star_z``, ``p_value``, ``p_adjusted``, ``spot`` ("hot", "cold", "none", "unknown").
    """
    score, p = np.asarray(z, float), np.asarray(p_value, float)
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
    z, p, neighbors = (np.full(len(x), np.nan) for _ in range(3))
    if known.any():
        pairs = cKDTree(np.column_stack([x[known], y[known]])).query_pairs(
            radius_m, output_type="ndarray"
        )
        weights = contiguity_weights(pairs[:, 0], pairs[:, 1], count=int(known.sum()))
        z[known], p[known] = gi_star(v[known], weights), shuffled_p(v[known], weights)
        neighbors[known] = np.asarray(weights.sum(axis=1)).ravel() - 1
    return name_spots(z, p, alpha=alpha).assign(neighbors=neighbors)
