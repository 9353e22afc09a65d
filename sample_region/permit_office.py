"""The permit office's files: permits that could be located, and visits with what was found."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_region.dice import dice
from sample_region.names import owner
from sample_region.plan import YEAR, Floats, Ints, Plan
from sample_region.tax_roll import CITY
from sample_region.truth import Truth
from sample_region.visits import DATED_YEARS, SOUND, STRESSED, paper_dice
from sample_region.worlds import World

GALLON_L: Final = 3.785411784
FOOT2_M2: Final = 0.3048**2
FIRST_PERMITS: Final = 1966
RECORDED: Final = ((1966, 0.35), (1975, 0.55), (1985, 0.78), (1995, 0.9), (2005, 0.97))
"""Share of systems of each period whose permit could be located, from that year on."""


def permits(plan: Plan, truth: Truth, parcels: pd.DataFrame, world: World) -> pd.DataFrame:
    """Permit rows as the office would hand them over; positions still in local meters (x, y).

    Parameters
    ----------
    plan
        Gives the seed.
    truth
        Systems and when they were put in.
    parcels
        The settlement's table.
    world
        Share of the permits that were kept.
    """
    rng = dice(plan.seed, "permits")
    events = _all_events(truth, rng)
    events = events[events.year >= FIRST_PERMITS]
    kept = world.permits_kept_frac * _share_recorded(events.year.to_numpy(float))
    events = events[rng.random(len(events)) < kept]
    events = events.sort_values(["year", "row"], kind="stable", ignore_index=True)
    homes = parcels.iloc[truth.row].iloc[events.row].reset_index(drop=True)
    facts = truth.table.iloc[events.row].reset_index(drop=True)
    table = _identity(events, homes, rng)
    _dates(table, events, rng)
    _system(table, events, homes, facts, rng)
    table["x"] = homes.field_x + rng.normal(0, 4, len(table))
    table["y"] = homes.field_y + rng.normal(0, 4, len(table))
    table["geo_x"] = homes.front_x + rng.normal(0, 18, len(table))
    table["geo_y"] = homes.front_y + rng.normal(0, 18, len(table))
    return _with_repeats(_with_coordinate_slips(table, rng), rng)


def _all_events(truth: Truth, rng: np.random.Generator) -> pd.DataFrame:
    built = truth.events.assign(ACTION=np.where(truth.events["first"], "NEW", "REPAIR"))
    count = len(truth.row)
    paper = []
    for action, share in (("ALTERATION", 0.06), ("EVALUATION", 0.12)):
        row = np.flatnonzero(rng.random(count) < share)
        first = truth.table.true_installed.to_numpy()[row]
        year = first + np.floor(rng.random(len(row)) * (YEAR - first))
        paper.append(pd.DataFrame({"row": row, "year": year, "first": False, "ACTION": action}))
    return pd.concat([built, *paper], ignore_index=True)


def _share_recorded(year: Floats) -> Floats:
    start = np.array([y for y, _ in RECORDED])
    share = np.array([s for _, s in RECORDED])
    return np.asarray(share[np.clip(np.searchsorted(start, year, "right") - 1, 0, None)])


def _identity(events: pd.DataFrame, homes: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    count = len(events)
    table = pd.DataFrame()
    number = np.arange(count) + 1
    year = events.year.astype(int)
    table["PERMIT"] = [f"{y % 100:02d}-{n:05d}" for y, n in zip(year, number, strict=True)]
    lost = rng.random(count) < np.where(year < 1985, 0.22, 0.04)
    table["PIN"] = np.where(lost, "", homes.parcel_id)
    table["NAME"] = owner(20_000 + number)
    table["PHONE"] = [f"000-555-01{n % 100:02d}" for n in number]
    table["ADD1"] = homes.address.str.upper()
    table["CITY"] = CITY
    table["ACTION"] = events.ACTION
    return table


def _dates(table: pd.DataFrame, events: pd.DataFrame, rng: np.random.Generator) -> None:
    """Issued and inspected; the latter may be a year or two later, or was never filled in."""
    count = len(table)
    start = pd.to_datetime(events.year.astype(int).astype(str) + "-01-01")
    issued = start + pd.to_timedelta(rng.integers(20, 355, count), unit="D")
    latest = pd.Timestamp(YEAR, 5, 20)
    issued = issued.where(issued < latest, latest)
    later = issued + pd.to_timedelta(np.round(rng.exponential(110, count)), unit="D")
    text = issued.dt.strftime("%Y-%m-%d").to_numpy(dtype=object)
    slip = _spread(count, 0.004)
    text[slip] = [f"0407{t[4:]}" for t in text[slip]]
    text[_spread(count, 0.0015) + 1] = "2019-02-30"
    table["ISSUED"] = text
    seen = later.dt.strftime("%Y-%m-%d").to_numpy(dtype=object)
    never = (rng.random(count) < 0.11) | (later >= latest).to_numpy()
    table["INSPECTED"] = np.where(never, "", seen)


def _spread(count: int, share: float) -> Ints:
    """Pick a few rows, evenly spread, never none."""
    chosen = max(1, round(count * share))
    return np.linspace(3, count - 4, chosen).astype(np.int64)


def _system(
    table: pd.DataFrame,
    events: pd.DataFrame,
    homes: pd.DataFrame,
    facts: pd.DataFrame,
    rng: np.random.Generator,
) -> None:
    count = len(table)
    current = (events.year == facts.true_installed).to_numpy()
    kind = _kinds(events, homes, facts, rng)
    table["TYPE"] = kind
    tank = np.round(facts.tank_l / GALLON_L / 50) * 50
    table["TANKGAL"] = _text(tank, rng.random(count) < 0.15)
    bedrooms = homes.bedrooms
    table["BEDRMS"] = _text(bedrooms, rng.random(count) < 0.2)
    table["DESFLOW"] = _text(bedrooms * 150, (rng.random(count) < 0.25) | (events.year < 1975))
    older = np.where(current, 1.0, rng.uniform(0.35, 0.7, count))
    area = facts.field_area_m2 * older / FOOT2_M2 * rng.lognormal(0, 0.05, count)
    table["FIELDFT2"] = _text(np.round(area / 5) * 5, rng.random(count) < 0.18)
    filtered = (events.year > 1994) & (rng.random(count) < 0.6)
    table["FILTER"] = np.where(events.year < 1985, "", np.where(filtered, "Y", "N"))
    pumped = facts.last_pumped_year.astype(int)
    known = (rng.random(count) < 0.38) & (pumped >= 2000) & (pumped >= events.year)
    month = rng.integers(1, 13, count)
    month = np.where(pumped == YEAR, np.minimum(month, 5), month)
    stamp = [f"{y}-{m:02d}-15" for y, m in zip(pumped, month, strict=True)]
    table["LASTPUMP"] = np.where(known, stamp, "")


def _kinds(
    events: pd.DataFrame, homes: pd.DataFrame, facts: pd.DataFrame, rng: np.random.Generator
) -> NDArray[Any]:
    count = len(events)
    draw = rng.random(count)
    raised = (facts.raised == 1).to_numpy() & (events.year == facts.true_installed).to_numpy()
    early = (events.year < 1980).to_numpy()
    kind = np.where(draw < np.where(early, 0.45, 0.25), "BED", "TRENCH")
    kind = np.where(early & (draw > 0.93), "PIT", kind)
    kind = np.where(raised, np.where(draw < 0.75, "MOUND", "ATU"), kind)
    shore = (homes.kind == "shore").to_numpy()
    kind = np.where(shore & (draw > 0.965), "HOLDING", kind)
    return np.where(draw.round(3) == 0.5, "SEE CARD", kind)


def _text(values: pd.Series | Floats, blank: NDArray[np.bool_] | pd.Series) -> NDArray[Any]:
    values = pd.Series(values)
    filled = values.mask(pd.Series(np.asarray(blank), index=values.index))
    return filled.round().astype("Int64").astype("string").fillna("").to_numpy(dtype=object)


def _with_coordinate_slips(table: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Let the geocoder put some addresses into the wrong block, and lose the GPS of others."""
    astray = rng.random(len(table)) < 0.06
    table["geo_x"] += np.where(astray, rng.normal(0, 500, len(table)), 0)
    table["geo_y"] += np.where(astray, rng.normal(0, 500, len(table)), 0)
    table["GEORESULT"] = np.where(astray, "S3 STREET NAME ONLY", "S8 ADDRESS")
    table["no_gps"] = rng.random(len(table)) < np.where(table.ISSUED < "2000", 0.35, 0.08)
    return table


def _with_repeats(table: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Key some permits in twice, some under the same number with another date."""
    again = np.sort(rng.choice(len(table), max(2, len(table) // 70), replace=False))
    repeats = table.iloc[again].copy()
    half = np.arange(len(repeats)) % 2 == 1
    repeats["INSPECTED"] = np.where(half, "", repeats.INSPECTED)
    return pd.concat([table, repeats]).sort_index(kind="stable").reset_index(drop=True)


def inspections(plan: Plan, truth: Truth, world: World) -> pd.DataFrame:
    """Visits on file: where people complain, sell or live at the lake; few at random.

    Parameters
    ----------
    plan
        Gives the seed.
    truth
        All visits.
    world
        First year whose visits were kept.
    """
    visits = truth.visits[truth.visits.year > YEAR - DATED_YEARS].reset_index(drop=True)
    rng = paper_dice(plan, systems=len(truth.row), seen=len(visits))
    kept = visits.year >= world.visits_since
    return _visit_rows(visits, truth, rng)[kept].reset_index(drop=True)


def _visit_rows(visits: pd.DataFrame, truth: Truth, rng: np.random.Generator) -> pd.DataFrame:
    count = len(visits)
    facts = truth.table.iloc[visits.row].reset_index(drop=True)
    seen = visits.seen.to_numpy()
    day = rng.integers(0, 140, count) + np.where(visits.year < YEAR, rng.integers(0, 220, count), 0)
    date = pd.to_datetime(visits.year.astype(str) + "-01-02") + pd.to_timedelta(day, unit="D")
    table = pd.DataFrame({"PARCEL": facts.parcel_id, "VISITED": date.dt.strftime("%m/%d/%Y")})
    table["REASON"] = visits.reason
    table["FOUND"] = np.array(["OK", "STRESSED", "FAILED"])[seen]
    ponding = np.select(
        [seen == SOUND, seen == STRESSED],
        [rng.integers(0, 6, count), rng.integers(6, 14, count)],
        rng.integers(12, 24, count),
    )
    table["POND_IN"] = np.where(rng.random(count) < 0.3, "", ponding.astype(str))
    known = (rng.random(count) < 0.5) & (facts.last_pumped_year <= visits.year)
    table["LASTPUMP"] = np.where(known, facts.last_pumped_year.astype(int).astype(str), "")
    table["PARCEL"] = np.where(rng.random(count) < 0.006, "", table.PARCEL)
    return table
