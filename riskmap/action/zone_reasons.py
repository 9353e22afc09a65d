"""Why land belongs to a planners' zone: true or false per cell and kind of reason.

Cells come as a :class:`riskmap.contract.grid.Grid`; functions return boolean arrays of its shape
unless they say otherwise. Sources of the limits: 10 mg/L nitrate as N (40 CFR 141.62), half of it
as the level for action (40 CFR 141.23 asks public systems to sample more often from there); 40
systems per square mile (US EPA 1977, as cited by Yates 1985, Ground Water 23:586-591); Gi* with
control of false discoveries (see :mod:`riskmap.ranking.hotspots`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import ndimage

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.contract.settings import JUDGED, Section, setting
from riskmap.groundwater.density import DENSE_PER_KM2, NEIGHBORHOOD_M
from riskmap.groundwater.nitrogen import LIMIT_MG_L, neighborhood_nitrate_mg_l
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.groundwater.vulnerability import index_bounds
from riskmap.ranking.hotspots import (
    ALPHA,
    contiguity_weights,
    gi_star,
    name_spots,
    shuffled_p,
)
from riskmap.spatial.hexagons import hexagon_of, touching
from riskmap.spatial.neighbors import sum_within

Corner = tuple[float, float]

ZONE_KINDS: Final = ("wellhead", "capture", "nitrate", "dense_old", "hot_spot", "vulnerable")
"""Kinds of reason in order of priority: land with several reasons goes to the first.

From the most to the least direct: land delineated for a public well; water that people drink; water
predicted to exceed the level for action; a known practice limit passed; a cluster of high scores;
ground that contaminants pass easily."""


@dataclass(frozen=True)
class ZoneSettings(Section):
    """Limits and lengths of the planners' zones."""

    action_mg_l: float = setting(
        LIMIT_MG_L / 2, "Predicted nitrate from which land is named", unit="mg/L as N",
        low=0.1, high=100,
        source="half the limit: 40 CFR 141.23 asks public systems to sample more often from there",
    )  # fmt: skip
    dense_per_km2: float = setting(
        DENSE_PER_KM2, "Systems from which land is dense", unit="1/km2", low=0.1, high=10_000,
        source="40 systems per square mile (US EPA 1977, as cited by Yates 1985, Ground Water "
        "23:586-591)",
    )  # fmt: skip
    dense_radius_m: float = setting(
        NEIGHBORHOOD_M, "Circle in which systems are counted: one square mile", unit="m",
        low=50, high=10_000, source="as the limit",
    )  # fmt: skip
    old_yr: float = setting(
        30.0, "Mean age from which dense systems are old", unit="yr", low=1, high=150,
        source=f"{JUDGED}: the service life of 20-30 years that extension services state is over",
    )  # fmt: skip
    vulnerable_index: float = setting(
        160.0, "Seven-factor index from which ground is named", unit="points", low=23, high=226,
        source="opens the third highest band of the usual maps (from memory)",
    )  # fmt: skip
    near_m: float = setting(
        229.0, "Dense, hot and vulnerable land is named only this near to a system", unit="m",
        low=10, high=10_000, source=JUDGED,
    )  # fmt: skip
    hexagon_m: float = setting(
        500.0, "Width of the hexagons in which hot spots are sought", unit="m", low=50,
        high=10_000, source=JUDGED,
    )  # fmt: skip
    hexagon_systems: int = setting(
        3, "Fewest systems in a hexagon whose mean score is trusted", low=1, high=1000,
        source=JUDGED,
    )  # fmt: skip
    alpha: float = setting(
        ALPHA, "False-discovery rate of the hot spots", unit="0-1", low=1e-6, high=0.5,
        source="common practice, no source",
    )  # fmt: skip
    capture_yr: float = setting(
        2.0, "Travel time that bounds a household well's capture area", unit="yr", low=0.1,
        high=100, source=JUDGED,
    )  # fmt: skip
    public_capture_yr: float = setting(
        5.0, "Travel time that bounds a public well's capture area", unit="yr", low=0.1, high=100,
        source="35 Ill. Adm. Code 671: five years",
    )  # fmt: skip
    capture_systems: int = setting(
        3, "Systems inside from which a household well's capture area is a zone", low=1,
        high=10_000, source=JUDGED,
    )  # fmt: skip
    join_m: float = setting(
        60.0, "Gaps up to this are closed", unit="m", low=1, high=1000, source=JUDGED
    )
    least_area_m2: float = setting(
        20_000.0, "Smaller pieces join a neighbor or are left out", unit="m2", low=1, high=1e7,
        source=JUDGED,
    )  # fmt: skip
    least_systems: int = setting(
        3, "Pieces with fewer systems join a neighbor or are left out; capture areas may hold none",
        low=1, high=1000, source=JUDGED,
    )  # fmt: skip
    hot_score: Literal["groundwater_score", "failure_score", "priority"] = setting(
        "groundwater_score", "Whose hot spots are sought"
    )


def systems_per_cell(grid: Grid, x_m: ArrayLike, y_m: ArrayLike) -> Floats:
    """Count the places in each cell.

    Parameters
    ----------
    grid
        The cells.
    x_m, y_m
        Places (n,), m; a place that is NaN or outside the grid is not counted.
    """
    row, column = grid.cell_of(x_m, y_m)
    inside = row >= 0
    place = row[inside] * grid.values.shape[1] + column[inside]
    counts = np.bincount(place, minlength=grid.values.size).astype(float)
    return np.asarray(counts.reshape(grid.values.shape), float)


def near_cells(grid: Grid, x_m: ArrayLike, y_m: ArrayLike, *, within_m: float) -> Flags:
    """Cells whose middle lies within a distance of a cell that holds a place.

    Parameters
    ----------
    grid, x_m, y_m
        As in :func:`systems_per_cell`.
    within_m
        Distance between the middles of the two cells, m.
    """
    holds = systems_per_cell(grid, x_m, y_m) > 0
    if not holds.any():
        return holds
    distance = ndimage.distance_transform_edt(~holds) * grid.cell_m
    return np.asarray(distance <= within_m, bool)


def _coarse(grid: Grid, cell_m: float, corner: Corner | None) -> Grid:
    """Make a coarser grid, laid from `corner`, that covers `grid` with a cell to spare."""
    west, north = corner or (grid.west_m, grid.north_m)
    first = np.floor([(grid.west_m - west) / cell_m, (north - grid.north_m) / cell_m]) - 1
    _, south, east, _ = grid.bounds
    last = np.ceil([(east - west) / cell_m, (north - south) / cell_m]) + 1
    columns, rows = (last - first).astype(int)
    return grid_from_bounds(
        west_m=west + first[0] * cell_m,
        north_m=north - first[1] * cell_m,
        cell_m=cell_m,
        values=np.zeros((rows, columns)),
    )


def _onto(grid: Grid, coarse: Grid) -> Floats:
    x, y = grid.centers()
    return coarse.bilinear(x, y)


def nitrate_field(
    grid: Grid,
    systems: pd.DataFrame,
    water: GroundwaterSettings,
    *,
    corner: Corner | None = None,
) -> Floats:
    """Nitrate of what percolates around each cell, mg/L as N.

    Computed on cells of a quarter of the balance's radius and read between them.

    Parameters
    ----------
    grid
        The cells.
    systems
        ``x_m``, ``y_m``, ``nitrogen_load_kg_yr``, ``daily_flow_l_d``.
    water
        Radius, recharge and background of the balance.
    corner
        As :func:`reasons_of_cells` takes it.
    """
    coarse = _coarse(grid, max(water.balance_radius_m / 4.0, grid.cell_m), corner)
    x, y = coarse.centers()
    found = neighborhood_nitrate_mg_l(
        systems["x_m"], systems["y_m"],
        load_kg_yr=systems["nitrogen_load_kg_yr"], flow_l_d=systems["daily_flow_l_d"],
        target_x_m=x.ravel(), target_y_m=y.ravel(), settings=water,
    )  # fmt: skip
    return _onto(grid, coarse.with_values(found.reshape(x.shape)))


def density_and_age(
    grid: Grid, systems: pd.DataFrame, *, radius_m: float, corner: Corner | None = None
) -> tuple[Floats, Floats]:
    """Density of the systems around each cell, and their mean age.

    Parameters
    ----------
    grid
        The cells.
    systems
        ``x_m``, ``y_m``, ``age_yr`` (NaN where unknown).
    radius_m
        Radius of the circle in which systems are counted, m.
    corner
        As :func:`reasons_of_cells` takes it.

    Returns
    -------
    tuple
        Systems per km2, and mean age of those whose age is known, years (NaN where there are none);
        both in the grid's shape.
    """
    coarse = _coarse(grid, max(radius_m / 4.0, grid.cell_m), corner)
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
        Systems (n,), m and the score; a row with a NaN is left out.

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
    spots = name_spots(gi_star(mean, weights), shuffled_p(mean, weights), alpha=settings.alpha)
    table = pd.DataFrame({"q": cells[:, 0], "r": cells[:, 1], "systems": count, "mean_score": mean})
    return table.join(spots)


def hot_cells(grid: Grid, hexagons: pd.DataFrame, *, across_m: float) -> Flags:
    """Cells whose middle lies in a hot hexagon.

    Parameters
    ----------
    grid
        The cells.
    hexagons
        From :func:`hot_hexagons`.
    across_m
        Width of the hexagons, m, as they were made.
    """
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
    wellhead: Flags,
    capture: Flags,
    vulnerability_frac: Floats,
    water: GroundwaterSettings,
    settings: ZoneSettings,
    corner: Corner | None = None,
) -> dict[str, Flags]:
    """All reasons of a county's cells, by kind in the order of :data:`ZONE_KINDS`.

    Parameters
    ----------
    grid
        Cells; a NaN value lies outside the county's land and gets no reason.
    systems
        One row per onsite system: ``x_m``, ``y_m``, ``age_yr``, ``nitrogen_load_kg_yr``,
        ``daily_flow_l_d`` and the score of ``settings.hot_score`` (0-100).
    wellhead
        Cells in the county's own delineated protection areas of public wells.
    capture
        Cells in the capture area of a chosen well.
    vulnerability_frac
        Index of the cells on 0..1; NaN where not known.
    water
        Of the region, for the nitrogen balance.
    settings
        Limits and lengths.
    corner
        Easting and northing of the north-west corner of the county's cells, where `grid` holds
        some of them only: every part of a county then gets the reasons it has in the whole.
    """
    near = near_cells(grid, systems["x_m"], systems["y_m"], within_m=settings.near_m)
    score = systems[settings.hot_score]
    nitrate = nitrate_field(grid, systems, water, corner=corner)
    density, age = density_and_age(grid, systems, radius_m=settings.dense_radius_m, corner=corner)
    hexagons = hot_hexagons(systems["x_m"], systems["y_m"], score, settings)
    found = {
        "wellhead": wellhead,
        "capture": capture,
        "nitrate": nitrate > settings.action_mg_l,
        "dense_old": near & (density > settings.dense_per_km2) & (age >= settings.old_yr),
        "hot_spot": near & hot_cells(grid, hexagons, across_m=settings.hexagon_m),
        "vulnerable": near
        & vulnerable_cells(vulnerability_frac, least_index=settings.vulnerable_index),
    }
    land = np.isfinite(grid.values)
    return {kind: found[kind] & land for kind in ZONE_KINDS}
