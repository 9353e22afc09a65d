"""How unlike two measurements are, by their distance: the sample variogram and models fitted to it.

Sources: Matheron (1963, Economic Geology 58:1246-1266) for the estimator; Cressie (1985,
Mathematical Geology 17:563-586) for fitting by weighted least squares, here with the common weight
pairs / distance^2.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize

from riskmap.contract.arrays import Floats
from riskmap.contract.compiled import compiled
from riskmap.contract.errors import NotEnoughDataError

VariogramKind = Literal["spherical", "exponential", "gaussian"]
VARIOGRAM_KINDS: Final[tuple[VariogramKind, ...]] = get_args(VariogramKind)
CUTOFF_SHARE: Final = 1.0 / 3.0
"""Distances up to a third of the diagonal are used (common practice, no source)."""
BINS: Final = 15


@dataclass(frozen=True)
class Variogram:
    """A variogram model. ``range_m`` is the distance parameter, not the practical range.

    spherical: reaches the sill at ``range_m``; exponential: ``1 - exp(-h/range)`` (95% of the sill
    at 3 ranges); gaussian: ``1 - exp(-(h/range)^2)`` (95% at 1.73 ranges).

    >>> round(float(Variogram("spherical", 0.05, 0.59, 897.0).semivariance(448.5)), 6)
    0.455625
    """

    kind: VariogramKind
    nugget: float
    partial_sill: float
    range_m: float

    def __post_init__(self) -> None:
        if self.kind not in VARIOGRAM_KINDS:
            raise ValueError(
                f"unknown variogram {self.kind!r}; one of {', '.join(VARIOGRAM_KINDS)}"
            )
        if self.nugget < 0 or self.partial_sill < 0 or self.range_m <= 0:
            raise ValueError("a variogram needs nugget, partial sill >= 0 and a range > 0")

    @property
    def sill(self) -> float:
        """Nugget and partial sill together."""
        return self.nugget + self.partial_sill

    def covariance(self, distance_m: ArrayLike) -> Floats:
        """Covariance at a distance, m; at zero distance the whole sill."""
        distance = np.asarray(distance_m, float)
        shape = self.partial_sill * (1.0 - _structure(self.kind, distance / self.range_m))
        return np.where(distance == 0, self.sill, shape)

    def semivariance(self, distance_m: ArrayLike) -> Floats:
        """Half the expected squared difference at a distance, m."""
        return self.sill - self.covariance(distance_m)


@dataclass(frozen=True)
class SampleVariogram:
    """Half the mean squared difference of pairs, by class of distance.

    ``pairs`` (count), ``distance_m`` (mean distance of the pairs), ``semivariance``: each (bins,),
    empty classes left out.
    """

    pairs: NDArray[np.int64]
    distance_m: Floats
    semivariance: Floats


def _structure(kind: VariogramKind, ratio: Floats) -> Floats:
    if kind == "spherical":
        inside = np.minimum(ratio, 1.0)
        return 1.5 * inside - 0.5 * inside**3
    if kind == "exponential":
        return -np.expm1(-ratio)
    return -np.expm1(-(ratio**2))


@compiled
def _pair_sums(x: Floats, y: Floats, values: Floats, width: float, bins: int) -> Floats:
    sums = np.zeros((bins, 3))
    limit = width * bins
    for i in range(len(x)):
        for j in range(i):
            east, north = x[i] - x[j], y[i] - y[j]
            distance = np.sqrt(east * east + north * north)
            if distance > limit:
                continue
            place = int(np.ceil(distance / width)) - 1
            place = min(max(place, 0), bins - 1)
            sums[place, 0] += 1.0
            sums[place, 1] += distance
            sums[place, 2] += 0.5 * (values[i] - values[j]) ** 2
    return sums


def sample_variogram(
    x_m: ArrayLike,
    y_m: ArrayLike,
    values: ArrayLike,
    *,
    cutoff_m: float | None = None,
    bins: int = BINS,
) -> SampleVariogram:
    """Sample variogram in equal classes of distance; a class holds its upper edge.

    Parameters
    ----------
    x_m, y_m, values
        Measurements (n,); rows with a NaN are left out.
    cutoff_m
        Longest distance used, m; a third of the diagonal of the points when not given.
    bins
        Number of classes.

    Raises
    ------
    NotEnoughDataError
        With fewer than two places.
    """
    table = np.column_stack([np.asarray(part, float) for part in (x_m, y_m, values)])
    x, y, z = np.ascontiguousarray(table[np.isfinite(table).all(axis=1)].T)
    diagonal = float(np.hypot(np.ptp(x), np.ptp(y))) if len(x) else 0.0
    if diagonal == 0:
        raise NotEnoughDataError("a variogram needs measurements at two places or more")
    width = (cutoff_m or diagonal * CUTOFF_SHARE) / bins
    sums = _pair_sums(x, y, z, width, bins)
    count, distance, square = sums[sums[:, 0] > 0].T
    return SampleVariogram(count.astype(np.int64), distance / count, square / count)


def _linear_part(shape: Floats, gamma: Floats, weight: Floats) -> tuple[float, float, float]:
    """Best nugget and partial sill, both >= 0, for a given shape, and the weighted error."""
    root = np.sqrt(weight)
    matrix = np.column_stack([root, root * shape])
    (nugget, sill), residual = optimize.nnls(matrix, root * gamma)
    return float(nugget), float(sill), float(residual**2)


def _fit_one(sample: SampleVariogram, kind: VariogramKind) -> tuple[float, Variogram]:
    gamma, distance = sample.semivariance, sample.distance_m
    weight = sample.pairs / np.maximum(distance, 1e-9) ** 2

    def error(log_range: float) -> float:
        return _linear_part(_structure(kind, distance / np.exp(log_range)), gamma, weight)[2]

    low, high = np.log(max(distance.min(), 1e-6) / 3), np.log(distance.max() * 5)
    trial = np.linspace(low, high, 60)
    best = int(np.argmin([error(value) for value in trial]))
    bracket = (trial[max(best - 1, 0)], trial[min(best + 1, len(trial) - 1)])
    found = optimize.minimize_scalar(
        error, bounds=bracket, method="bounded", options={"xatol": 1e-10}
    )
    length = float(np.exp(found.x))
    nugget, sill, sse = _linear_part(_structure(kind, distance / length), gamma, weight)
    return sse, Variogram(kind, nugget, sill, length)


def fit_variogram(
    sample: SampleVariogram, *, kinds: Iterable[VariogramKind] = VARIOGRAM_KINDS
) -> Variogram:
    """Fit each kind by weighted least squares (weight = pairs / distance^2); keep the closest.

    Nugget and partial sill are solved exactly (not negative) for each trial range; the range is
    searched on a grid, then refined. Ties go to the kind named first.

    Raises
    ------
    NotEnoughDataError
        With fewer than three classes of distance.
    """
    if len(sample.pairs) < 3:
        raise NotEnoughDataError("a variogram model needs three classes of distance or more")
    fits = [_fit_one(sample, kind) for kind in kinds]
    return min(fits, key=lambda fit: fit[0])[1]
