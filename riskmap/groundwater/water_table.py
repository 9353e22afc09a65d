"""The water-table surface: from measured levels, a raster, or assumed from the land."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import ndimage

from riskmap.contract.arrays import Floats
from riskmap.contract.grid import Grid
from riskmap.groundwater.kriging import (
    Kriged,
    Measurements,
    krige,
    leave_one_out,
    merge_places,
)
from riskmap.groundwater.levels import WaterLevels
from riskmap.groundwater.variogram import (
    VARIOGRAM_KINDS,
    Variogram,
    VariogramKind,
    fit_variogram,
    sample_variogram,
)

OUTLIER_Z: Final = 3.5
"""Robust z above which a level is reported (Iglewicz and Hoaglin 1993, from memory)."""
DRIFT_SLOPE_SD: Final = 1.0
"""The water table follows the land with a slope between 0 and about 1 (assumed)."""
NEIGHBORS: Final = 32
SUBDUED: Final = {
    "smoothing_m": (300.0, 30.0, 3000.0, "assumed: hills narrower than this leave no mound"),
    "relief_share_frac": (0.7, 0.0, 1.0, "assumed: the water table is flatter than the land"),
    "mean_depth_m": (3.0, 0.0, 100.0, "assumed: give the county's own middle depth"),
}
"""Defaults of the assumed surface: value, lower bound, upper bound, source."""


@dataclass(frozen=True)
class WaterTableModel:
    """Measured places, the variogram of their residuals, and their leave-one-out errors.

    ``report`` has one row per measured place: x_m, y_m, head_m, estimate_m, error_m, sd_m,
    robust_z, outlier. Nothing is dropped unless the caller asked for it.
    """

    data: Measurements
    variogram: Variogram
    neighbors: int | None
    report: pd.DataFrame

    def summary(self) -> dict[str, float]:
        """Leave-one-out figures: places, bias_m, mae_m, rmse_m, r, mean_z2, outliers."""
        error = self.report["error_m"].to_numpy(float)
        z2 = (error / self.report["sd_m"].to_numpy(float)) ** 2
        return {
            "places": float(len(error)),
            "bias_m": float(error.mean()),
            "mae_m": float(np.abs(error).mean()),
            "rmse_m": float(np.sqrt((error**2).mean())),
            "r": float(np.corrcoef(self.report["head_m"], self.report["estimate_m"])[0, 1]),
            "mean_z2": float(z2.mean()),
            "outliers": float(self.report["outlier"].sum()),
        }

    def surface(self, x_m: ArrayLike, y_m: ArrayLike, *, land_m: ArrayLike | None = None) -> Kriged:
        """Head and its variance at targets.

        The variance is multiplied by the leave-one-out mean of z squared where that is above 1:
        a model whose errors are larger than it claims is not trusted as it is.

        Parameters
        ----------
        x_m, y_m
            Targets (t,), projected m.
        land_m
            Land elevation at the targets (t,), m; needed if the model has a drift.

        Returns
        -------
        Kriged
            Head, m, and variance, m2.
        """
        found = krige(
            self.data,
            x_m=x_m,
            y_m=y_m,
            drift=land_m,
            variogram=self.variogram,
            neighbors=self.neighbors,
        )
        return Kriged(found.estimate, found.variance * max(1.0, self.summary()["mean_z2"]))


@dataclass(frozen=True)
class WaterTable:
    """Heads on a grid, their standard error (NaN where none can be given) and their evidence.

    ``evidence`` is ``inferred`` (from levels), ``mapped`` (from a raster) or ``assumed``.
    """

    head: Grid
    sd_m: Floats
    evidence: str


def _residuals(data: Measurements) -> Floats:
    if data.drift is None:
        return data.values
    design = np.column_stack([np.ones(len(data)), data.drift])
    slope = np.linalg.lstsq(design, data.values, rcond=None)[0]
    return np.asarray(data.values - design @ slope, float)


def robust_z(error: ArrayLike, sd: ArrayLike) -> Floats:
    """Standardized error measured against its own middle and spread (median, 1.4826 MAD)."""
    z = np.asarray(error, float) / np.asarray(sd, float)
    middle = np.nanmedian(z)
    spread = 1.4826 * np.nanmedian(np.abs(z - middle))
    return np.zeros_like(z) if spread == 0 else (z - middle) / spread


def _report(data: Measurements, model: Variogram, neighbors: int | None) -> pd.DataFrame:
    left = leave_one_out(data, variogram=model, neighbors=neighbors)
    error = left.estimate - data.values
    z = robust_z(error, np.maximum(left.sd, 1e-9))
    return pd.DataFrame(
        {
            "x_m": data.x_m, "y_m": data.y_m, "head_m": data.values,
            "estimate_m": left.estimate, "error_m": error, "sd_m": left.sd,
            "robust_z": z, "outlier": np.abs(z) > OUTLIER_Z,
        }
    )  # fmt: skip


def fit_water_table(
    levels: WaterLevels,
    *,
    land_drift: bool = True,
    kinds: Iterable[VariogramKind] = VARIOGRAM_KINDS,
    variogram: Variogram | None = None,
    neighbors: int | None = NEIGHBORS,
    leave_out_outliers: bool = False,
) -> WaterTableModel:
    """Fit the water-table surface to levels and test it by leaving each place out.

    Parameters
    ----------
    levels
        From :func:`riskmap.groundwater.levels.water_levels`. Levels at one place are merged to
        their median.
    land_drift
        Let the head rise with the land (levels without a land elevation are then unused).
    kinds, variogram
        Kinds tried by the fit, or a model to use as it is.
    neighbors
        Nearest places used for a target; all when None.
    leave_out_outliers
        Refit without the reported outliers. They stay in ``report`` (from the first fit), so that
        the figures given are those with them.

    Raises
    ------
    NotEnoughDataError
        With too few places for a variogram or a leave-one-out test.
    """
    usable = levels.usable & (np.isfinite(levels.land_m) if land_drift else True)
    columns = [levels.x_m, levels.y_m, levels.head_m] + [levels.land_m] * land_drift
    merged = merge_places(*(part[usable] for part in columns))
    data = Measurements(
        merged[0], merged[1], merged[2], merged[3] if land_drift else None, DRIFT_SLOPE_SD
    )
    model = variogram or fit_variogram(
        sample_variogram(data.x_m, data.y_m, _residuals(data)), kinds=kinds
    )
    report = _report(data, model, neighbors)
    if leave_out_outliers and report["outlier"].any():
        keep = ~report["outlier"].to_numpy(bool)
        data = Measurements(
            data.x_m[keep], data.y_m[keep], data.values[keep],
            None if data.drift is None else data.drift[keep], data.drift_slope_sd,
        )  # fmt: skip
        if variogram is None:
            sample = sample_variogram(data.x_m, data.y_m, _residuals(data))
            model = fit_variogram(sample, kinds=kinds)
    return WaterTableModel(data, model, neighbors, report)


def surface_from_levels(
    model: WaterTableModel, land: Grid, *, cap_at_land: bool = True
) -> WaterTable:
    """Head on the land grid's cells, interpolated from measured levels.

    Parameters
    ----------
    model
        From :func:`fit_water_table`.
    land
        Land elevation, m; NaN gives NaN.
    cap_at_land
        Keep the head between wells at or below the ground (a flowing well taps a confined layer;
        its own head still enters the estimate).
    """
    x_m, y_m = land.centers()
    drift = None if model.data.drift is None else land.values
    found = model.surface(x_m, y_m, land_m=drift)
    head = found.estimate.reshape(land.values.shape)
    head = np.where(np.isfinite(land.values), head, np.nan)
    if cap_at_land:
        head = np.where(head > land.values, land.values, head)
    return WaterTable(land.with_values(head), found.sd.reshape(head.shape), "inferred")


def surface_from_raster(
    grid: Grid, *, land: Grid | None = None, sd_m: float = np.nan
) -> WaterTable:
    """Take a raster of heads, or, with ``land``, of depths to water (positive down).

    Parameters
    ----------
    grid
        Heads, m, or depths to water, m, positive down.
    land
        Land elevation on the same grid, m; given when ``grid`` holds depths.
    sd_m
        Standard error of all heads, m; NaN where none is published.

    Raises
    ------
    ValueError
        If the two grids differ in place, cell size or shape.
    """
    if land is None:
        head = grid
    elif land.transform != grid.transform or land.values.shape != grid.values.shape:
        raise ValueError("land and depth must lie on the same grid; resample one first")
    else:
        head = land.with_values(land.values - grid.values)
    return WaterTable(head, np.where(np.isfinite(head.values), sd_m, np.nan), "mapped")


def _smooth(values: Floats, sigma: float) -> Floats:
    """Gaussian mean over the known cells only; unknown stays unknown."""
    known = np.isfinite(values)
    total = ndimage.gaussian_filter(np.where(known, values, 0.0), sigma, mode="nearest")
    share = ndimage.gaussian_filter(known.astype(float), sigma, mode="nearest")
    return np.where(known, total / np.maximum(share, 1e-12), np.nan)


def subdued_surface(
    land: Grid,
    *,
    smoothing_m: float = SUBDUED["smoothing_m"][0],
    relief_share_frac: float = SUBDUED["relief_share_frac"][0],
    mean_depth_m: float = SUBDUED["mean_depth_m"][0],
) -> WaterTable:
    """Assume a water table that follows the land, smoother and flatter, and below it.

    Used only where there is nothing better, and marked ``assumed``. The land is smoothed, its
    relief about its middle scaled, and lowered so that the middle depth is as asked; never above
    the land.

    Parameters
    ----------
    land
        Land elevation, m; NaN gives NaN.
    smoothing_m
        Standard deviation of the Gaussian mean of the land, m, above 0.
    relief_share_frac
        Relief of the water table over that of the smoothed land, 0..1.
    mean_depth_m
        Middle depth to water, m.

    Raises
    ------
    ValueError
        If the smoothing length is not positive.
    """
    if not land.cell_m > 0 or smoothing_m <= 0:
        raise ValueError("the smoothing length must be positive")
    smooth = _smooth(land.values, smoothing_m / land.cell_m)
    middle = np.nanmedian(smooth) if np.isfinite(smooth).any() else np.nan
    shape = middle + relief_share_frac * (smooth - middle)
    depth = land.values - shape
    drop = mean_depth_m - (np.nanmedian(depth) if np.isfinite(depth).any() else 0.0)
    head = np.fmin(shape - drop, land.values)
    head = np.where(np.isfinite(land.values), head, np.nan)
    return WaterTable(land.with_values(head), np.full(head.shape, np.nan), "assumed")


def reconcile_seasonal_high(
    soil_high_depth_m: ArrayLike, regional_depth_m: ArrayLike
) -> pd.DataFrame:
    """Seasonal high water: the shallower of the soil survey's and the regional surface's depth.

    A soil can be wet on a perched layer far above the regional surface, and a survey that looked
    only at the upper 2 m says nothing of water at 3 m; so the shallower governs and both are kept.

    Returns
    -------
    DataFrame
        ``seasonal_high_depth_m``, ``soil_high_depth_m``, ``regional_depth_m``, ``difference_m``
        (regional minus soil), ``governing`` ("soil", "regional", "unknown").
    """
    soil, regional = np.asarray(soil_high_depth_m, float), np.asarray(regional_depth_m, float)
    depth = np.fmin(soil, regional)
    by_soil = np.isfinite(soil) & ~(regional < soil)
    governing = np.where(by_soil, "soil", np.where(np.isfinite(regional), "regional", "unknown"))
    return pd.DataFrame(
        {
            "seasonal_high_depth_m": depth,
            "soil_high_depth_m": soil,
            "regional_depth_m": regional,
            "difference_m": regional - soil,
            "governing": governing,
        }
    )
