"""What is on file of every lot, as one table: a row per record, in the order the model reads it."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.condition.years import Flags

COMPLAINT: Final = "complaint"
REPAIR: Final = "repair"
REPLACED: Final = "new system"
RENEWALS: Final = (REPAIR, REPLACED)

WORK_DAYS: Final = 120
"""Days from a permit to the finished work where the latter is not on file (own choice)."""
SAME_HOUSE_YR: Final = 2
"""A permit for a new system up to so many years after the house is that of the first system."""
EARLY_SHARE: Final = 0.5
"""A pump-out sooner than this share of the tank's interval after the last one is early (own
choice)."""

COLUMNS: Final = ("parcel_id", "date", "year", "kind", "unused")
_BEFORE, _RENEWS, _AFTER = 0, 1, 2


def records_on_file(
    lots: pd.DataFrame,
    permits: pd.DataFrame | None,
    inspections: pd.DataFrame | None,
    answers: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """List what is on file of some lots.

    A year is the model's step, and within a year the days of an office's records say little: what
    is found amiss in the year of a repair, or before its work was finished, is taken for what was
    repaired; what is found sound after the work, for the new system.

    Parameters
    ----------
    lots
        Index ``parcel_id``; columns ``first_year`` (of the first house or system) and
        ``pump_interval_yr`` (NaN where unknown).
    permits
        Permits matched to parcels, or None: ``parcel_id, action, issued, inspected, last_pumped``.
    inspections
        Canonical visits, or None: ``parcel_id, date, reason, stage, ponding_cm, last_pumped``.
    answers
        Owners' answers to letters, or None: ``parcel_id, date, trouble``.

    Returns
    -------
    DataFrame
        ``parcel_id, date, year, kind, unused``: kinds are ``complaint``, ``repair``, ``new
        system`` and :data:`~riskmap.condition.parameters.FINDINGS`; ``year`` is the one the record
        counts in; ``unused`` why it does not count, else None. In the order the model reads them:
        by parcel and year, what comes before a renewal, the renewal, what comes after.
    """
    parts = [
        *_renewals(lots, permits, inspections),
        *([] if inspections is None else [_complaints(inspections), _findings(inspections)]),
        *([] if answers is None else [_answers(answers)]),
        _pump_outs(lots, permits, inspections),
    ]
    table = pd.concat([part for part in parts if len(part)] or parts[-1:], ignore_index=True)
    table = table[table["parcel_id"].isin(lots.index)].reset_index(drop=True)
    table["year"] = table["date"].dt.year.astype(float)
    table["phase"] = np.where(table["kind"].isin(RENEWALS), _RENEWS, _BEFORE)
    table["unused"] = pd.Series(None, index=table.index, dtype=object)
    _set_aside(table, table["date"].isna(), "has no date")
    _set_aside(table, _with_a_permit(table), "goes with a permit of that time")
    _beside_renewals(table)
    _set_aside(
        table, table["year"] < table["parcel_id"].map(lots["first_year"]), "predates the house"
    )
    table = table.sort_values(
        ["parcel_id", "year", "phase", "date", "kind"],
        kind="stable",
        na_position="last",
        ignore_index=True,
        key=lambda column: -column.eq(REPAIR) if column.name == "kind" else column,
    )
    renews = table["kind"].isin(RENEWALS) & table["unused"].isna()
    again = table[renews].duplicated(["parcel_id", "year"]).reindex(table.index, fill_value=False)
    _set_aside(table, again, "is the renewal counted already in that year")
    return table[list(COLUMNS)]


def record_words(kind: str, date: pd.Timestamp) -> str:
    """Tell one record: what it is and when.

    >>> record_words("measured sale visit: failed", pd.Timestamp("2024-05-03"))
    'found failed at a sale inspection in May 2024'
    >>> record_words("complaint", pd.Timestamp("2019-01-20"))
    'complaint in January 2019'
    """
    when = f"{date:%B %Y}"
    if ": " not in kind:
        return f"{kind} in {when}"
    visit, seen = kind.split(": ")
    return f"found {seen} at a {'sale inspection' if 'sale' in visit else 'visit'} in {when}"


def _rows(parcel: pd.Series, date: pd.Series, kind: object) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "parcel_id": parcel.to_numpy(dtype=object),
            "date": pd.to_datetime(date).to_numpy(),
            "kind": kind if isinstance(kind, str) else np.asarray(kind, dtype=object),
        }
    )


def _says(column: pd.Series, word: str) -> Flags:
    """Flag (n,) the rows that hold a word; a missing one does not."""
    return column.eq(word).fillna(False).to_numpy(dtype=bool)


def _set_aside(table: pd.DataFrame, which: pd.Series, why: str) -> None:
    table.loc[which & table["unused"].isna(), "unused"] = why


def _renewals(
    lots: pd.DataFrame, permits: pd.DataFrame | None, inspections: pd.DataFrame | None
) -> list[pd.DataFrame]:
    """Repairs by permit and by visit, and new systems on lots that had one."""
    parts = []
    if permits is not None:
        issued, inspected = pd.to_datetime(permits["issued"]), pd.to_datetime(permits["inspected"])
        begun = issued.where(issued.notna(), inspected)
        done = inspected.where(inspected >= begun, begun + pd.Timedelta(days=WORK_DAYS))
        later = begun.dt.year > permits["parcel_id"].map(lots["first_year"]) + SAME_HOUSE_YR
        repaired, new = (_says(permits["action"], word) for word in ("repair", "new"))
        kind = np.select([repaired, new & later.to_numpy(bool)], RENEWALS, "")
        parts.append(
            _rows(permits["parcel_id"], begun, kind).assign(done=done.to_numpy())[kind != ""]
        )
    if inspections is not None:
        visits = inspections[inspections["reason"].eq("repair")]
        rows = _rows(visits["parcel_id"], visits["date"], REPAIR)
        parts.append(rows.assign(done=rows["date"], by_visit=True))
    return parts


def _with_a_permit(table: pd.DataFrame) -> pd.Series:
    """Visits for a repair that a permit tells of, too."""
    if "by_visit" not in table:
        return pd.Series(False, index=table.index)
    visits = table[table["by_visit"].eq(True)].reset_index(names="row")
    permits = table[table["kind"].isin(RENEWALS) & ~table["by_visit"].eq(True)]
    pairs = visits.merge(permits[["parcel_id", "date"]], on="parcel_id", suffixes=("", "_permit"))
    near = (pairs["date"] - pairs["date_permit"]).abs() <= pd.Timedelta(days=366)
    return pd.Series(table.index.isin(pairs.loc[near, "row"]), index=table.index)


def _complaints(inspections: pd.DataFrame) -> pd.DataFrame:
    calls = inspections[inspections["reason"].eq("complaint")]
    return _rows(calls["parcel_id"], calls["date"], COMPLAINT)


def _findings(inspections: pd.DataFrame) -> pd.DataFrame:
    """List what visits saw; a visit for a repair sees the work, not the system."""
    other = ~_says(inspections["reason"], "repair")
    seen = inspections[inspections["stage"].notna().to_numpy(bool) & other]
    measured = np.where(seen["ponding_cm"].notna(), "measured ", "")
    sale = np.where(_says(seen["reason"], "sale"), "sale ", "")
    kind = measured.astype(object) + sale + "visit: " + seen["stage"].to_numpy(dtype=object)
    return _rows(seen["parcel_id"], seen["date"], kind)


def _answers(answers: pd.DataFrame) -> pd.DataFrame:
    kind = np.where(
        answers["trouble"].astype(bool), "owner tells of trouble", "owner tells of no trouble"
    )
    return _rows(answers["parcel_id"], answers["date"], kind)


def _pump_outs(
    lots: pd.DataFrame, permits: pd.DataFrame | None, inspections: pd.DataFrame | None
) -> pd.DataFrame:
    """Pump-outs after an earlier one, early or not; two sources that tell of one year tell of one.

    Those on file are the ones that somebody happened to learn of: that there was one says nothing,
    only whether it came early.
    """
    told = [
        table[["parcel_id", "last_pumped"]].assign(
            last_pumped=pd.to_datetime(table["last_pumped"]).astype("datetime64[ns]")
        )
        for table in (permits, inspections)
        if table is not None
    ]
    nothing = _rows(pd.Series(dtype=object), pd.Series(dtype="datetime64[ns]"), "")
    if not any(len(part) for part in told):
        return nothing
    pumped = pd.concat([part for part in told if len(part)]).dropna()
    pumped["year"] = pumped["last_pumped"].dt.year
    pumped = pumped.sort_values(["parcel_id", "last_pumped"]).drop_duplicates(["parcel_id", "year"])
    gap = pumped.groupby("parcel_id")["year"].diff()
    due = EARLY_SHARE * pumped["parcel_id"].map(lots["pump_interval_yr"])
    kind = np.where(gap < due, "pumped early", "pumped when due")
    rows = _rows(pumped["parcel_id"], pumped["last_pumped"], kind)
    return rows[(gap.notna() & due.notna()).to_numpy()]


def _beside_renewals(table: pd.DataFrame) -> None:
    """Put findings and complaints about a renewal's time before or after it, in place."""
    if "done" not in table:
        return
    renewals = table.loc[table["phase"].eq(_RENEWS) & table["unused"].isna()]
    seen = table.loc[
        table["phase"].eq(_BEFORE) & table["date"].notna(), ["parcel_id", "date", "kind"]
    ]
    pairs = seen.reset_index(names="row").merge(
        renewals[["parcel_id", "date", "done", "year"]], on="parcel_id", suffixes=("", "_begun")
    )
    amiss = pairs["kind"].eq(COMPLAINT) | pairs["kind"].str.endswith((": stressed", ": failed"))
    year = pairs["date"].dt.year
    old = amiss & pairs["date"].between(pairs["date_begun"], pairs["done"]) & (year > pairs["year"])
    new = (
        pairs["kind"].str.endswith(": sound")
        & (year == pairs["year"])
        & (pairs["date"] > pairs["done"])
    )
    table.loc[pairs.loc[old, "row"], "year"] = pairs.loc[old, "year"].to_numpy()
    table.loc[pairs.loc[new, "row"], "phase"] = _AFTER
