"""Distances between systems and wells, and what a distance means in travel time of viruses.

A setback is a distance in a rule; what protects is the time viruses need, which in gravel may be
short. So both are given. Local rules govern and are inputs.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from riskmap.contract.arrays import Floats

VIRUS_LOG10: Final = 7.0
"""Reduction aimed at by setbacks set on travel time (Yates and Yates)."""
LEAST_DECAY_LOG10_D: Final = 0.01
"""Floor of the decay in cold water, where the regression would turn negative (assumed)."""


class SetbackRange(NamedTuple):
    """Published range of distances for a stated reduction of viruses."""

    low_m: float
    high_m: float
    log10: float
    source: str


_BLASCHKE: Final = "Blaschke et al. (2016, Sci. Total Environ. 573:278)"
VIRUS_SETBACKS: Final = {
    "sand": SetbackRange(39.0, 144.0, 12.0, _BLASCHKE),
    "gravel": SetbackRange(66.0, 289.0, 12.0, _BLASCHKE),
    "coarse gravel": SetbackRange(1000.0, 2500.0, 12.0, _BLASCHKE),
}
"""Distances for a 12-log reduction, by aquifer."""


def setback_violations(
    system_x_m: ArrayLike,
    system_y_m: ArrayLike,
    *,
    well_x_m: ArrayLike,
    well_y_m: ArrayLike,
    required_m: float,
) -> pd.DataFrame:
    """Pairs of system and well that are closer than the rule asks.

    Distances are between the points given; a rule that counts from edge to edge allows less.

    Parameters
    ----------
    system_x_m, system_y_m
        Systems (n,), projected m; a place that is NaN is in no pair.
    well_x_m, well_y_m
        Wells (w,), likewise.
    required_m
        Distance the rule asks for, m.

    Returns
    -------
    DataFrame
        ``system``, ``well`` (positions), ``distance_m``, ``required_m``, ``short_by_m``; sorted by
        system, then well. A distance equal to the rule is no violation.
    """
    systems = np.column_stack([np.asarray(a, float) for a in (system_x_m, system_y_m)])
    wells = np.column_stack([np.asarray(a, float) for a in (well_x_m, well_y_m)])
    known_s = np.flatnonzero(np.isfinite(systems).all(axis=1))
    known_w = np.flatnonzero(np.isfinite(wells).all(axis=1))
    near = cKDTree(systems[known_s]).sparse_distance_matrix(
        cKDTree(wells[known_w]), required_m, output_type="ndarray"
    )
    table = pd.DataFrame(
        {"system": known_s[near["i"]], "well": known_w[near["j"]], "distance_m": near["v"]}
    )
    table = table[table["distance_m"] < required_m]
    table = table.assign(required_m=required_m, short_by_m=required_m - table["distance_m"])
    return table.sort_values(["system", "well"], ignore_index=True)


def virus_decay_log10_d(temperature_c: ArrayLike) -> Floats:
    """Decay of viruses in ground water, log10 per day.

    0.0214 T - 0.181 (Yates, Gerba and Kelley 1985, Appl. Environ. Microbiol. 49:778-781; from
    memory), not below ``LEAST_DECAY_LOG10_D``.
    """
    rate = 0.0214 * np.asarray(temperature_c, float) - 0.181
    return np.where(np.isnan(rate), np.nan, np.maximum(rate, LEAST_DECAY_LOG10_D))


def virus_time_d(temperature_c: ArrayLike, *, log10: float = VIRUS_LOG10) -> Floats:
    """Travel time for a reduction, d.

    >>> round(float(virus_time_d(15.0)))
    50
    """
    return np.asarray(log10 / virus_decay_log10_d(temperature_c), float)


def virus_reduction_log10(time_d: ArrayLike, temperature_c: ArrayLike) -> Floats:
    """Reduction of viruses over a travel time, log10."""
    return np.asarray(np.asarray(time_d, float) * virus_decay_log10_d(temperature_c), float)


def distance_beside_time(
    distance_m: ArrayLike,
    time_d: ArrayLike,
    *,
    temperature_c: ArrayLike,
    aquifer: ArrayLike,
) -> pd.DataFrame:
    """Compare the distance to a well with the travel time and the published ranges of its aquifer.

    Parameters
    ----------
    distance_m, time_d
        Distance to the well, m, and travel time, days (n,); NaN where unknown.
    temperature_c
        Temperature of the ground water, degrees C; one number or (n,).
    aquifer
        Row of :data:`VIRUS_SETBACKS`; one name or (n,), missing where unknown.

    Returns
    -------
    DataFrame
        ``distance_m``, ``travel_time_d``, ``virus_log10``, ``needed_time_d`` (7 log),
        ``published_low_m``, ``published_high_m`` (12 log; NaN for an aquifer not in the table),
        ``against_published``: "shorter than published", "within the range", "beyond the range" or
        "unknown".
    """
    distance = np.asarray(distance_m, float)
    names = pd.Series(np.broadcast_to(np.asarray(aquifer, object), distance.shape)).astype("string")
    names = names.str.strip().str.lower()
    low = np.asarray(names.map({k: v.low_m for k, v in VIRUS_SETBACKS.items()}), float)
    high = np.asarray(names.map({k: v.high_m for k, v in VIRUS_SETBACKS.items()}), float)
    verdict = np.select(
        [np.isnan(distance * low), distance < low, distance <= high],
        ["unknown", "shorter than published", "within the range"],
        "beyond the range",
    )
    return pd.DataFrame(
        {
            "distance_m": distance,
            "travel_time_d": np.asarray(time_d, float),
            "virus_log10": virus_reduction_log10(time_d, temperature_c),
            "needed_time_d": np.broadcast_to(virus_time_d(temperature_c), distance.shape),
            "published_low_m": low,
            "published_high_m": high,
            "against_published": verdict,
        }
    )


VIRUS_AQUIFERS: Final = {
    "sand": "sand", "fine sand": "sand", "gravel": "gravel", "sand and gravel": "gravel",
    "coarse gravel": "coarse gravel",
}  # fmt: skip
"""Name of an aquifer -> row of ``VIRUS_SETBACKS``; mixed sand and gravel counts as gravel, the more
careful of the two (authors' judgment)."""


def virus_aquifer(aquifer: ArrayLike) -> NDArray[np.object_]:
    """Row of ``VIRUS_SETBACKS`` for each aquifer's name (n,), None where none was studied.

    >>> virus_aquifer(["Sand and gravel", "basalt"]).tolist()
    ['gravel', None]
    """
    names = pd.Series(np.asarray(aquifer, object)).astype("string").str.strip().str.lower()
    found = names.map(VIRUS_AQUIFERS)
    rows = found.to_numpy(object)
    rows[found.isna().to_numpy(bool)] = None
    return np.asarray(rows, object)
