"""The risk of each well, with its doubt, and the order in which to sample.

Two things lead to a bad sample: nitrate above the limit (as
:mod:`riskmap.groundwater.well_nitrate` predicts it, with its doubt), and germs (short travel time,
many drainfields near), which a sound deep well may keep out.
The number ranks wells for sampling; it is not a finding about any well.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import ndtr

from riskmap.contract.arrays import Floats
from riskmap.contract.settings import Z_95
from riskmap.groundwater.nitrogen import LIMIT_MG_L
from riskmap.groundwater.setbacks import VIRUS_LOG10, virus_reduction_log10
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings
from riskmap.groundwater.well_nitrate import Nitrate


def _falling(value: Floats, poor: float, safe: float) -> Floats:
    return np.clip((safe - value) / (safe - poor), 0.0, 1.0)


def own_vulnerability(
    *,
    depth_m: ArrayLike,
    casing_m: ArrayLike,
    age_yr: ArrayLike,
    dug: ArrayLike | None = None,
    settings: WellSettings,
) -> pd.DataFrame:
    """How easily contaminants in the ground enter the well, by its own construction, 0..1.

    1 - product of (1 - weight x limitation) over shallow depth, short casing, old age, dug.

    Parameters
    ----------
    depth_m, casing_m, age_yr
        (n,); NaN where not known.
    dug
        1 dug, 0 drilled, NaN unknown (n,); None: all unknown.
    settings
        Limits and weights.

    Returns
    -------
    DataFrame
        ``well_vulnerability_frac`` (unknowns at half their limitation), ``well_lowest_frac``,
        ``well_highest_frac`` (unknowns at 0 and at 1), ``well_unknowns``,
        ``well_evidence`` ("measured" if all known, "inferred" if some, "assumed" if none).
    """
    depth = np.asarray(depth_m, float)
    built = np.full(depth.shape, np.nan) if dug is None else np.asarray(dug, float)
    old = 1.0 - _falling(np.asarray(age_yr, float), settings.age_new_yr, settings.age_old_yr)
    casing = np.asarray(casing_m, float)
    parts = {
        "depth": _falling(depth, settings.depth_poor_m, settings.depth_safe_m),
        "casing": _falling(casing, settings.casing_poor_m, settings.casing_safe_m),
        "age": old,
        "dug": np.clip(built, 0.0, 1.0),
    }
    weights = {
        "depth": settings.depth_weight,
        "casing": settings.casing_weight,
        "age": settings.age_weight,
        "dug": settings.dug_weight,
    }

    def joined(fill: float) -> Floats:
        kept = np.ones(depth.shape)
        for name, part in parts.items():
            kept = kept * (1 - weights[name] * np.where(np.isnan(part), fill, part))
        return 1 - kept

    unknown = np.column_stack([np.isnan(part) for part in parts.values()])
    count = unknown.sum(axis=1)
    return pd.DataFrame(
        {
            "well_vulnerability_frac": joined(0.5),
            "well_lowest_frac": joined(0.0),
            "well_highest_frac": joined(1.0),
            "well_unknowns": [
                ", ".join(n for n, u in zip(parts, row, strict=True) if u) for row in unknown
            ],
            "well_evidence": np.select(
                [count == 0, count == len(parts)], ["measured", "assumed"], "inferred"
            ),
        }
    )


def gsd_of_range(low_mg_l: ArrayLike, high_mg_l: ArrayLike) -> Floats:
    """Geometric standard deviation behind the ends of a 90% range, one per prediction."""
    ends = np.asarray(high_mg_l, float) / np.asarray(low_mg_l, float)
    return np.asarray(ends ** (0.5 / Z_95))


def chance_above(predicted_mg_l: ArrayLike, limit_mg_l: float, *, gsd: ArrayLike) -> Floats:
    """Chance that the true nitrate exceeds a limit; log-normal, the prediction its median.

    Parameters
    ----------
    predicted_mg_l
        Predicted nitrate (n,), mg/L as N; taken as at least 1e-6, NaN stays NaN.
    limit_mg_l
        Limit, mg/L as N.
    gsd
        Geometric standard deviation of the true value about the prediction, above 1; one number or
        one per prediction.
    """
    middle = np.maximum(np.asarray(predicted_mg_l, float), 1e-6)
    return np.asarray(ndtr(np.log(middle / limit_mg_l) / np.log(gsd)), float)


def germ_chance(
    time_d: ArrayLike,
    drainfields_near: ArrayLike,
    *,
    temperature_c: ArrayLike,
    settings: WellSettings,
) -> Floats:
    """Germ risk at the well's screen, 0..1: the part of 7 log not yet gone, or crowding.

    Parameters
    ----------
    time_d
        Shortest travel time from any system (n,); NaN: none reaches.
    drainfields_near
        Drainfields within 229 m (n,), which count through the settings' ``field_odds``.
    temperature_c
        Temperature of the ground water.
    settings
        Odds, and the chance with no drainfield near.
    """
    time, near = np.asarray(time_d, float), np.nan_to_num(np.asarray(drainfields_near, float))
    gone = virus_reduction_log10(np.where(np.isnan(time), np.inf, time), temperature_c)
    short = np.clip(1 - gone / VIRUS_LOG10, 0.0, 1.0)
    base = settings.base_chance_frac
    odds = base / (1 - base) * settings.field_odds**near
    crowded = odds / (1 + odds)
    return np.asarray(1 - (1 - short) * (1 - crowded), float)


def well_risk(
    *,
    nitrate: Nitrate,
    shortest_travel_time_d: ArrayLike,
    drainfields_near: ArrayLike,
    own: pd.DataFrame,
    water: GroundwaterSettings,
    settings: WellSettings,
    limit_mg_l: float = LIMIT_MG_L,
) -> pd.DataFrame:
    """Combine both risks into one number per well with its doubt, and the sampling order.

    Parameters
    ----------
    nitrate
        Its distribution in each well (n,).
    shortest_travel_time_d, drainfields_near
        Per well (n,), from the plumes and the neighborhood count.
    own
        From :func:`own_vulnerability`, (n) rows.
    water
        Temperature of the ground water.
    settings
        How germs get in.
    limit_mg_l
        Limit of nitrate, mg/L as N.

    Returns
    -------
    DataFrame
        ``nitrate_predicted_mg_l`` with ``nitrate_low_mg_l``, ``nitrate_high_mg_l`` (90% range),
        ``chance_above_limit_frac``, ``germ_risk_frac``, ``well_risk_frac`` with ``well_risk_low``,
        ``well_risk_high`` (doubt from what is not known of the well and from the prediction),
        ``sampling_order`` (1 first; NaN risks last, ties by position).
    """
    predicted, gsd = np.exp(nitrate.mean), np.exp(nitrate.sd)
    floor = settings.least_keep_out_frac
    spread = gsd**Z_95
    germs = germ_chance(
        shortest_travel_time_d,
        drainfields_near,
        temperature_c=water.temperature_c,
        settings=settings,
    )

    def risk(nitrate: Floats, build: str) -> tuple[Floats, Floats]:
        entry = germs * (floor + (1 - floor) * own[build].to_numpy(float))
        return 1 - (1 - chance_above(nitrate, limit_mg_l, gsd=gsd)) * (1 - entry), entry

    middle, entry = risk(predicted, "well_vulnerability_frac")
    order = np.lexsort((np.arange(len(middle)), -np.nan_to_num(middle, nan=-1.0)))
    place = np.empty(len(middle), np.int64)
    place[order] = np.arange(1, len(middle) + 1)
    return pd.DataFrame(
        {
            "nitrate_predicted_mg_l": predicted,
            "nitrate_low_mg_l": predicted / spread,
            "nitrate_high_mg_l": predicted * spread,
            "chance_above_limit_frac": chance_above(predicted, limit_mg_l, gsd=gsd),
            "germ_risk_frac": entry,
            "well_risk_frac": middle,
            "well_risk_low": risk(predicted / np.sqrt(spread), "well_lowest_frac")[0],
            "well_risk_high": risk(predicted * np.sqrt(spread), "well_highest_frac")[0],
            "sampling_order": place,
        }
    )
