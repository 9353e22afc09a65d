"""How dense the systems are: per square mile, and around each well.

More than 40 systems per square mile mark a neighborhood as a potential source of contamination
(US EPA 1977, as cited by Yates 1985, Ground Water 23:586-591). Viruses in wells went with the
drainfields within 229 m (Borchardt et al. 2021, Environ. Health Perspect. 129).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.units import SQUARE_MILE_KM2
from riskmap.spatial.neighbors import sum_within

DENSE_PER_SQUARE_MILE: Final = 40.0
DENSE_PER_KM2: Final = DENSE_PER_SQUARE_MILE / SQUARE_MILE_KM2
NEIGHBORHOOD_M: Final = float(np.sqrt(SQUARE_MILE_KM2 * 1e6 / np.pi))
"""Radius of a circle of one square mile, about 908 m."""
DRAINFIELDS_NEAR_WELL_M: Final = 229.0


def is_dense(per_km2: ArrayLike) -> NDArray[np.bool_]:
    """Flag what lies above (not at) 40 systems per square mile; NaN is not flagged."""
    value = np.asarray(per_km2, float)
    return np.asarray(value > DENSE_PER_KM2 * (1 + 1e-12), bool)


def systems_density(
    x_m: ArrayLike, y_m: ArrayLike, *, radius_m: float = NEIGHBORHOOD_M
) -> pd.DataFrame:
    """Systems around each system (itself included) within a radius.

    Parameters
    ----------
    x_m, y_m
        Places of the systems (n,), projected m.
    radius_m
        Radius of the circle, m; by default that of one square mile.

    Returns
    -------
    DataFrame
        ``systems_near`` (count), ``systems_per_km2``, ``dense`` (above 40 per square mile). A place
        that is NaN gives NaN and no flag. Near the county's edge the count is low by what lies
        beyond it.
    """
    x = np.asarray(x_m, float)
    count = sum_within(x, y_m, np.ones(len(x)), target_x_m=x, target_y_m=y_m, radius_m=radius_m)
    density = count / (np.pi * (radius_m / 1000.0) ** 2)
    return pd.DataFrame(
        {"systems_near": count, "systems_per_km2": density, "dense": is_dense(density)}
    )


def drainfields_near_wells(
    well_x_m: ArrayLike,
    well_y_m: ArrayLike,
    *,
    system_x_m: ArrayLike,
    system_y_m: ArrayLike,
    radius_m: float = DRAINFIELDS_NEAR_WELL_M,
) -> NDArray[np.float64]:
    """Count the drainfields within ``radius_m`` of each well (n_wells,); NaN where not placed.

    Parameters
    ----------
    well_x_m, well_y_m
        Wells (n_wells,), projected m.
    system_x_m, system_y_m
        Systems (n_systems,), projected m; a place that is NaN counts nowhere.
    radius_m
        Distance from the well, m; 229 by default (Borchardt et al. 2021).
    """
    x = np.asarray(system_x_m, float)
    return sum_within(
        x, system_y_m, np.ones(len(x)),
        target_x_m=well_x_m, target_y_m=well_y_m, radius_m=radius_m,
    )  # fmt: skip
