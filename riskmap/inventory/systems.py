"""The system itself: kind, age, tank, flow, and what visits found. Missing is never zero."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date as Date  # noqa: N812 - `date` is an argument here
from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.columns import FIRST_YEAR
from riskmap.contract.evidence import marked
from riskmap.contract.features import FEATURES
from riskmap.contract.layers import PERMITS
from riskmap.contract.rules import Rules
from riskmap.contract.units import YEAR_D
from riskmap.inventory.permits import permit_date

INSTALLING = ("new", "repair")
"""Actions that put a new system in the ground; an alteration or an evaluation does not."""

BUILT: Final = tuple(
    column.name
    for column in PERMITS.columns
    if column.dtype == "number" and FEATURES.get(column.name) is column
)
"""Numbers that a permit records of the system."""

MIN_NEIGHBORS = 3
"""With fewer dated systems a neighborhood's age is not inferred."""

DAY = np.timedelta64(1, "D")


def describe_systems(
    parcels: pd.DataFrame,
    permits: pd.DataFrame | None,
    inspections: pd.DataFrame | None,
    *,
    date: Date,
    rules: Rules,
    neighborhoods: pd.Series | None = None,
) -> pd.DataFrame:
    """Say what is known of each parcel's onsite system on `date`; later records do not count.

    Year of installation: the latest permit for a new system or a repair (``measured``); else the
    earliest permit that does not say what it allowed, else the year the house was built, else the
    neighborhood's median (all ``inferred``).

    Parameters
    ----------
    parcels
        Canonical parcels, index ``parcel_id``.
    permits
        Permits matched to parcels (:func:`riskmap.inventory.permits.match_permits`), oldest first,
        or None where the county has none.
    inspections
        Canonical inspections, or None.
    date
        Day of the inventory.
    rules
        How long an inspector's finding of ponded effluent holds (``unrepaired_yr``).
    neighborhoods
        Median year of systems by neighborhood (:func:`neighborhood_years`).

    Returns
    -------
    DataFrame
        Index of `parcels`; the inventory's columns from ``kind`` to ``last_visit_year``. Counts of
        complaints and repairs are 0 only where the county keeps such records.
    """
    index = parcels.index
    known = None if permits is None else permits[~(permit_date(permits) > pd.Timestamp(date))]
    visits = None if inspections is None else _visits(inspections, date)
    year, year_mark = _installed(parcels, known, date, neighborhoods)
    replaced = year.where(year_mark == "measured")
    stage, visited = _last_visit(visits, replaced)
    pumped = _last_pumped(known, visits, date, replaced)
    counts = {"complaints": _complaints(visits, index), "repairs": _repairs(known, visits, index)}
    tables = [
        marked({"kind": _kind(known, index)}, "measured", index).fillna({"kind": "unknown"}),
        marked({"installed_year": year}, year_mark, index),
        marked({"age_yr": (date.year - year).clip(lower=0)}, year_mark, index),
        _people(parcels, known),
        marked({name: _latest(known, name, index) for name in BUILT}, "measured", index),
        marked(
            {"loading_class": _words(_latest(known, "loading_class", index))}, "measured", index
        ),
        pd.DataFrame({"effluent_filter": _latest(known, "effluent_filter", index)}),
        marked({"years_since_pumped_yr": pumped}, "measured", index),
        marked(counts | {"last_stage": _words(stage)}, "measured", index),
        marked({"ponding_found_cm": _ponding(visits, replaced, date, rules)}, "measured", index),
        pd.DataFrame({"last_visit_year": visited}),
    ]
    return pd.concat(tables, axis=1)


def neighborhood_years(parcels: pd.DataFrame, permits: pd.DataFrame | None) -> pd.Series:
    """Median year of installation (else of the house) by neighborhood, over the whole county.

    Neighborhoods with fewer than :data:`MIN_NEIGHBORS` dated parcels are left out.

    >>> parcels = pd.DataFrame({"neighborhood": ["Elm"] * 3, "year_built": [1960, 1970, 1990]})
    >>> neighborhood_years(parcels, None).to_dict()
    {'Elm': 1970.0}
    """
    year = _permit_year(permits, parcels.index)[0].fillna(parcels["year_built"].astype(float))
    groups = year.groupby(parcels["neighborhood"].astype(object))
    return groups.median()[groups.count() >= MIN_NEIGHBORS]


def _visits(inspections: pd.DataFrame, date: Date) -> pd.DataFrame:
    """Visits up to the date, oldest first, undated ones before all others."""
    when = pd.to_datetime(inspections["date"])
    visits = inspections.assign(date=when, year=when.dt.year.astype(float))
    visits = visits[~(when > pd.Timestamp(date))]
    return visits.sort_values("date", kind="stable", na_position="first")


def _latest(records: pd.DataFrame | None, column: str, index: pd.Index) -> pd.Series:
    """Last known value of a column by parcel."""
    if records is None or not len(records) or column not in records:
        words = column in ("effluent_filter", "loading_class")
        return pd.Series(None if words else np.nan, index=index, dtype=object if words else float)
    return records.groupby("parcel_id")[column].last().reindex(index)


def _kind(permits: pd.DataFrame | None, index: pd.Index) -> pd.Series:
    """Kind by the latest installing permit that names one, else by any permit."""
    if permits is None or not len(permits):
        return pd.Series(None, index=index, dtype=object)
    named = permits[permits["kind"].notna() & permits["kind"].ne("unknown")]
    installed = _latest(named[named["action"].isin(INSTALLING)], "kind", index)
    other = _latest(named, "kind", index)
    return _words(installed.where(installed.notna(), other))


def _words(column: pd.Series) -> pd.Series:
    """Text column with None for what is missing."""
    words = column.to_numpy(dtype=object).copy()
    words[column.isna().to_numpy()] = None
    return pd.Series(words, index=column.index, dtype=object)


def _permit_year(permits: pd.DataFrame | None, index: pd.Index) -> tuple[pd.Series, pd.Series]:
    """Year of the present system by permit, and whether a permit to install it is on record."""
    nothing = pd.Series(np.nan, index=index)
    if permits is None or not len(permits):
        return nothing, nothing.notna()
    dated = permits[permits["year"] >= FIRST_YEAR]
    installing = dated[dated["action"].isin(INSTALLING)]
    known = installing.groupby("parcel_id")["year"].max().reindex(index)
    silent = dated[dated["action"].isna() | dated["action"].eq("unknown")]
    guessed = silent.groupby("parcel_id")["year"].min().reindex(index)
    return known.fillna(guessed).astype(float), known.notna()


def _installed(
    parcels: pd.DataFrame,
    permits: pd.DataFrame | None,
    date: Date,
    neighborhoods: pd.Series | None,
) -> tuple[pd.Series, pd.Series]:
    year, on_permit = _permit_year(permits, parcels.index)
    built = parcels["year_built"].astype(float)
    year = year.fillna(built.where((built >= FIRST_YEAR) & (built <= date.year)))
    if neighborhoods is not None and len(neighborhoods):
        year = year.fillna(parcels["neighborhood"].astype(object).map(neighborhoods))
    mark = pd.Series(np.where(on_permit, "measured", "inferred"), index=parcels.index)
    return year.astype(float), mark


def _people(parcels: pd.DataFrame, permits: pd.DataFrame | None) -> pd.DataFrame:
    """Dwellings, bedrooms and persons: the assessor's number, else the permit's bedrooms."""
    bedrooms = parcels["bedrooms"].astype(float)
    bedrooms = bedrooms.fillna(_latest(permits, "bedrooms", parcels.index).astype(float))
    numbers = {
        "dwellings": parcels["dwellings"].astype(float),
        "bedrooms": bedrooms,
        "occupants": parcels["occupants"].astype(float),
        "metered_flow_l_d": parcels.get(
            "metered_flow_l_d", pd.Series(np.nan, parcels.index)
        ).astype(float),
    }
    return marked(numbers, "measured", parcels.index)


def _last_visit(visits: pd.DataFrame | None, replaced: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Find what the last visit to the present system found, and the year of any last visit."""
    index = replaced.index
    if visits is None or not len(visits):
        return pd.Series(None, index=index, dtype=object), pd.Series(np.nan, index=index)
    since = visits["parcel_id"].map(replaced).astype(float)
    present = visits[~(visits["year"] < since)]
    stage = _latest(present[present["stage"].notna()], "stage", index)
    return stage, _latest(visits, "year", index).astype(float)


def _ponding(
    visits: pd.DataFrame | None, replaced: pd.Series, date: Date, rules: Rules
) -> pd.Series:
    """Effluent found in the present system, cm, while the finding holds; the last measurement."""
    if visits is None or not len(visits) or "ponding_cm" not in visits:
        return pd.Series(np.nan, index=replaced.index)
    oldest = pd.Timestamp(date) - pd.Timedelta(days=rules.unrepaired_yr * YEAR_D)
    since = visits["parcel_id"].map(replaced).astype(float)
    holds = visits["ponding_cm"].notna() & (visits["date"] >= oldest) & ~(visits["year"] < since)
    return _latest(visits[holds], "ponding_cm", replaced.index).astype(float)


def _last_pumped(
    permits: pd.DataFrame | None, visits: pd.DataFrame | None, date: Date, replaced: pd.Series
) -> pd.Series:
    """Years since the last pump-out on record; one before the present system does not count."""
    records = [
        table[["parcel_id", "last_pumped"]]
        .assign(last_pumped=pd.to_datetime(table["last_pumped"]).astype("datetime64[ns]"))
        .dropna()
        for table in (permits, visits)
        if table is not None
    ]
    if not any(len(table) for table in records):
        return pd.Series(np.nan, index=replaced.index)
    pumped = _stacked(records)
    late = pumped["last_pumped"] > pd.Timestamp(date)
    early = pumped["last_pumped"].dt.year < pumped["parcel_id"].map(replaced).astype(float)
    last = pumped[~late & ~early].groupby("parcel_id")["last_pumped"].max()
    days = (pd.Timestamp(date).to_datetime64() - last.reindex(replaced.index).to_numpy()) / DAY
    return pd.Series(days / YEAR_D, index=replaced.index)


def _stacked(tables: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """One table under the other; empty ones, whose column types mean nothing, are left out."""
    every = list(tables)
    return pd.concat([table for table in every if len(table)] or every[:1], ignore_index=True)


def _count(keys: Sequence[str] | pd.Series, index: pd.Index) -> pd.Series:
    return pd.Series(keys, dtype=object).value_counts().reindex(index).fillna(0.0).astype(float)


def _complaints(visits: pd.DataFrame | None, index: pd.Index) -> pd.Series:
    if visits is None:
        return pd.Series(np.nan, index=index)
    return _count(visits.loc[visits["reason"].eq("complaint"), "parcel_id"], index)


def _repairs(
    permits: pd.DataFrame | None, visits: pd.DataFrame | None, index: pd.Index
) -> pd.Series:
    """Repairs by permit and by visit; both in one year are one repair, undated permits each one."""
    if permits is None and visits is None:
        return pd.Series(np.nan, index=index)
    records = _stacked(
        pd.DataFrame(table.loc[table[column].eq("repair"), ["parcel_id", "year"]])
        for table, column in ((permits, "action"), (visits, "reason"))
        if table is not None
    )
    dated = records[records["year"].notna()].drop_duplicates()
    undated = records[records["year"].isna()]
    return _count(pd.concat([dated, undated])["parcel_id"], index)
