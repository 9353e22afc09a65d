"""The assessor's records: most of the truth, with an office's usual gaps and slips."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_region.dice import dice
from sample_region.names import owner
from sample_region.plan import Plan

FOOT2_M2: Final = 0.3048**2
USE_CODES: Final = {
    "core": "R1",
    "fringe": "R1",
    "subdivision": "R1",
    "shore": "S2",
    "roadside": "R1",
    "farm": "A5",
}
CITY: Final = "NOWHERE VILLAGE"


def tax_roll(plan: Plan, parcels: pd.DataFrame) -> pd.DataFrame:
    """One row per assessed unit; condominium units repeat their parcel's key."""
    rng = dice(plan.seed, "tax roll")
    count = len(parcels)
    improved = parcels.improved.to_numpy()
    roll = pd.DataFrame({"PARCEL": parcels.parcel_id.to_numpy()})
    roll["UNIT"] = ""
    roll["USE"] = _use_codes(parcels, rng)
    roll["SITEADDR"] = parcels.address.to_numpy()
    roll["YEAR_BUILT"] = _years(parcels, rng)
    bedrooms = parcels.bedrooms.mask(pd.Series(rng.random(count) < 0.08))
    roll["BEDRMS"] = _whole(bedrooms)
    roll["DWELL"] = np.where(improved, "1", "0")
    area = parcels.living_m2 / FOOT2_M2
    roll["SQFT"] = _whole(area.mask(pd.Series(rng.random(count) < 0.05)))
    value = np.where(
        improved, 1150 * parcels.living_m2.fillna(0) * rng.lognormal(0, 0.25, count), 0
    )
    roll["BLDG_VAL"] = _whole(pd.Series(value))
    roll["OWNER"] = owner(rng.permutation(count) + 1)
    _mailing(roll, parcels, rng)
    return pd.concat([roll, _condominiums(roll, parcels, rng)], ignore_index=True).sort_values(
        ["PARCEL", "UNIT"], kind="stable", ignore_index=True
    )


def _use_codes(parcels: pd.DataFrame, rng: np.random.Generator) -> NDArray[Any]:
    code = parcels.kind.map(USE_CODES).to_numpy(dtype=object)
    core = (parcels.kind == "core").to_numpy()
    draw = rng.random(len(parcels))
    code = np.where(core & (draw < 0.06), "C3", code)
    code = np.where(core & (draw > 0.985), "E4", code)
    farm = (parcels.kind == "farm").to_numpy()
    vacant = ~parcels.improved.to_numpy()
    code = np.where(vacant, np.where(farm, "A0", "V0"), code)
    return np.where(draw.round(4) == 0.5, "??", code)


def _whole(values: pd.Series) -> NDArray[Any]:
    """Whole numbers as text, blank where missing."""
    filled = values.round().astype("Int64").astype("string").fillna("")
    return filled.to_numpy(dtype=object)


def _years(parcels: pd.DataFrame, rng: np.random.Generator) -> NDArray[Any]:
    """Year built as text: 0 for vacant land, some blank, some 0, a few slips such as 1389."""
    count = len(parcels)
    draw = rng.random(count)
    year = _whole(parcels.built)
    year = np.where(year == "", "0", year)
    lived = parcels.improved.to_numpy()
    older = (parcels.built < 1960).to_numpy()
    year = np.where(lived & older & (draw < 0.10), "0", year)
    year = np.where(lived & (draw > 0.955), "", year)
    slips = np.flatnonzero(lived)[:: max(1, lived.sum() // 5)]
    year[slips] = "1389"
    return year


def _mailing(roll: pd.DataFrame, parcels: pd.DataFrame, rng: np.random.Generator) -> None:
    away = parcels.absentee.to_numpy()
    number = rng.integers(1, 9999, len(roll))
    box = np.array([f"PO BOX {n:05d}" for n in number], object)
    where = rng.integers(0, 3, len(roll))
    towns = np.array(["FAROFF CITY", "ELSEWHERE", "SOMEPLACE SPRINGS"], object)[where]
    roll["MAIL_NAME"] = roll["OWNER"]
    roll["MAIL_ADDR"] = np.where(away, box, [a.upper() for a in parcels.address])
    roll["MAIL_CITY"] = np.where(away, towns, CITY)
    roll["MAIL_ST"] = "ZZ"
    roll["MAIL_ZIP"] = np.where(away, np.array(["00011", "00012", "00013"], object)[where], "00001")


def _condominiums(
    roll: pd.DataFrame, parcels: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """Units of about one parcel in three hundred: same key, own unit number and owner."""
    able = parcels.improved & parcels.kind.isin(["core", "shore", "fringe"])
    able &= ~parcels.seasonal
    rows = np.flatnonzero(able)
    chosen = rng.choice(rows, max(2, len(roll) // 300), replace=False)
    units = rng.integers(3, 9, len(chosen))
    repeated = roll.iloc[np.repeat(np.sort(chosen), units)].reset_index(drop=True)
    number = repeated.groupby("PARCEL").cumcount() + 2
    repeated["UNIT"] = [f"U{n:02d}" for n in number]
    repeated["USE"] = "R8"
    repeated["OWNER"] = owner(90_000 + np.arange(len(repeated)))
    repeated["MAIL_NAME"] = repeated["OWNER"]
    return repeated
