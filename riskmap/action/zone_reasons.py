"""Why land belongs to a planners' zone: one yes or no per cell and kind of reason.

Cells come as a :class:`riskmap.contract.grid.Grid`; every function answers with a boolean array
of its shape. Sources of the limits: 10 mg/L nitrate as N (40 CFR 141.62), half of it as the level
for action (40 CFR 141.23 asks public systems to sample more often from there); 40 systems per
square mile (US EPA 1977, as cited by Yates 1985, Ground Water 23:586-591); Gi* with control of
false discoveries (see :mod:`riskmap.ranking.hotspots`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import ndimage

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.groundwater.density import DENSE_PER_KM2, NEIGHBORHOOD_M
from riskmap.groundwater.nitrogen import LIMIT_MG_L, neighborhood_nitrate_mg_l
from riskmap.groundwater.vulnerability import index_bounds
from riskmap.ranking.hotspots import ALPHA, contiguity_weights, gi_star, name_spots
from riskmap.spatial.hexagons import hexagon_of, touching
from riskmap.spatial.neighbors import sum_within

ZONE_KINDS: Final = ("capture", "nitrate", "dense_old", "hot_spot", "vulnerable")
"""Kinds of reason in order of priority: land with several reasons goes to the first.

From the most to the least direct: water that people drink; water predicted to be bad; a known
practice limit passed; a gathering of high scores; ground that would let much through."""


@dataclass(frozen=True)
class ZoneSettings:
    """Limits and lengths of the zones.

    ``action_mg_l``: predicted nitrate (as N) from which land is named. ``balance_radius_m``: circle
    of the nitrogen balance. ``dense_per_km2`` and ``dense_radius_m``: systems per km2 in the circle
    of one square mile. ``old_yr``: mean age from which dense systems are old (authors' choice: the
    service life of 20-30 years that extension services state is then over). ``vulnerable_index``:
    seven-factor index from which ground is named (from memory: 160 opens the third highest band of
    the usual maps). ``near_m``: dense, hot and vulnerable land is named only this near to a system.
    ``hexagon_m``, ``hexagon_systems``: width of a hexagon and the fewest systems in it whose mean
    score is trusted. ``alpha``: false-discovery rate. ``capture_yr``, ``public_capture_yr``: travel
    time bounding a capture area. ``capture_systems``: systems inside from which a household well's
    capture area is a zone. ``widen_deg``: doubt of the flow's direction. ``join_m``: gaps up to
    this are closed. ``least_area_m2``, ``least_systems``: pieces that are smaller, or hold fewer
    systems (capture areas may hold none), join a neighbor or are left out. ``hot_score``: whose
    hot spots are sought.
    """

    action_mg_l: float = LIMIT_MG_L / 2
    balance_radius_m: float = 400.0
    dense_per_km2: float = DENSE_PER_KM2
    dense_radius_m: float = NEIGHBORHOOD_M
    old_yr: float = 30.0
    vulnerable_index: float = 160.0
    near_m: float = 229.0
    hexagon_m: float = 500.0
    hexagon_systems: int = 3
    alpha: float = ALPHA
    capture_yr: float = 2.0
    public_capture_yr: float = 5.0
    capture_systems: int = 3
    widen_deg: float = 5.0
    join_m: float = 60.0
    least_area_m2: float = 20_000.0
    least_systems: int = 3
    hot_score: str = "groundwater_score"

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not isinstance(value, str) and not value > 0:
                raise ValueError(f"{name} = {value}: a zone setting must be positive")


def systems_per_cell(grid: Grid, x_m: ArrayLike, y_m: ArrayLike) -> Floats:
    """Count the places in each cell."""
    row, column = grid.cell_of(x_m, y_m)
    inside = row >= 0
    place = row[inside] * grid.values.shape[1] + column[inside]
    counts = np.bincount(place, minlength=grid.values.size).astype(float)
    return np.asarray(counts.reshape(grid.values.shape), float)


def near_cells(grid: Grid, x_m: ArrayLike, y_m: ArrayLike, *, within_m: float) -> Flags:
    """Cells whose middle lies within a distance of a cell that holds a place."""
    holds = systems_per_cell(grid, x_m, y_m) > 0
    if not holds.any():
        return holds
    distance = ndimage.distance_transform_edt(~holds) * grid.cell_m
    return np.asarray(distance <= within_m, bool)


def _coarse(grid: Grid, cell_m: float) -> Grid:
    """Make a coarser grid that covers `grid` with a cell to spare on every side."""
    rows, columns = (int(np.ceil(n * grid.cell_m / cell_m)) + 2 for n in grid.values.shape)
    return grid_from_bounds(
        west_m=grid.west_m - cell_m,
        north_m=grid.north_m + cell_m,
        cell_m=cell_m,
        values=np.zeros((rows, columns)),
    )


def _onto(grid: Grid, coarse: Grid) -> Floats:
    x, y = grid.centers()
    return coarse.bilinear(x, y)


def nitrate_field(
    grid: Grid, systems: pd.DataFrame, *, radius_m: float, recharge_m_yr: float,
    background_mg_l: float,
) -> Floats:  # fmt: skip
    """Nitrate of what percolates within a radius of each cell, mg/L as N.

    ``systems``: ``x_m``, ``y_m``, ``nitrogen_load_kg_yr``, ``daily_flow_l_d``. Computed on cells of
    a quarter of the radius and read between them.
    """
    coarse = _coarse(grid, max(radius_m / 4.0, grid.cell_m))
    x, y = coarse.centers()
    found = neighborhood_nitrate_mg_l(
        systems["x_m"], systems["y_m"],
        load_kg_yr=systems["nitrogen_load_kg_yr"], flow_l_d=systems["daily_flow_l_d"],
        target_x_m=x.ravel(), target_y_m=y.ravel(), radius_m=radius_m,
        recharge_m_yr=recharge_m_yr, background_mg_l=background_mg_l,
    )  # fmt: skip
    return _onto(grid, coarse.with_values(found.reshape(x.shape)))


def density_and_age(grid: Grid, systems: pd.DataFrame, *, radius_m: float) -> tuple[Floats, Floats]:
    """Systems per km2 around each cell, and their mean age (yr, of those known; NaN: none)."""
    coarse = _coarse(grid, max(radius_m / 4.0, grid.cell_m))
    x, y = coarse.centers()
    age = systems["age_yr"].to_numpy(float)
    weights = np.column_stack([np.ones(len(age)), np.nan_to_num(age), np.isfinite(age)])
    sums = sum_within(
        systems["x_m"], systems["y_m"], weights,
        target_x_m=x.ravel(), target_y_m=y.ravel(), radius_m=radius_m,
    )  # fmt: skip
    count, years, known = (part.reshape(x.shape) for part in sums.T)
    density = count / (np.pi * (radius_m / 1000.0) ** 2)
    return (
        _onto(grid, coarse.with_values(density)),
        _onto(grid, coarse.with_values(years)) / np.maximum(_onto(grid, coarse.with_values(known)),
                                                           1e-9),
    )  # fmt: skip


def hot_hexagons(
    x_m: ArrayLike, y_m: ArrayLike, score: ArrayLike, settings: ZoneSettings
) -> pd.DataFrame:
    """Gi* of the mean score by hexagon, each with the hexagons that touch it.

    Parameters
    ----------
    x_m, y_m, score
        Systems (n,); a row with a NaN takes no part.

    Returns
    -------
    DataFrame
        ``q``, ``r`` (hexagon), ``systems``, ``mean_score`` (NaN with too few systems) and the
        columns of :func:`riskmap.ranking.hotspots.name_spots`; sorted by q, r.
    """
    x, y, value = (np.asarray(part, float) for part in (x_m, y_m, score))
    known = np.isfinite(x) & np.isfinite(y) & np.isfinite(value)
    hexagons = hexagon_of(x[known], y[known], across_m=settings.hexagon_m)
    cells, owner = np.unique(hexagons, axis=0, return_inverse=True)
    owner = owner.ravel()
    count = np.bincount(owner, minlength=len(cells))
    mean = np.bincount(owner, value[known], minlength=len(cells)) / np.maximum(count, 1)
    mean = np.where(count >= settings.hexagon_systems, mean, np.nan)
    weights = contiguity_weights(*touching(cells), count=len(cells))
    spots = name_spots(gi_star(mean, weights), alpha=settings.alpha)
    table = pd.DataFrame({"q": cells[:, 0], "r": cells[:, 1], "systems": count, "mean_score": mean})
    return table.join(spots)


def hot_cells(grid: Grid, hexagons: pd.DataFrame, *, across_m: float) -> Flags:
    """Cells whose middle lies in a hot hexagon."""
    hot = hexagons.loc[hexagons["spot"] == "hot", ["q", "r"]].to_numpy(np.int64)
    if not len(hot):
        return np.zeros(grid.values.shape, bool)
    x, y = grid.centers()
    own = hexagon_of(x.ravel(), y.ravel(), across_m=across_m)
    span = np.int64(2 * (int(max(np.abs(own).max(), np.abs(hot).max())) + 2))
    inside = np.isin(own @ np.array([span, 1]), hot @ np.array([span, 1]))
    return np.asarray(inside.reshape(grid.values.shape), bool)


def vulnerable_cells(index_frac: ArrayLike, *, least_index: float) -> Flags:
    """Cells whose seven-factor index (as a share of its range) reaches an index."""
    low, high = index_bounds()
    return np.asarray(index_frac, float) >= (least_index - low) / (high - low) - 1e-12


def reasons_of_cells(
    grid: Grid,
    systems: pd.DataFrame,
    *,
    capture: Flags,
    vulnerability_frac: Floats,
    recharge_m_yr: float,
    background_mg_l: float,
    settings: ZoneSettings,
) -> dict[str, Flags]:
    """All reasons of a county's cells, by kind in the order of :data:`ZONE_KINDS`.

    Parameters
    ----------
    grid
        Cells; a NaN value lies outside the county's land and gets no reason.
    systems
        One row per onsite system: ``x_m``, ``y_m``, ``age_yr``, ``nitrogen_load_kg_yr``,
        ``daily_flow_l_d`` and the score of ``settings.hot_score`` (0-100).
    capture
        Cells in the capture area of a chosen well.
    vulnerability_frac
        Index of the cells on 0..1; NaN where not known.
    recharge_m_yr, background_mg_l
        Of the region.
    """
    near = near_cells(grid, systems["x_m"], systems["y_m"], within_m=settings.near_m)
    score = systems[settings.hot_score]
    nitrate = nitrate_field(
        grid, systems, radius_m=settings.balance_radius_m, recharge_m_yr=recharge_m_yr,
        background_mg_l=background_mg_l,
    )  # fmt: skip
    density, age = density_and_age(grid, systems, radius_m=settings.dense_radius_m)
    hexagons = hot_hexagons(systems["x_m"], systems["y_m"], score, settings)
    found = {
        "capture": capture,
        "nitrate": nitrate > settings.action_mg_l,
        "dense_old": near & (density > settings.dense_per_km2) & (age >= settings.old_yr),
        "hot_spot": near & hot_cells(grid, hexagons, across_m=settings.hexagon_m),
        "vulnerable": near
        & vulnerable_cells(vulnerability_frac, least_index=settings.vulnerable_index),
    }
    land = np.isfinite(grid.values)
    return {kind: found[kind] & land for kind in ZONE_KINDS}
