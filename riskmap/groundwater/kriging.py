"""Ordinary kriging, with an optional external drift and a moving neighborhood.

The estimate at a target is the weighted sum of nearby measurements that is unbiased and has the
least variance under the variogram. With a drift (land elevation, say) the mean may rise and fall
with it. Sources: Matheron (1963, Economic Geology 58:1246-1266); Chiles and Delfiner (2012,
Geostatistics, 2nd ed., ch. 3; from memory); Dubrule (1983, Mathematical Geology 15:687-699) for
leave-one-out errors from one inverse.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from riskmap.contract.arrays import Floats
from riskmap.contract.chunks import map_chunks, spans
from riskmap.contract.errors import NotEnoughDataError
from riskmap.groundwater.variogram import Variogram

CHUNK_VALUES = 4_000_000
"""Matrix entries held at a time in a moving neighborhood."""


@dataclass(frozen=True)
class Kriged:
    """Estimate and its variance at each target, each (t,), in the units of the measurements."""

    estimate: Floats
    variance: Floats

    @property
    def sd(self) -> Floats:
        """Standard error of the estimate."""
        return np.sqrt(np.maximum(self.variance, 0.0))


@dataclass(frozen=True)
class Measurements:
    """Measurements at distinct places, with a drift value each if there is one.

    Parameters
    ----------
    x_m, y_m, values
        (n,), no NaN; places must differ (``merge_places`` makes them so).
    drift
        (n,) or None.
    drift_slope_sd
        Prior standard deviation of the drift's slope about zero. ``inf`` leaves the slope free;
        a finite value keeps a neighborhood whose drift hardly varies from inventing a slope.
    """

    x_m: Floats
    y_m: Floats
    values: Floats
    drift: Floats | None = None
    drift_slope_sd: float = np.inf

    def __post_init__(self) -> None:
        parts = [self.x_m, self.y_m, self.values]
        parts += [] if self.drift is None else [self.drift]
        if any(not np.isfinite(part).all() for part in parts):
            raise ValueError("kriging needs measurements without NaN; leave such rows out first")
        places = np.column_stack([self.x_m, self.y_m])
        if len(np.unique(places, axis=0)) < len(places):
            raise ValueError("two measurements share a place; merge them first (merge_places)")

    def __len__(self) -> int:
        return len(self.x_m)


def merge_places(x_m: ArrayLike, y_m: ArrayLike, *columns: ArrayLike) -> tuple[Floats, ...]:
    """Median of each column over rows that share a place; rows with a NaN are left out.

    Returns easting, northing and the columns, sorted by place.
    """
    table = np.column_stack([np.asarray(part, float) for part in (x_m, y_m, *columns)])
    table = table[np.isfinite(table).all(axis=1)]
    places, group = np.unique(table[:, :2], axis=0, return_inverse=True)
    order = np.argsort(group.ravel(), kind="stable")
    pieces = np.split(table[order, 2:], np.cumsum(np.bincount(group.ravel()))[:-1])
    middle = np.array([np.median(piece, axis=0) for piece in pieces]).reshape(len(places), -1)
    return (places[:, 0], places[:, 1], *middle.T)


def _drift_scale(data: Measurements) -> tuple[float, float]:
    if data.drift is None:
        return 0.0, 1.0
    spread = float(np.std(data.drift))
    return float(np.mean(data.drift)), spread if spread > 0 else 1.0


def _system(data: Measurements, pick: NDArray[np.intp], model: Variogram) -> Floats:
    """Left-hand sides (batch, k + m, k + m) for the picked measurements (batch, k)."""
    x, y = data.x_m[pick], data.y_m[pick]
    distance = np.hypot(x[:, :, None] - x[:, None, :], y[:, :, None] - y[:, None, :])
    batch, k = pick.shape
    extra = 1 if data.drift is None else 2
    matrix = np.zeros((batch, k + extra, k + extra))
    matrix[:, :k, :k] = model.covariance(distance)
    matrix[:, :k, k] = matrix[:, k, :k] = 1.0
    if data.drift is not None:
        center, spread = _drift_scale(data)
        column = (data.drift[pick] - center) / spread
        matrix[:, :k, k + 1] = matrix[:, k + 1, :k] = column
        matrix[:, k + 1, k + 1] = -1.0 / (data.drift_slope_sd * spread) ** 2
    return matrix


def _right_side(
    data: Measurements,
    pick: NDArray[np.intp],
    model: Variogram,
    x_m: Floats,
    y_m: Floats,
    drift: Floats | None,
) -> Floats:
    """Right-hand sides (batch, k + m) for one target per row of ``pick``."""
    k = pick.shape[1]
    distance = np.hypot(data.x_m[pick] - x_m[:, None], data.y_m[pick] - y_m[:, None])
    columns = [model.covariance(distance), np.ones((len(pick), 1))]
    if data.drift is not None and drift is not None:
        center, spread = _drift_scale(data)
        columns.append(((drift - center) / spread)[:, None])
    right = np.concatenate(columns, axis=1)
    assert right.shape[1] == k + (1 if data.drift is None else 2)
    return right


def _solve(
    data: Measurements,
    pick: NDArray[np.intp],
    model: Variogram,
    x_m: Floats,
    y_m: Floats,
    drift: Floats | None,
) -> tuple[Floats, Floats]:
    right = _right_side(data, pick, model, x_m, y_m, drift)
    weights = np.linalg.solve(_system(data, pick, model), right[:, :, None])[:, :, 0]
    k = pick.shape[1]
    estimate = np.einsum("tk,tk->t", weights[:, :k], data.values[pick])
    return estimate, model.sill - np.einsum("tk,tk->t", weights, right)


def _solve_all(
    data: Measurements, model: Variogram, x_m: Floats, y_m: Floats, drift: Floats | None
) -> tuple[Floats, Floats]:
    """Every target from all measurements: one factorisation."""
    everything = np.arange(len(data))[None, :]
    matrix = _system(data, everything, model)[0]
    inverse = np.linalg.inv(matrix)
    coefficients = inverse[:, : len(data)] @ data.values
    estimate, variance = np.empty(len(x_m)), np.empty(len(x_m))
    step = max(1, CHUNK_VALUES // len(matrix))

    def work(part: slice) -> None:
        here = None if drift is None else drift[part]
        pick = np.broadcast_to(everything, (len(x_m[part]), len(data)))
        right = _right_side(data, pick, model, x_m[part], y_m[part], here)
        estimate[part] = right @ coefficients
        variance[part] = model.sill - np.einsum("tk,tk->t", right @ inverse, right)

    map_chunks(work, spans(len(x_m), step))
    return estimate, variance


def _solve_moving(
    data: Measurements,
    model: Variogram,
    pick: NDArray[np.intp],
    x_m: Floats,
    y_m: Floats,
    drift: Floats | None,
) -> tuple[Floats, Floats]:
    estimate, variance = np.empty(len(x_m)), np.empty(len(x_m))
    step = max(1, CHUNK_VALUES // (pick.shape[1] + 2) ** 2)

    def work(part: slice) -> None:
        here = None if drift is None else drift[part]
        estimate[part], variance[part] = _solve(data, pick[part], model, x_m[part], y_m[part], here)

    map_chunks(work, spans(len(x_m), step))
    return estimate, variance


def _need(data: Measurements, neighbors: int | None, least: int) -> int:
    wanted = len(data) if neighbors is None else neighbors
    if min(wanted, len(data)) < least:
        raise NotEnoughDataError(f"kriging needs {least} measured places or more")
    return wanted


def krige(
    data: Measurements,
    *,
    x_m: ArrayLike,
    y_m: ArrayLike,
    variogram: Variogram,
    drift: ArrayLike | None = None,
    neighbors: int | None = None,
) -> Kriged:
    """Estimate the value at targets from measurements.

    Parameters
    ----------
    data
        Measurements; with a drift column, the targets need ``drift`` too.
    x_m, y_m, drift
        Targets (t,), m and in the drift's units; NaN gives NaN.
    variogram
        Model of the measurements (of their residuals from the drift, if there is one).
    neighbors
        Nearest measurements used for each target; all of them when None.

    Raises
    ------
    NotEnoughDataError
        With fewer than two measured places (three with a drift).
    ValueError
        If only one of data and targets has a drift.
    """
    if (data.drift is None) != (drift is None):
        raise ValueError("give the drift at the measurements and at the targets, or at neither")
    wanted = _need(data, neighbors, 2 if drift is None else 3)
    tx, ty = np.asarray(x_m, float).ravel(), np.asarray(y_m, float).ravel()
    td = None if drift is None else np.asarray(drift, float).ravel()
    known = np.isfinite(tx) & np.isfinite(ty) & (True if td is None else np.isfinite(td))
    estimate, variance = np.full(len(tx), np.nan), np.full(len(tx), np.nan)
    at = (tx[known], ty[known], None if td is None else td[known])
    if wanted >= len(data):
        estimate[known], variance[known] = _solve_all(data, variogram, *at)
    else:
        tree = cKDTree(np.column_stack([data.x_m, data.y_m]))
        pick = np.asarray(tree.query(np.column_stack(at[:2]), k=wanted)[1]).reshape(-1, wanted)
        estimate[known], variance[known] = _solve_moving(data, variogram, pick, *at)
    return Kriged(estimate, np.maximum(variance, 0.0))


def leave_one_out(
    data: Measurements, *, variogram: Variogram, neighbors: int | None = None
) -> Kriged:
    """Estimate each measurement from the others (the same variogram throughout).

    Parameters
    ----------
    data, variogram
        As for :func:`krige`.
    neighbors
        Nearest other measurements used; all others when None.
    """
    wanted = _need(data, neighbors, 2 if data.drift is None else 3)
    if wanted >= len(data) - 1:
        _need(data, None, 3 if data.drift is None else 4)
        inverse = np.linalg.inv(_system(data, np.arange(len(data))[None, :], variogram)[0])
        diagonal = np.diag(inverse)[: len(data)]
        residual = (inverse[: len(data), : len(data)] @ data.values) / diagonal
        return Kriged(data.values - residual, 1.0 / diagonal)
    tree = cKDTree(np.column_stack([data.x_m, data.y_m]))
    near = np.asarray(tree.query(np.column_stack([data.x_m, data.y_m]), k=wanted + 1)[1])
    others = near[near != np.arange(len(data))[:, None]].reshape(len(data), wanted)
    solved = _solve_moving(data, variogram, others, data.x_m, data.y_m, data.drift)
    return Kriged(solved[0], np.maximum(solved[1], 0.0))
