"""A county's lots as the model reads them: arrays from the tables."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
import pandas as pd

from riskmap.condition.parameters import FINDINGS, OLDEST_YR
from riskmap.condition.records import COMPLAINT, REPAIR, REPLACED
from riskmap.condition.years import COMPLAINT as COMPLAINT_KIND
from riskmap.condition.years import REPAIR as REPAIR_KIND
from riskmap.condition.years import REPLACED as REPLACED_KIND
from riskmap.condition.years import Flags, Floats, Histories, Ints, Office

LONGEST_YR: Final = 80
"""Years that the axis reaches back; older systems enter sound at their age (own choice: what was
before has faded)."""
FEW_CALLS: Final = 3.0
"""Complaints a year from which a year without any means that they were not kept."""
ON_FILE: Final = (0.6, 6.0)
"""Share of permits on file before a decade's are counted, and how many houses it is worth."""
LEAST_SHARE: Final = 0.02
PERMIT_LATE_YR: Final = 3
"""A house's first permit counts as on file if it came at most so many years after the house."""

KINDS: Final = {
    COMPLAINT: COMPLAINT_KIND,
    REPAIR: REPAIR_KIND,
    REPLACED: REPLACED_KIND,
    **{kind: number for number, kind in enumerate(FINDINGS)},
}


@dataclass(frozen=True)
class Lots:
    """n lots with m systems, one after the other, and what is on file of them.

    ``ids``: parcel numbers; ``year``: of the run. ``histories``, ``office``: see there. Of each
    system: ``lot`` (m,), ``put_in`` (m,) year, ``renewed`` and ``present`` (m,). Of each lot:
    ``closeness`` (n,) log of the lot's size less the county's mean, ``neighborhood`` (n,) code.
    ``limits`` (n, factors): limitations less the county's means; ``fitted_on`` (n,): lots whose
    records the model is fitted to; ``factors``: their names; ``of_system`` (factors,): whether a
    factor is about the present system only, not of the place. ``window``: number of the last years
    with records of the office. ``records``: the table behind it all.
    """

    ids: pd.Index
    year: int
    histories: Histories
    office: Office
    lot: Ints
    put_in: Floats
    renewed: Flags
    present: Flags
    closeness: Floats
    neighborhood: Ints
    neighborhoods: tuple[str, ...]
    limits: Floats
    fitted_on: Flags
    factors: tuple[str, ...]
    of_system: Flags
    window: int
    records: pd.DataFrame

    @cached_property
    def limits_of_systems(self) -> Floats:
        """Limitations (m, factors) of the lot of each system."""
        return self.limits[self.lot]

    @property
    def now_system(self) -> Ints:
        """Return the present system of each lot (n,)."""
        return np.flatnonzero(self.present)

    @property
    def age_now(self) -> Ints:
        """Return the age of the present systems by the records (n,), yr."""
        return (self.year - self.put_in[self.now_system]).astype(np.int64)


def first_year(
    year_built: pd.Series, installed_year: pd.Series, permits: pd.DataFrame | None, year: int
) -> pd.Series:
    """Year of the first house or system of each lot; the county's median where nothing is known.

    Parameters
    ----------
    year_built, installed_year
        Index ``parcel_id``; NaN where unknown.
    permits
        Permits matched to parcels, or None.
    year
        Year of the run.
    """
    first = year_built.astype(float)
    if permits is not None:
        put_in = permits[permits["action"].isin(["new", "repair"])]
        when = pd.to_datetime(put_in["issued"]).fillna(pd.to_datetime(put_in["inspected"]))
        oldest = when.dt.year.groupby(put_in["parcel_id"].to_numpy()).min()
        first = pd.Series(np.fmin(first, oldest.reindex(first.index)), index=first.index)
    first = first.fillna(installed_year.astype(float))
    return first.fillna(first.median()).fillna(float(year)).clip(upper=year).round()


def lots_of(
    lots: pd.DataFrame,
    records: pd.DataFrame,
    limits: pd.DataFrame,
    *,
    year: int,
    passed_frac: float,
    of_system: tuple[str, ...] = (),
    fitted_on: Flags | None = None,
) -> Lots:
    """Bring a county's tables into the model's arrays.

    Parameters
    ----------
    lots
        Index ``parcel_id``; columns ``first_year``, ``year_built``, ``first_permit_year`` (of a new
        system, NaN for none), ``lot_m2``, ``neighborhood`` (any of the last four NaN where
        unknown).
    records
        Of :func:`riskmap.condition.records.records_on_file`.
    limits
        (lots, factors) limitations 0..1, none missing; index as `lots`.
    year, passed_frac
        Year of the run and the share of it that has passed.
    of_system
        Factors that are about the present system (its kind, its field), not of the place.
    fitted_on
        (n,) lots whose records the model is fitted to; None for all.

    Raises
    ------
    ValueError
        If `limits` has other rows than `lots`, or gaps.
    """
    if not limits.index.equals(lots.index) or limits.isna().to_numpy().any():
        raise ValueError("limits must have the lots' rows and no gaps.")
    used = records[records["unused"].isna() & (records["year"] <= year)]
    first = np.maximum(lots["first_year"].to_numpy(float), year - OLDEST_YR)
    begin = int(max(first.min(), year - LONGEST_YR + 1))
    where: Ints = lots.index.get_indexer(pd.Index(used["parcel_id"])).astype(np.int64)
    order = np.argsort(where, kind="stable")
    used = used.iloc[order]
    codes: Ints = used["kind"].map(KINDS).to_numpy().astype(np.int64)
    at: Ints = (used["year"].to_numpy(np.int64) - begin).astype(np.int64)
    at, kind, place, put_in = _on_axis(at, codes, where[order], first, begin)
    renews = kind <= REPAIR_KIND
    systems = 1 + np.bincount(place[renews], minlength=len(lots))
    system = np.concatenate([[0], np.cumsum(systems)])
    lot = np.repeat(np.arange(len(lots)), systems)
    renewed = np.ones(len(lot), dtype=bool)
    renewed[system[:-1]] = False
    year_in = np.empty(len(lot))
    year_in[~renewed] = put_in
    year_in[renewed] = at[renews] + begin
    entered = np.maximum(first, begin)
    histories = Histories(
        first=(entered - begin).astype(np.int64),
        age=np.maximum(entered - put_in, 0).astype(np.int64),
        system=system[:-1],
        start=np.searchsorted(place, np.arange(len(lots) + 1)),
        year=at,
        kind=kind,
    )
    size = np.log(lots["lot_m2"].to_numpy(float))
    closeness = np.nan_to_num(size - np.nanmean(size)) if np.isfinite(size).any() else 0 * size
    neighborhood, names = pd.factorize(lots["neighborhood"].astype(object).fillna("unknown"))
    office, window = _office(lots, used, begin, year, passed_frac)
    values = limits.to_numpy(float)
    return Lots(
        ids=lots.index,
        year=year,
        histories=histories,
        office=office,
        lot=lot,
        put_in=year_in,
        renewed=renewed,
        present=np.append(lot[1:] != lot[:-1], True),
        closeness=closeness,
        neighborhood=neighborhood.astype(np.int64),
        neighborhoods=tuple(map(str, names)),
        limits=values - values.mean(axis=0),
        fitted_on=np.ones(len(lots), bool) if fitted_on is None else fitted_on,
        factors=tuple(limits.columns),
        of_system=np.isin(limits.columns, of_system),
        window=window,
        records=records,
    )


def take(lots: Lots, rows: Ints) -> Lots:
    """Take some lots of a county, with the county's office, neighborhoods and means.

    Parameters
    ----------
    rows
        (k,) places of the lots, rising.
    """
    histories, m = lots.histories, len(lots.lot)
    records = _runs(histories.start[rows], histories.start[rows + 1])
    ends = np.append(histories.system[1:], m)
    systems = _runs(histories.system[rows], ends[rows])
    counts = ends[rows] - histories.system[rows]
    return replace(
        lots,
        ids=lots.ids[rows],
        histories=Histories(
            first=histories.first[rows],
            age=histories.age[rows],
            system=np.cumsum(counts) - counts,
            start=np.append(0, np.cumsum(histories.start[rows + 1] - histories.start[rows])),
            year=histories.year[records],
            kind=histories.kind[records],
        ),
        lot=np.repeat(np.arange(len(rows)), counts),
        put_in=lots.put_in[systems],
        renewed=lots.renewed[systems],
        present=lots.present[systems],
        closeness=lots.closeness[rows],
        neighborhood=lots.neighborhood[rows],
        limits=lots.limits[rows],
        fitted_on=lots.fitted_on[rows],
    )


def _runs(begin: Ints, end: Ints) -> Ints:
    """Whole numbers from each begin up to its end, one run after the other.

    >>> _runs(np.array([0, 5]), np.array([2, 8])).tolist()
    [0, 1, 5, 6, 7]
    """
    size = end - begin
    return np.repeat(begin - (np.cumsum(size) - size), size) + np.arange(size.sum())


def _on_axis(
    at: Ints, kind: Ints, place: Ints, first: Floats, begin: int
) -> tuple[Ints, Ints, Ints, Floats]:
    """Leave out what is older than the axis; the last renewal before it dates the system."""
    put_in = first.copy()
    older = at < 0
    renewals = older & (kind <= REPAIR_KIND)
    np.maximum.at(put_in, place[renewals], (at[renewals] + begin).astype(float))
    return at[~older], kind[~older], place[~older], put_in


def _office(
    lots: pd.DataFrame, used: pd.DataFrame, begin: int, year: int, passed_frac: float
) -> tuple[Office, int]:
    """Learn what the office keeps, and for how many years it has."""
    axis = np.arange(begin, year + 1)
    calls = _by_year(used[used["kind"].eq(COMPLAINT)], axis)
    kept = np.zeros(len(axis))
    if calls.any():
        since = np.argmax(calls > 0)
        typical = calls[since:].mean()
        kept[since:] = (calls[since:] > 0) | (typical < FEW_CALLS)
    passed = np.ones(len(axis))
    passed[-1] = passed_frac
    permits = np.ones(len(axis))
    permits[-1] = 0.0
    repairs = _by_year(used[used["kind"].eq(REPAIR)], axis)
    share = _share_on_file(lots, axis)
    share[repairs > 0] = np.maximum(share[repairs > 0], LEAST_SHARE)
    visited = _by_year(used[~used["kind"].isin([REPAIR, REPLACED])], axis)
    window = len(axis) - int(np.argmax(visited > 0)) if visited.any() else 0
    return Office(share, kept * passed, permits), window


def _by_year(records: pd.DataFrame, axis: Ints) -> Ints:
    at = records["year"].to_numpy(np.int64) - axis[0]
    return np.bincount(at[at >= 0], minlength=len(axis))


def _share_on_file(lots: pd.DataFrame, axis: Ints) -> Floats:
    """Share of permits put on file, by year: that of the houses of each decade with a first permit.

    Nothing is on file before the oldest permit.
    """
    built = lots["year_built"].to_numpy(float)
    permit = lots["first_permit_year"].to_numpy(float)
    share = np.zeros(len(axis))
    if not np.isfinite(permit).any():
        return share
    held, worth = ON_FILE
    on_file = (permit >= built - 1) & (permit <= built + PERMIT_LATE_YR)
    for decade in np.unique(axis // 10):
        houses = built // 10 == decade
        years = axis // 10 == decade
        share[years] = (on_file[houses].sum() + held * worth) / (houses.sum() + worth)
    share[axis < np.nanmin(permit)] = 0.0
    return share
