"""From pairs to receptors and sources: sums, leading contributors, threatened wells."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.arrays import Whole


def _rank_within(group: Whole, value: NDArray[np.float64]) -> tuple[Whole, Whole]:
    """Rows ordered by group, then value from high to low, and each one's place in its group."""
    order = np.lexsort((np.arange(len(group)), -value, group))
    sorted_group = group[order]
    first = np.searchsorted(sorted_group, sorted_group, side="left")
    return order, np.arange(len(group)) - first


def sum_at_wells(pairs: pd.DataFrame, n_wells: int) -> pd.DataFrame:
    """Superpose the plumes at every well.

    Returns
    -------
    DataFrame
        One row per well: ``nitrate_added_mg_l`` (0 where no plume reaches), ``systems_reaching``,
        ``shortest_travel_time_d``, ``leading_system`` (-1 if none), ``leading_share_frac``.
    """
    well = pairs["well"].to_numpy(np.int64)
    added = pairs["nitrate_added_mg_l"].to_numpy(float)
    total = np.bincount(well, weights=added, minlength=n_wells)
    time = np.full(n_wells, np.inf)
    np.minimum.at(time, well, pairs["travel_time_d"].to_numpy(float))
    order, place = _rank_within(well, added)
    first = order[place == 0]
    leader = np.full(n_wells, -1, np.int64)
    leader[well[first]] = pairs["system"].to_numpy(np.int64)[first]
    share = np.full(n_wells, np.nan)
    with np.errstate(invalid="ignore"):
        share[well[first]] = added[first] / total[well[first]]
    return pd.DataFrame(
        {
            "nitrate_added_mg_l": total,
            "systems_reaching": np.bincount(well, minlength=n_wells),
            "shortest_travel_time_d": np.where(np.isfinite(time), time, np.nan),
            "leading_system": leader,
            "leading_share_frac": share,
        }
    )


def sum_by_system(
    pairs: pd.DataFrame,
    n_systems: int,
    *,
    soon_d: float,
    least_mg_l: float = 0.0,
) -> pd.DataFrame:
    """Receptors of each system.

    Parameters
    ----------
    pairs
        Columns system, well, distance_m, travel_time_d, nitrate_added_mg_l.
    n_systems
        Number of systems.
    soon_d
        Travel time that counts as soon, d.
    least_mg_l
        Additions below this do not count as reaching.

    Returns
    -------
    DataFrame
        ``wells_reached``, ``wells_soon``, ``nearest_well`` (-1 if none), ``nearest_well_m`` (along
        the path), ``nearest_well_d`` (travel time to that well), ``first_well_d`` (shortest travel
        time to any), ``largest_added_mg_l``.
    """
    kept = pairs[pairs["nitrate_added_mg_l"] >= least_mg_l]
    system = kept["system"].to_numpy(np.int64)
    distance = kept["distance_m"].to_numpy(float)
    time, added = (kept[c].to_numpy(float) for c in ("travel_time_d", "nitrate_added_mg_l"))
    order, place = _rank_within(system, -distance)
    first = order[place == 0]
    nearest = np.full(n_systems, -1, np.int64)
    nearest[system[first]] = kept["well"].to_numpy(np.int64)[first]
    nearest_m, nearest_d = np.full(n_systems, np.nan), np.full(n_systems, np.nan)
    nearest_m[system[first]], nearest_d[system[first]] = distance[first], time[first]
    largest = np.zeros(n_systems)
    np.maximum.at(largest, system, added)
    soonest = np.full(n_systems, np.inf)
    np.minimum.at(soonest, system, time)
    return pd.DataFrame(
        {
            "wells_reached": np.bincount(system, minlength=n_systems),
            "wells_soon": np.bincount(system[time <= soon_d], minlength=n_systems),
            "nearest_well": nearest,
            "nearest_well_m": nearest_m,
            "nearest_well_d": nearest_d,
            "first_well_d": np.where(np.isfinite(soonest), soonest, np.nan),
            "largest_added_mg_l": largest,
        }
    )


def sum_at_waters(water_id: ArrayLike, load_kg_yr: ArrayLike, time_d: ArrayLike) -> pd.DataFrame:
    """Sum the nitrogen that arrives at each surface water.

    Parameters
    ----------
    water_id
        Surface water that each system's path ends in (n,); 0: none.
    load_kg_yr
        Nitrogen that arrives there (n,), kg/yr.
    time_d
        Travel time (n,), days.

    Returns
    -------
    DataFrame
        ``water_id``, ``systems``, ``load_kg_yr``, ``shortest_travel_time_d``; the largest load
        first. Id 0 is left out.
    """
    frame = pd.DataFrame(
        {"water_id": np.asarray(water_id, np.int64), "load_kg_yr": np.asarray(load_kg_yr, float),
         "time_d": np.asarray(time_d, float)}
    )  # fmt: skip
    grouped = frame[frame["water_id"] != 0].groupby("water_id")
    table = grouped.agg(
        systems=("load_kg_yr", "size"),
        load_kg_yr=("load_kg_yr", "sum"),
        shortest_travel_time_d=("time_d", "min"),
    ).reset_index()
    return table.sort_values(["load_kg_yr", "water_id"], ascending=[False, True], ignore_index=True)
