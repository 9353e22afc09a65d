"""An invented county whose systems live by the model's own process, drawn path by path."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from riskmap.condition.lots import Lots, first_year, lots_of
from riskmap.condition.parameters import FINDINGS, NAMES, PARAMETERS, modern_of, natural
from riskmap.condition.records import records_on_file
from riskmap.condition.years import RATES, STATES

YEAR = 2026
FILES_SINCE = 2006
VISITED = 0.08
FACTORS = ("wet", "slow", "load")
EFFECTS = np.array([1.2, 0.8, 0.5])
STAGES = ("sound", "stressed", "failed")


def prior_theta(**changed: float) -> np.ndarray:
    """Prior means with some replaced."""
    held = {parameter.name: parameter.mean for parameter in PARAMETERS} | changed
    return np.array([held[name] for name in NAMES])


@dataclass
class County:
    """Tables of an invented county, and each system's true condition today."""

    lots: pd.DataFrame
    permits: pd.DataFrame
    inspections: pd.DataFrame
    limits: pd.DataFrame
    truth: np.ndarray

    def read(self, *, visits: bool = True, permits: bool = True) -> Lots:
        """Bring the tables into the model's form."""
        lots = self.lots.copy()
        issued = self.permits if permits else None
        lots["first_year"] = first_year(
            lots["year_built"], pd.Series(np.nan, index=lots.index), issued, YEAR
        )
        new = self.permits[self.permits["action"] == "new"]
        years = new["issued"].dt.year.groupby(new["parcel_id"].to_numpy()).min()
        lots["first_permit_year"] = years.reindex(lots.index) if permits else np.nan
        records = records_on_file(lots, issued, self.inspections if visits else None)
        return lots_of(lots, records, self.limits, year=YEAR, passed_frac=1.0)


def simulate(lots: int, seed: int, theta: np.ndarray) -> County:
    """Draw a county of so many lots at a parameter vector."""
    rng = np.random.default_rng(seed)
    ids = [f"L{number:05d}" for number in range(lots)]
    table = pd.DataFrame(
        {
            "year_built": rng.integers(1975, 2020, lots).astype(float),
            "lot_m2": np.exp(rng.normal(7.5, 0.5, lots)),
            "neighborhood": rng.choice(["A", "B", "C"], lots),
            "pump_interval_yr": 4.0,
        },
        index=pd.Index(ids, name="parcel_id"),
    )
    limits = pd.DataFrame(rng.uniform(size=(lots, 3)), columns=list(FACTORS), index=table.index)
    rows: dict[str, list[tuple[object, ...]]] = {"permits": [], "visits": []}
    truth = np.array(
        [
            _life(
                parcel,
                int(table.at[parcel, "year_built"]),
                limits.loc[parcel].to_numpy() - limits.to_numpy().mean(axis=0),
                np.log(table.at[parcel, "lot_m2"]) - np.log(table["lot_m2"]).mean(),
                theta,
                rng,
                rows,
            )
            for parcel in ids
        ]
    )
    permits = pd.DataFrame(rows["permits"], columns=["parcel_id", "action", "issued"])
    permits["inspected"] = permits["issued"]
    permits["last_pumped"] = pd.NaT
    visits = pd.DataFrame(rows["visits"], columns=["parcel_id", "date", "reason", "stage"])
    visits["ponding_cm"], visits["last_pumped"] = np.nan, pd.NaT
    return County(table, permits, visits, limits, truth)


def _life(  # noqa: C901
    parcel: str,
    built: int,
    limits: np.ndarray,
    closeness: float,
    theta: np.ndarray,
    rng: np.random.Generator,
    rows: dict[str, list[tuple[object, ...]]],
) -> int:
    """One lot from its first house to today; returns 0 sound, 1 stressed, 2 failed."""
    p = dict(zip(NAMES, theta, strict=True))
    found_at = natural(theta)
    rates = dict(zip(RATES, found_at.rates, strict=True))
    signs = np.exp(found_at.log_signs)[: len(STAGES)]
    assert FINDINGS[:3] == tuple(f"visit: {stage}" for stage in STAGES)
    rows["permits"].append((parcel, "new", pd.Timestamp(built, 3, 1)))
    frailty, age, state, found, renewed, put_in = rng.normal(), 0, 0, False, False, built

    def hazard() -> float:
        modern = float(modern_of(np.array([float(put_in)]))[0])
        reach = 1 - modern / (1 + np.exp(-p["designed"]))
        fixed = p["modern"] * modern + p["renewed"] * renewed
        return float((limits * EFFECTS * np.exp(p["weights"])).sum() * reach + fixed)

    def happens(rate: float) -> bool:
        return bool(rng.uniform() < -np.expm1(-rate))

    def wear(state: int, age: int, newly: bool) -> int:
        u = hazard() + rates["spread"] * frailty
        if not newly and state == 2 and happens(np.exp(rates["rest"] - rates["shelter"] * u)):
            state = 0
        elif not newly and state == 3:
            if happens(np.exp(rates["set_in"])):
                return 4
            if happens(np.exp(rates["ease"] - rates["shelter"] * u)):
                state = 2
        if (state == 0 and happens(np.exp(found_at.log_wear[age] + u))) or (
            state == 1 and happens(np.exp(rates["wear_renewed"] + u))
        ):
            state = 2
        if state == 2 and happens(np.exp(rates["fail"] + rates["steepness"] * u)):
            state = 3
        return state

    for year in range(built, YEAR + 1):
        state = wear(state, age, year == built)
        seen = [0, 0, 1, 2, 2][state]
        if year >= FILES_SINCE:
            rate = np.exp(rates[f"call_{STAGES[seen]}"] + p["call_lot"] * closeness)
            reasons = ["complaint"] * happens(rate) + ["audit"] * (rng.uniform() < VISITED)
            for reason in reasons:
                says = int(rng.choice(3, p=signs[:, seen]))
                day = pd.Timestamp(year, 5, 1)
                rows["visits"].append((parcel, day, reason, STAGES[says]))
                found |= says == 2
        mend = rates["mend_found" if found else "mend_hidden"] if state >= 3 else 0.0
        early = rates["mend_early"] if state < 3 else 0.0
        if year < YEAR and rng.uniform() < mend + early:
            rows["permits"].append((parcel, "repair", pd.Timestamp(year, 9, 1)))
            if rng.uniform() >= rates["keeps"]:
                frailty = rng.normal()
            state, age, found, renewed, put_in = 0, 0, False, True, year
            state = wear(state, 0, True)
        age += 1
    assert len(STATES) == 5
    return [0, 0, 1, 2, 2][state]
