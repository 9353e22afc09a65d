"""Nitrogen that reaches the water table, and steady mixing with recharge on a lot or around it.

Mass balance of Hantzsche and Finnemore (1992, Ground Water 30:490-499): what percolates is effluent
and rain, each with its nitrogen; n_r = [W n_w (1 - d) + R n_b] / (W + R). It is the long-run mean
of the water that percolates on the land considered: it knows neither the ground water that flows
in from up-gradient nor how far a plume spreads, so it is a screening number.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from riskmap.contract.arrays import Floats
from riskmap.contract.kinds import KINDS
from riskmap.contract.units import YEAR_D
from riskmap.spatial.neighbors import sum_within

LIMIT_MG_L: Final = 10.0
"""Drinking-water limit of nitrate, mg/L as N (40 CFR 141.62)."""


class Parameter(NamedTuple):
    """A number with what it is worth: default, bounds, unit, where it comes from."""

    value: float
    lower: float
    upper: float
    unit: str
    source: str


NITROGEN: Final = {
    "per_person_kg_yr": Parameter(
        4.2, 3.0, 6.0, "kg N/person/yr",
        "4.2 in a Florida basin budget; 4.68 for a mix of systems in Amador et al. (2018, Water "
        "Air Soil Pollut.)",
    ),
    "persons": Parameter(2.5, 1.0, 12.0, "persons", "assumed where the occupants are not known"),
    "soil_denitrified_frac": Parameter(
        0.15, 0.0, 0.9, "1",
        "Hantzsche and Finnemore (1992): 0.10-0.15 in sand, up to 0.35 in clay or organic soil",
    ),
    "background_mg_l": Parameter(
        0.5, 0.0, 10.0, "mg/L as N", "Hantzsche and Finnemore (1992): 0.5-1.0"
    ),
    "effluent_mg_l": Parameter(
        50.0, 20.0, 100.0, "mg/L as N", "domestic effluent 50-60 (a state agency's sheet)"
    ),
    "recharge_m_yr": Parameter(
        0.2, 0.01, 1.5, "m/yr", "assumed; give the region's own deep percolation"
    ),
}  # fmt: skip


def system_load(
    persons: ArrayLike,
    kind: ArrayLike,
    *,
    treatment_removal_frac: ArrayLike | None = None,
    soil_denitrified_frac: ArrayLike = NITROGEN["soil_denitrified_frac"].value,
    per_person_kg_yr: float = NITROGEN["per_person_kg_yr"].value,
    default_persons: float = NITROGEN["persons"].value,
) -> pd.DataFrame:
    """Nitrogen that reaches the water table from each system.

    Parameters
    ----------
    persons
        Occupants (n,); NaN is replaced by ``default_persons`` and marked ``assumed``.
    kind
        Kind of system (n,), of :data:`riskmap.contract.kinds.KINDS`; others count as "unknown".
    treatment_removal_frac
        Share removed by the system where it is known (n,); NaN or None: by kind.
    soil_denitrified_frac
        Share lost below the field, one number or (n,).

    Returns
    -------
    DataFrame
        ``nitrogen_load_kg_yr``, ``persons_used``, ``removed_frac``, ``load_evidence`` (the weakest
        of its parts: measured, inferred, assumed).
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
    used = np.where(np.isfinite(people), people, default_persons)
    soil = np.clip(np.asarray(soil_denitrified_frac, float), 0.0, 1.0)
    load = used * per_person_kg_yr * (1 - np.clip(removed, 0, 1)) * (1 - soil)
    return pd.DataFrame(
        {
            "nitrogen_load_kg_yr": load,
            "persons_used": used,
            "removed_frac": removed,
            "load_evidence": np.where(np.isfinite(people) & known, "inferred", "assumed"),
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
    effluent_mg_l: ArrayLike = NITROGEN["effluent_mg_l"].value,
    denitrified_frac: ArrayLike = NITROGEN["soil_denitrified_frac"].value,
    background_mg_l: ArrayLike = NITROGEN["background_mg_l"].value,
) -> Floats:
    """Mean nitrate of the water that percolates on the land, mg/L as N.

    All depths in the same unit of length per time. NaN where nothing percolates.

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
    effluent_mg_l: ArrayLike = NITROGEN["effluent_mg_l"].value,
    denitrified_frac: ArrayLike = NITROGEN["soil_denitrified_frac"].value,
    background_mg_l: ArrayLike = NITROGEN["background_mg_l"].value,
) -> Floats:
    """Smallest land per system that keeps the mean at the target, m2.

    0 where the effluent itself meets the target; inf where even the background breaks it.
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
    radius_m: float,
    recharge_m_yr: ArrayLike = NITROGEN["recharge_m_yr"].value,
    background_mg_l: ArrayLike = NITROGEN["background_mg_l"].value,
) -> Floats:
    """Mean nitrate of what percolates within a radius of each target, mg/L as N.

    The same balance over a circle: loads and effluent of all systems in it, rain over its area.

    Parameters
    ----------
    x_m, y_m, load_kg_yr, flow_l_d
        Systems (n,): place, nitrogen that reaches the water table, effluent. NaN counts as none.
    target_x_m, target_y_m
        Centers of the circles (t,).
    recharge_m_yr, background_mg_l
        One number, or (t,).
    """
    weights = np.column_stack([np.asarray(load_kg_yr, float), np.asarray(flow_l_d, float)])
    sums = sum_within(
        x_m, y_m, weights, target_x_m=target_x_m, target_y_m=target_y_m, radius_m=radius_m
    )
    load_g, flow_m3 = sums[:, 0] * 1000.0, sums[:, 1] / 1000.0 * YEAR_D
    rain_m3 = np.asarray(recharge_m_yr, float) * np.pi * radius_m**2
    mass = load_g + rain_m3 * np.asarray(background_mg_l, float)
    return np.asarray(mass / (flow_m3 + rain_m3), float)
