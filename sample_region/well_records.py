"""Wells with their drillers' logs, laboratory results, and measured water levels."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from sample_region.dice import dice
from sample_region.nitrate import true_nitrate
from sample_region.plan import YEAR, Floats, Plan
from sample_region.terrain import Terrain
from sample_region.truth import Truth
from sample_region.water_table import water_depth_m

FOOT_M: Final = 0.3048
DETECTION_MG_L: Final = 0.5


def true_wells(
    plan: Plan, terrain: Terrain, truth: Truth, parcels: pd.DataFrame
) -> tuple[pd.DataFrame, Floats]:
    """All wells that exist, with their nitrate; and each system's share in it.

    Parameters
    ----------
    plan
        Gives the seed and the villages, which have public wells.
    terrain, truth
        Ground and systems.
    parcels
        The settlement's table; ``well`` marks the lots with one.

    Returns
    -------
    tuple
        One row per well, lengths in m; and what each system adds to all wells, mg/L as N.
    """
    rng = dice(plan.seed, "wells")
    row = np.flatnonzero(parcels.well)
    homes = parcels.iloc[row].reset_index(drop=True)
    wells = pd.DataFrame({"parcel_id": homes.parcel_id, "x": homes.well_x, "y": homes.well_y})
    wells["use"] = np.where((homes.kind == "farm") & (rng.random(len(homes)) < 0.15), "IRR", "DOM")
    wells["drilled"] = np.maximum(homes.built, np.where(rng.random(len(homes)) < 0.3, 1975, 0))
    public = _public_wells(plan, rng)
    wells = pd.concat([wells, public], ignore_index=True)
    count = len(wells)
    water = water_depth_m(terrain, wells.x.to_numpy(), wells.y.to_numpy())
    wells["dug"] = (wells.drilled < 1955) & (rng.random(count) < 0.3)
    deep = water + rng.lognormal(np.log(22), 0.5, count)
    wells["depth_m"] = np.where(wells.dug, water + rng.uniform(1.5, 5, count), deep)
    wells.loc[wells.use == "PUB", "depth_m"] += 30
    wells["screen_m"] = np.minimum(rng.choice([1.2, 1.5, 3.0], count), wells.depth_m / 3)
    wells["casing_m"] = wells.depth_m - wells.screen_m
    flowing = (water < 1.6) & ~wells.dug & (rng.random(count) < 0.12)
    level = np.where(flowing, -rng.uniform(0.1, 1.5, count), water + rng.normal(0, 0.6, count))
    wells["static_m"] = np.where(flowing, level, np.clip(level, 0.2, 0.9 * wells.depth_m))
    wells["ground_m"] = terrain.sample(terrain.elevation_m, wells.x.to_numpy(), wells.y.to_numpy())
    wells["well_id"] = [f"ZZFM-W{n + 1:06d}" for n in range(count)]
    inside, given = true_nitrate(plan, terrain, truth, parcels, wells)
    return wells.join(inside), given


def _public_wells(plan: Plan, rng: np.random.Generator) -> pd.DataFrame:
    shift = rng.uniform(-250, 250, (len(plan.villages) * 2, 2))
    place = np.repeat(plan.villages, 2, axis=0) + shift
    return pd.DataFrame(
        {"parcel_id": "", "x": place[:, 0], "y": place[:, 1], "use": "PUB", "drilled": 1968.0}
    )


def well_log(plan: Plan, wells: pd.DataFrame) -> pd.DataFrame:
    """Pick the wells whose log is on file, lengths in feet as drillers write them."""
    rng = dice(plan.seed, "well log")
    chance = np.where(wells.drilled >= 1988, 0.93, np.where(wells.drilled >= 1970, 0.62, 0.2))
    known = wells[(rng.random(len(wells)) < chance) | (wells.use == "PUB")].reset_index(drop=True)
    count = len(known)
    log = pd.DataFrame({"WELL_NO": known.well_id})
    log["PARCEL"] = np.where(rng.random(count) < 0.35, "", known.parcel_id)
    log["WELL_USE"] = known.use
    log["DUG"] = np.where(known.dug, "Y", "N")
    log["DRILLED"] = _drill_dates(known.drilled.to_numpy(), rng)
    for name, column in (
        ("DEPTH_FT", "depth_m"),
        ("CASING_FT", "casing_m"),
        ("STATIC_FT", "static_m"),
    ):
        log[name] = (known[column] / FOOT_M).round(1)
    log["SCRN_TOP"] = (known.casing_m / FOOT_M).round(1)
    log["SCRN_BOT"] = (known.depth_m / FOOT_M).round(1)
    log["GRND_EL_FT"] = (known.ground_m / FOOT_M + rng.normal(0, 4, count)).round(0)
    log["DATUM"] = np.where(known.drilled < 1992, "NGVD29", "NAVD88")
    log["YIELD_GPM"] = rng.choice([5, 8, 10, 12, 15, 20, 30], count)
    blank = {"CASING_FT": 0.12, "STATIC_FT": 0.1, "SCRN_TOP": 0.3, "GRND_EL_FT": 0.15}
    for name, share in blank.items():
        log[name] = log[name].mask(pd.Series(rng.random(count) < share))
    log["x"] = known.x + rng.normal(0, 5, count)
    log["y"] = known.y + rng.normal(0, 5, count)
    return log


def _drill_dates(year: Floats, rng: np.random.Generator) -> list[str]:
    month, day = rng.integers(1, 13, len(year)), rng.integers(1, 28, len(year))
    month = np.where(year >= YEAR, 3, month)
    full = rng.random(len(year)) < 0.85
    return [
        f"{int(y)}-{m:02d}-{d:02d}" if f else f"{int(y)}"
        for y, m, d, f in zip(year, month, day, full, strict=True)
    ]


def samples(plan: Plan, wells: pd.DataFrame, log: pd.DataFrame) -> pd.DataFrame:
    """Laboratory results of wells on file: date, nitrate with its limit, coliform.

    Parameters
    ----------
    plan
        Gives the seed.
    wells
        From :func:`true_wells`.
    log
        From :func:`well_log`; only wells in it are sampled.
    """
    rng = dice(plan.seed, "samples")
    on_file = wells[wells.well_id.isin(log.WELL_NO)].reset_index(drop=True)
    tested = on_file[rng.random(len(on_file)) < 0.42]
    taken = tested.loc[tested.index.repeat(rng.integers(1, 4, len(tested)))].reset_index(drop=True)
    count = len(taken)
    day = pd.Timestamp(2008, 1, 5) + pd.to_timedelta(rng.integers(0, 6690, count), unit="D")
    table = pd.DataFrame({"well_id": taken.well_id, "date": day.strftime("%Y-%m-%d")})
    table["nitrate"] = (taken.nitrate * rng.lognormal(0, 0.15, count)).round(2)
    table["below"] = table.nitrate < DETECTION_MG_L
    risk = 0.03 + 0.2 * taken.dug + 0.01 * taken.nitrate
    table["coliform"] = rng.random(count) < risk
    table["x"], table["y"] = taken.x, taken.y
    return table.sort_values(["date", "well_id"], kind="stable", ignore_index=True)


def water_levels(plan: Plan, terrain: Terrain) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Observation wells and their readings in feet, some unusable."""
    rng = dice(plan.seed, "levels")
    count = max(8, round(45 * plan.parcels / 3000))
    x, y = rng.uniform(0, plan.width_m, count), rng.uniform(0, plan.height_m, count)
    dry = ~terrain.sample(terrain.lake, x, y)
    x, y = x[dry], y[dry]
    sites = pd.DataFrame({"site_no": [f"990000{n:09d}" for n in range(1, len(x) + 1)]})
    sites["x"], sites["y"] = x, y
    sites["ground_ft"] = terrain.sample(terrain.elevation_m, x, y) / FOOT_M
    base = water_depth_m(terrain, x, y) + rng.normal(0, 0.4, len(x))
    rows = []
    for year in range(2006, YEAR):
        for month, lift in ((4, -0.35), (10, 0.3)):
            seen = np.flatnonzero(rng.random(len(x)) < 0.6)
            swing = rng.normal(0, 0.25)
            depth = (base[seen] + lift + swing + rng.normal(0, 0.1, len(seen))) / FOOT_M
            rows.append(
                pd.DataFrame(
                    {
                        "site_no": sites.site_no[seen],
                        "depth_ft": depth.round(2),
                        "date": f"{year}-{month:02d}-{rng.integers(1, 28):02d}",
                    }
                )
            )
    levels = pd.concat(rows).sort_values(["site_no", "date"], kind="stable", ignore_index=True)
    levels["status"] = ""
    blocked = levels.index % 97 == 5
    levels["status"] = np.where(blocked, "O", levels.status)
    levels["depth_ft"] = levels.depth_ft.mask(blocked)
    levels.loc[levels.index % 89 == 7, "status"] = "P"
    levels.loc[levels.index % 61 == 3, "date"] = levels.date.str[:7]
    return sites, levels
