"""Gradient, direction and seepage velocity of the water table on a grid.

Darcy's law: flux q = K i (m/d through the whole section); seepage velocity v = q / n_e. Source:
Freeze and Cherry (1979, Groundwater, ch. 2; from memory). Where the surface is flat, or water
diverges or converges within the cell, no direction is given.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.arrays import Floats
from riskmap.contract.grid import Grid

MIN_GRADIENT: Final = 1e-5
"""Below this slope (1 cm per km) direction is noise (assumed)."""
UNKNOWN, FLOWING, FLAT, DIVIDE, SINK = 0, 1, 2, 3, 4
FLAGS: Final = {
    UNKNOWN: "unknown",
    FLOWING: "flowing",
    FLAT: "flat",
    DIVIDE: "divide",
    SINK: "sink",
}


@dataclass(frozen=True)
class FlowField:
    """Flow on the grid's cells.

    ``east_frac``, ``north_frac``: the slope of the head down-gradient, m/m (NaN where unknown);
    ``gradient_frac``: its size; ``direction_deg``: where the water goes, clockwise from north, NaN
    unless the flag is ``FLOWING``; ``flag``: see ``FLAGS``; ``conductivity_m_d``: K;
    ``porosity_frac``: effective porosity.
    """

    grid: Grid
    east_frac: Floats
    north_frac: Floats
    flag: NDArray[np.int8]
    conductivity_m_d: Floats
    porosity_frac: Floats

    @property
    def gradient_frac(self) -> Floats:
        """Size of the gradient, m/m."""
        return np.hypot(self.east_frac, self.north_frac)

    @property
    def direction_deg(self) -> Floats:
        """Where the water goes, degrees clockwise from north; NaN unless it flows."""
        azimuth = np.degrees(np.arctan2(self.east_frac, self.north_frac)) % 360.0
        return np.where(self.flag == FLOWING, azimuth, np.nan)

    @property
    def flux_m_d(self) -> Floats:
        """Darcy flux, m/d."""
        return self.conductivity_m_d * self.gradient_frac

    @property
    def velocity_m_d(self) -> Floats:
        """Seepage velocity, m/d."""
        return self.flux_m_d / self.porosity_frac


def _slope_along(values: Floats, axis: int, cell_m: float) -> Floats:
    """Central difference; one-sided where one neighbor is unknown; NaN where both are."""
    padding = [(0, 0), (0, 0)]
    padding[axis] = (1, 1)
    padded = np.pad(values, padding, constant_values=np.nan)
    size = values.shape[axis]
    before = np.take(padded, np.arange(size), axis=axis)
    after = np.take(padded, np.arange(2, size + 2), axis=axis)
    central = (after - before) / (2 * cell_m)
    forward, backward = (after - values) / cell_m, (values - before) / cell_m
    slope = np.where(np.isfinite(central), central, np.where(np.isfinite(after), forward, backward))
    return np.where(np.isfinite(values), slope, np.nan)


def _around(values: Floats) -> Floats:
    """Give the eight neighbors of every cell, (8, rows, columns); NaN outside."""
    padded = np.pad(values, 1, constant_values=np.nan)
    rows, columns = values.shape
    shifts = [(i, j) for i in range(3) for j in range(3) if (i, j) != (1, 1)]
    return np.stack([padded[i : i + rows, j : j + columns] for i, j in shifts])


def _flags(head: Floats, gradient: Floats, min_gradient: float, cell_m: float) -> NDArray[np.int8]:
    around = _around(head)
    least = min_gradient * cell_m
    all_lower = (~(around >= head)).all(axis=0) & np.isfinite(around).all(axis=0)
    all_higher = (~(around <= head)).all(axis=0) & np.isfinite(around).all(axis=0)
    count = np.maximum(np.isfinite(around).sum(axis=0), 1)
    bend = np.nansum(around - head, axis=0) / count
    still = gradient < min_gradient
    flag = np.where(still & (np.abs(bend) <= least), FLAT, FLOWING)
    flag = np.where(all_lower | (still & (bend < -least)), DIVIDE, flag)
    flag = np.where(all_higher | (still & (bend > least)), SINK, flag)
    return np.where(np.isfinite(gradient), flag, UNKNOWN).astype(np.int8)


def flow_field(
    head: Grid,
    *,
    conductivity_m_d: ArrayLike,
    porosity_frac: ArrayLike,
    min_gradient_frac: float = MIN_GRADIENT,
) -> FlowField:
    """Gradient, direction and velocity of a head surface.

    Parameters
    ----------
    head
        Water-table elevation, m.
    conductivity_m_d, porosity_frac
        Hydraulic conductivity, m/d, and effective porosity: one number or the grid's shape.
    min_gradient_frac
        Slope below which no direction is given.

    Raises
    ------
    ValueError
        If conductivity or porosity is not positive (NaN is allowed and stays unknown).
    """
    k = head.with_values(conductivity_m_d).values
    porosity = head.with_values(porosity_frac).values
    if (k <= 0).any() or (porosity <= 0).any() or (porosity > 1).any():
        raise ValueError("conductivity must be positive and porosity within 0..1")
    east = -_slope_along(head.values, 1, head.cell_m)
    north = _slope_along(head.values, 0, head.cell_m)
    flag = _flags(head.values, np.hypot(east, north), min_gradient_frac, head.cell_m)
    return FlowField(head, east, north, flag, k, porosity)
