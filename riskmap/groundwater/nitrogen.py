"""Nitrogen that reaches the water table, and steady mixing with recharge on a lot or around it.

Mass balance of Hantzsche and Finnemore (1992, Ground Water 30:490-499): what percolates is effluent
and rain, each with its nitrogen; n_r = [W n_w (1 - d) + R n_b] / (W + R). It is the long-run mean
of the water that percolates on the land considered: it knows neither the ground water that flows
in from up-gradient nor how far a plume spreads, so it is a screening number.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from riskmap.contract.arrays import Floats
from riskmap.contract.kinds import KINDS
from riskmap.contract.units import YEAR_D
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.spatial.neighbors import sum_within

LIMIT_MG_L: Final = 10.0
"""Drinking-water limit of nitrate, mg/L as N (40 CFR 141.62)."""


def present_frac(land_use: ArrayLike, settings: GroundwaterSettings) -> Floats:
    """Share of the year in which somebody lives on each parcel, by its land use (n,).

    >>> present_frac(["residential", "seasonal", None], GroundwaterSettings(seasonal_months=6))
    array([1. , 0.5, 1. ])
    """
    seasonal = pd.Series(np.asarray(land_use, object)) == "seasonal"
    return np.where(seasonal.to_numpy(bool), settings.seasonal_months / 12.0, 1.0)


def system_load(
    persons: ArrayLike,
    kind: ArrayLike,
    *,
    treatment_removal_frac: ArrayLike | None = None,
    settings: GroundwaterSettings,
) -> pd.DataFrame:
    """Nitrogen that reaches the water table from each system.

    Parameters
    ----------
    persons
        Persons served (n,); NaN where not known, and so is the load then.
    kind
        Kind of system (n,), of :data:`riskmap.contract.kinds.KINDS`; others count as "unknown".
    treatment_removal_frac
        Share removed by the system where it is known (n,); NaN or None: by kind.
    settings
        Nitrogen of a person, share lost below the field.

    Returns
    -------
    DataFrame
        ``nitrogen_load_kg_yr``, ``removed_frac``, ``load_evidence`` (the weakest of its parts:
        inferred, assumed, unknown).
    """
    people = np.asarray(persons, float)
    names = pd.Series(np.asarray(kind, object)).astype("string").str.lower().fillna("unknown")
    by_kind = names.map({name: kind.removed_frac[0] for name, kind in KINDS.items()})
    removed = by_kind.fillna(KINDS["unknown"].removed_frac[0]).to_numpy(float)
    known = np.zeros(people.shape, bool)
    if treatment_removal_frac is not None:
        given = np.broadcast_to(np.asarray(treatment_removal_frac, float), people.shape)
        known = np.isfinite(given)
        removed = np.where(known, given, removed)
    load = people * settings.per_person_kg_yr * (1 - np.clip(removed, 0, 1))
    load = load * (1 - settings.denitrified_frac)
    mark = np.where(known, "inferred", "assumed")
    return pd.DataFrame(
        {
            "nitrogen_load_kg_yr": load,
            "removed_frac": removed,
            "load_evidence": np.where(np.isfinite(people), mark, "unknown"),
        }
    )


def effluent_depth_m_yr(flow_l_d: ArrayLike, area_m2: ArrayLike) -> Floats:
    """Effluent spread over an area as a depth per year (365 days), m/yr."""
    area = np.asarray(area_m2, float)
    flow_m3_yr = np.asarray(flow_l_d, float) / 1000.0 * 365.0
    return np.where(area > 0, flow_m3_yr / np.where(area > 0, area, 1.0), np.nan)


def lot_nitrate_mg_l(
    effluent_m_yr: ArrayLike,
    *,
    recharge_m_yr: ArrayLike,
    effluent_mg_l: ArrayLike = GroundwaterSettings.effluent_mg_l,
    denitrified_frac: ArrayLike = GroundwaterSettings.denitrified_frac,
    background_mg_l: ArrayLike = GroundwaterSettings.background_mg_l,
) -> Floats:
    """Mean nitrate of the water that percolates on the land, mg/L as N.

    Parameters
    ----------
    effluent_m_yr, recharge_m_yr
        Effluent and rain that percolate, as depths in the same unit of length per time.
    effluent_mg_l
        Nitrogen of the effluent, mg/L as N.
    denitrified_frac
        Share of that nitrogen lost below the field, 0..1.
    background_mg_l
        Nitrate of the recharge without systems, mg/L as N.

    Returns
    -------
    ndarray
        NaN where nothing percolates.

    Examples
    --------
    >>> round(float(lot_nitrate_mg_l(4.6, recharge_m_yr=11.5, effluent_mg_l=35,
    ...       denitrified_frac=.35, background_mg_l=1.0)), 3)
    7.214
    """
    water = np.asarray(effluent_m_yr, float)
    rain = np.asarray(recharge_m_yr, float)
    mass = water * np.asarray(effluent_mg_l, float) * (1 - np.asarray(denitrified_frac, float))
    mass = mass + rain * np.asarray(background_mg_l, float)
    total = water + rain
    return np.where(total > 0, mass / np.where(total > 0, total, 1.0), np.nan)


def lot_area_for_target_m2(
    flow_l_d: ArrayLike,
    *,
    target_mg_l: ArrayLike = LIMIT_MG_L,
    recharge_m_yr: ArrayLike,
    effluent_mg_l: ArrayLike = GroundwaterSettings.effluent_mg_l,
    denitrified_frac: ArrayLike = GroundwaterSettings.denitrified_frac,
    background_mg_l: ArrayLike = GroundwaterSettings.background_mg_l,
) -> Floats:
    """Smallest land per system that keeps the mean at the target, m2.

    Parameters
    ----------
    flow_l_d
        Effluent of the system, L/day.
    target_mg_l
        Mean nitrate not to be exceeded, mg/L as N.
    recharge_m_yr
        Rain that percolates, m/yr.
    effluent_mg_l, denitrified_frac, background_mg_l
        As in :func:`lot_nitrate_mg_l`.

    Returns
    -------
    ndarray
        0 where the effluent itself meets the target; inf where even the background exceeds it.
    """
    excess = np.asarray(effluent_mg_l, float) * (1 - np.asarray(denitrified_frac, float))
    excess = excess - np.asarray(target_mg_l, float)
    room = np.asarray(target_mg_l, float) - np.asarray(background_mg_l, float)
    flow_m3_yr = np.asarray(flow_l_d, float) / 1000.0 * 365.0
    dilution = np.asarray(recharge_m_yr, float) * room
    area = flow_m3_yr * excess / np.where(dilution > 0, dilution, np.nan)
    area = np.where(excess <= 0, 0.0 * flow_m3_yr, area)
    return np.where((excess > 0) & (dilution <= 0), np.inf, area)


def neighborhood_nitrate_mg_l(
    x_m: ArrayLike,
    y_m: ArrayLike,
    *,
    load_kg_yr: ArrayLike,
    flow_l_d: ArrayLike,
    target_x_m: ArrayLike,
    target_y_m: ArrayLike,
    settings: GroundwaterSettings,
) -> Floats:
    """Mean nitrate of what percolates around each target, mg/L as N.

    The same balance over a circle of the settings' ``balance_radius_m``: loads and effluent of all
    systems in it, rain over its area.

    Parameters
    ----------
    x_m, y_m, load_kg_yr, flow_l_d
        Systems (n,): place, nitrogen that reaches the water table, effluent. NaN counts as none.
    target_x_m, target_y_m
        Centers of the circles (t,).
    settings
        Radius, recharge, and nitrate of recharge without systems.
    """
    weights = np.column_stack([np.asarray(load_kg_yr, float), np.asarray(flow_l_d, float)])
    sums = sum_within(
        x_m,
        y_m,
        weights,
        target_x_m=target_x_m,
        target_y_m=target_y_m,
        radius_m=settings.balance_radius_m,
    )
    load_g, flow_m3 = sums[:, 0] * 1000.0, sums[:, 1] / 1000.0 * YEAR_D
    rain_m3 = settings.recharge_m_yr * np.pi * settings.balance_radius_m**2
    mass = load_g + rain_m3 * settings.background_mg_l
    return np.asarray(mass / (flow_m3 + rain_m3), float)
