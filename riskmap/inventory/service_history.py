"""Lives of systems from the permit records, for learning how long systems last."""

from __future__ import annotations

import datetime

import numpy as np
import pandas as pd

FIRST_PERMITS_FRAC = 0.02
"""Records are taken to begin where this share of the dated permits lies: a few stray early dates
do not make a record. Own choice."""


def service_history(
    systems: pd.DataFrame, permits: pd.DataFrame | None, *, at_year: float
) -> pd.DataFrame:
    """One row per life of a system: from installation to repair, or to the end of the watch.

    A life begins with the parcel's first new-system permit, or with the house where none is on
    record, and again with each repair. It ends with the next repair (a failure: a repair permit
    signals one, an alteration does not) or is cut off at `at_year`. Lives that began before the
    records did are under watch only from then on. The kind is that of the permit that began the
    life; a life without one has the parcel's kind if it is the only one, else an unknown kind.

    Parameters
    ----------
    systems
        Inventory rows, index ``parcel_id``: ``kind``, ``year_built`` (NaN if unknown).
    permits
        Matched permits: ``parcel_id, action, kind, issued, inspected``; None if the county has
        no such layer.
    at_year
        Day of the run as a decimal year.

    Returns
    -------
    DataFrame
        ``parcel_id, kind, age_yr, failed, entry_age_yr``; lives of unknown beginning are left out.
    """
    columns = ["parcel_id", "kind", "age_yr", "failed", "entry_age_yr"]
    if permits is None or permits.empty:
        return pd.DataFrame(columns=columns)
    dated = pd.DataFrame(
        {
            "parcel_id": permits["parcel_id"].astype("string"),
            "action": permits["action"],
            "kind": permits["kind"],
            "year": decimal_year(permits["inspected"].fillna(permits["issued"])),
        }
    )
    dated = dated[dated["parcel_id"].isin(systems.index) & dated["year"].le(at_year)]
    began = dated["year"].quantile(FIRST_PERMITS_FRAC)
    lives = _lives(systems, dated)
    end = lives.groupby("parcel_id")["start"].shift(-1)
    table = pd.DataFrame(
        {
            "parcel_id": lives["parcel_id"],
            "kind": _kinds(lives, systems["kind"]),
            "age_yr": end.fillna(at_year) - lives["start"],
            "failed": end.notna(),
            "entry_age_yr": (began - lives["start"]).clip(lower=0),
        }
    )
    usable = (table["age_yr"] > table["entry_age_yr"]) & table["age_yr"].notna()
    return table.loc[usable, columns].reset_index(drop=True)


def decimal_year(dates: pd.Series) -> pd.Series:
    """Dates as years with decimals; NaN where there is none.

    >>> decimal_year(pd.Series(pd.to_datetime(["2001-01-01", None]))).tolist()
    [2001.0, nan]
    """
    day = dates.dt.day_of_year - 1
    length = np.where(dates.dt.is_leap_year, 366, 365)
    return pd.Series(dates.dt.year + day / length, index=dates.index, dtype=float)


def decimal_year_of(day: datetime.date) -> float:
    """One day as a year with decimals.

    >>> decimal_year_of(datetime.date(2026, 1, 1))
    2026.0
    """
    return float(decimal_year(pd.Series([pd.Timestamp(day)])).iloc[0])


def _lives(systems: pd.DataFrame, dated: pd.DataFrame) -> pd.DataFrame:
    new = dated[dated["action"] == "new"].sort_values("year", kind="stable")
    new = new.drop_duplicates("parcel_id").set_index("parcel_id")
    first = new["year"].reindex(systems.index).fillna(systems["year_built"].astype(float))
    ids = systems.index.astype("string")
    kinds = new["kind"].reindex(systems.index).to_numpy(object)
    starts = pd.DataFrame({"parcel_id": ids, "start": first.to_numpy(), "kind": kinds})
    repaired = dated.loc[dated["action"] == "repair", ["parcel_id", "year", "kind"]]
    repaired = repaired.rename(columns={"year": "start"}).astype({"kind": object})
    too_early = repaired["start"] <= repaired["parcel_id"].map(first).astype(float)
    known = starts[starts["start"].notna()]
    lives = pd.concat([known, repaired[~too_early]], ignore_index=True)
    lives = lives.drop_duplicates(["parcel_id", "start"])
    return lives.sort_values(["parcel_id", "start"], ignore_index=True, kind="stable")


def _kinds(lives: pd.DataFrame, of_parcel: pd.Series) -> pd.Series:
    only = ~lives["parcel_id"].duplicated(keep=False)
    parcels = lives["parcel_id"].map(of_parcel).where(only)
    return lives["kind"].astype("string").fillna(parcels.astype("string")).fillna("unknown")
