"""How many onsite systems share the neighborhood."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

DENSITY_RADIUS_M = 400.0
NEIGHBOR_RADIUS_M = 229.0
"""750 ft: the distance in the published association of field density with well quality."""


def describe_density(parcels: pd.DataFrame, systems: pd.DataFrame) -> pd.DataFrame:
    """Onsite systems per square kilometer within 400 m, and others within 229 m.

    Both radii include systems exactly that far away. The density counts a parcel's own system; the
    number of others does not.

    Parameters
    ----------
    parcels
        Columns ``x_m``, ``y_m``; index ``parcel_id``.
    systems
        All onsite systems of the county, or of the chunk and 400 m around: same columns and index.

    Examples
    --------
    >>> table = pd.DataFrame({"x_m": [0.0, 100.0], "y_m": [0.0, 0.0]}, index=["a", "b"])
    >>> describe_density(table, table)["systems_within_229_m"].tolist()
    [1.0, 1.0]
    """
    points = parcels[["x_m", "y_m"]].to_numpy(dtype=float)
    known = np.isfinite(points).all(axis=1)
    within, near = np.full(len(points), np.nan), np.full(len(points), np.nan)
    sites = systems[["x_m", "y_m"]].to_numpy(dtype=float)
    located = np.isfinite(sites).all(axis=1)
    within[known], near[known] = 0.0, 0.0
    if located.any() and known.any():
        tree = cKDTree(sites[located])
        within[known] = tree.query_ball_point(points[known], DENSITY_RADIUS_M, return_length=True)
        near[known] = tree.query_ball_point(points[known], NEIGHBOR_RADIUS_M, return_length=True)
        near -= parcels.index.isin(systems.index[located])
    disc_km2 = np.pi * (DENSITY_RADIUS_M / 1000) ** 2
    return pd.DataFrame(
        {"systems_per_km2": within / disc_km2, "systems_within_229_m": near}, index=parcels.index
    )
