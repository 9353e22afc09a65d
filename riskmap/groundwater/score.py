"""The groundwater score of a system: source x chance of failing x path x receptors, each 0..1.

Each part is a curve with its middle declared below; the score is their geometric mean
(so 0 if there is no source or no receptor), which keeps the order of the product and a readable
spread. The parts and the numbers behind them are given, so that the reasons can be put in words.
All curves are assumed: they order systems, they do not measure harm.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from riskmap.contract.arrays import Floats
from riskmap.contract.units import YEAR_D

LOAD_HALF_KG_YR: Final = 10.0
"""Load that counts half (assumed): about that of one home (median system 11.35 kg N/yr, Amador et
al. 2018)."""
WORKING_SHARE_FRAC: Final = 0.4
"""What a working system counts (assumed): it still releases its nitrate; the rest is failure."""
HALF_TIME_D: Final = 5 * YEAR_D
"""Travel time at which a well counts half (assumed): five years."""
SURFACE_WATER_WEIGHT: Final = 0.5
"""What surface water counts against a well at the same time (assumed)."""
NO_RECEPTOR_FRAC: Final = 0.05
"""What a receptor counts where none is found down-gradient (assumed)."""
SOON_D: Final = 5 * YEAR_D
"""Travel time that the reasons count as soon: five years."""


def source_part(load_kg_yr: ArrayLike) -> Floats:
    """Strength of the source: load / (load + half); 0.5 at the load of about one home."""
    load = np.asarray(load_kg_yr, float)
    return np.asarray(load / (load + LOAD_HALF_KG_YR), float)


def failing_part(chance_failing_frac: ArrayLike) -> Floats:
    """Chance of failing, above the share that a working system keeps."""
    working = WORKING_SHARE_FRAC
    chance = np.clip(np.asarray(chance_failing_frac, float), 0.0, 1.0)
    return np.asarray(working + (1 - working) * chance, float)


def nearness(time_d: ArrayLike) -> Floats:
    """Weigh a receptor by its travel time: 1 at once, half at the half-time; NaN: 0."""
    time = np.asarray(time_d, float)
    weight = 0.5 ** (np.where(np.isnan(time), np.inf, time) / HALF_TIME_D)
    return np.asarray(weight, float)


def receptor_part(
    pairs: pd.DataFrame, water_time_d: ArrayLike, *, n_systems: int, least_mg_l: float = 0.0
) -> Floats:
    """Join the receptors of each system: 1 - product of (1 - nearness), surface water weighted.

    Parameters
    ----------
    pairs
        Columns system, travel_time_d, nitrate_added_mg_l.
    water_time_d
        Travel time to the surface water the path reaches (n_systems,); NaN if none.
    n_systems
        Number of systems.
    least_mg_l
        Additions below this do not count.
    """
    kept = pairs[pairs["nitrate_added_mg_l"] >= least_mg_l]
    left = np.log1p(-np.minimum(nearness(kept["travel_time_d"].to_numpy(float)), 1 - 1e-12))
    wells = np.bincount(kept["system"].to_numpy(np.int64), weights=left, minlength=n_systems)
    water = SURFACE_WATER_WEIGHT * nearness(water_time_d)
    return np.asarray(1 - np.exp(wells) * (1 - water), float)


def score_parts(
    *,
    load_kg_yr: ArrayLike,
    chance_failing_frac: ArrayLike,
    vulnerability_frac: ArrayLike,
    receptor_frac: ArrayLike,
) -> dict[str, Floats]:
    """Give the four parts, each (n,) and 0..1; see :func:`groundwater_score`.

    Parameters
    ----------
    load_kg_yr, chance_failing_frac, vulnerability_frac, receptor_frac
        As in :func:`groundwater_score`; NaN stays NaN.
    """
    floor = NO_RECEPTOR_FRAC
    receptors = floor + (1 - floor) * np.clip(np.asarray(receptor_frac, float), 0.0, 1.0)
    return {
        "source_part": source_part(load_kg_yr),
        "failing_part": failing_part(chance_failing_frac),
        "path_part": np.clip(np.asarray(vulnerability_frac, float), 0.0, 1.0),
        "receptor_part": receptors,
    }


def joined_score(parts: Mapping[str, Floats]) -> Floats:
    """Geometric mean of the known parts; NaN where the source or the receptors are unknown."""
    table = np.column_stack(list(parts.values()))
    known = np.isfinite(table)
    with np.errstate(divide="ignore"):
        logs = np.where(known, np.log(np.where(known, table, 1.0)), 0.0)
    score = np.exp(logs.sum(axis=1) / np.maximum(known.sum(axis=1), 1))
    sure = np.isfinite(parts["source_part"]) & np.isfinite(parts["receptor_part"])
    return np.where(sure, score, np.nan)


def groundwater_score(
    *,
    load_kg_yr: ArrayLike,
    chance_failing_frac: ArrayLike,
    vulnerability_frac: ArrayLike,
    receptor_frac: ArrayLike,
) -> pd.DataFrame:
    """Put the parts together.

    Parameters
    ----------
    load_kg_yr, chance_failing_frac
        Per system (n,).
    vulnerability_frac
        Ease of the path down, 0..1 (the index of
        :mod:`riskmap.groundwater.vulnerability` between its bounds).
    receptor_frac
        From :func:`receptor_part`.

    Returns
    -------
    DataFrame
        ``source_part``, ``failing_part``, ``path_part``, ``receptor_part``,
        ``groundwater_score_frac`` (geometric mean of the known parts; NaN where the load or the
        receptors are unknown), ``unknown_parts``.
    """
    parts = score_parts(
        load_kg_yr=load_kg_yr,
        chance_failing_frac=chance_failing_frac,
        vulnerability_frac=vulnerability_frac,
        receptor_frac=receptor_frac,
    )
    table = pd.DataFrame(parts)
    known = np.isfinite(table.to_numpy(float))
    names = [str(name).removesuffix("_part") for name in parts]
    unknown = [", ".join(n for n, k in zip(names, row, strict=True) if not k) for row in known]
    return table.assign(groundwater_score_frac=joined_score(parts), unknown_parts=unknown)
