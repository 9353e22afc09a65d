"""The ledger: how the log odds that a system has failed come about, as a sum anyone can add up.

It begins with the present system as if nothing were on file: the county's base, its age, each
factor of the model. Then comes what was on file before the first record about it, then its records
in order of time, with the time passed between them. The terms are differences of the very log odds
that the filter goes through, so they add up; they are rounded as running totals, so they still do
when printed. What a factor adds depends on those before it; they come in the model's order.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final, NamedTuple

import numpy as np
import pandas as pd

from riskmap.condition.fit import Fit
from riskmap.condition.lots import KINDS, Lots
from riskmap.condition.model import Point, point_at
from riskmap.condition.parameters import NAMES
from riskmap.condition.records import COMPLAINT, RENEWALS, record_words
from riskmap.condition.years import (
    CALLS,
    KEEPS,
    MEND_EARLY,
    MEND_FOUND,
    MEND_HIDDEN,
    REPAIR,
    SHARE_SHIFT,
    Floats,
    Terms,
    no_renewal,
    pace_of,
    renew,
    stay_chances,
    strain_of,
    wear_on,
    weigh,
)
from riskmap.contract.compiled import compiled

DIGITS: Final = 2
LEAST_PART: Final = 0.1
"""Log odds from which a part is named as one that raises the chance."""
MOST_PARTS: Final = 3
COLUMNS: Final = ("parcel_id", "what", "words", "log_odds", "total")
WHATS: Final = ("base", "age", "factor", "neighborhood", "earlier", "record", "time")


class Step(NamedTuple):
    """Log odds after a step of the filter; ``record`` is a row of the lot's records, or -1."""

    year: int
    record: int
    log_odds: float


def ledger(fit: Fit, parcels: Iterable[str], labels: Sequence[str]) -> pd.DataFrame:
    """Ledgers of some lots.

    Parameters
    ----------
    fit
        Of :func:`riskmap.condition.fit.fit`.
    parcels
        Parcel numbers.
    labels
        Words for each of the model's factors, in their order.

    Returns
    -------
    DataFrame
        A row per term: ``parcel_id``; ``what``: one of :data:`WHATS`; ``words``; ``log_odds``: the
        term; ``total``: the sum so far. The last total of a lot is its log odds of having failed,
        rounded.

    Raises
    ------
    KeyError
        If a parcel is not among the fitted lots.
    """
    point = point_at(fit.model, fit.theta)
    lots = fit.model.lots
    used = lots.records[lots.records["unused"].isna()]
    of_lot = dict(tuple(used.groupby("parcel_id", sort=False)))
    nothing = used.iloc[:0]
    tables = []
    for parcel in parcels:
        i = int(lots.ids.get_indexer(pd.Index([parcel]))[0])
        if i < 0:
            raise KeyError(parcel)
        rows = _rows(fit, point, i, of_lot.get(parcel, nothing), labels)
        tables.append(_table(parcel, rows))
    return pd.concat(tables, ignore_index=True)[list(COLUMNS)]


def strongest_parts(ledgers: pd.DataFrame) -> pd.Series:
    """Tell what raises the odds of each lot most, besides its records; index ``parcel_id``.

    Parts of the site and the system that raise the odds by at least a tenth, the strongest first.
    """
    of_system = ledgers["what"].isin(["age", "factor", "neighborhood"])
    raising = ledgers[of_system & (ledgers["log_odds"].astype(float) >= LEAST_PART)]
    raising = raising.sort_values("log_odds", ascending=False, kind="stable")
    first = raising.groupby("parcel_id", sort=False).head(MOST_PARTS)
    words: pd.Series = first["words"] + [f" ({odds_words(t)})" for t in first["log_odds"]]
    told: pd.Series = words.groupby(first["parcel_id"], sort=False).agg("; ".join)
    return told


def odds_words(log_odds: float) -> str:
    """Say in plain words by how much something raises the odds.

    >>> odds_words(0.4), odds_words(0.7), odds_words(1.3)
    ('raises the odds by 50%', 'doubles the odds', 'makes the odds 3.7 times as high')
    """
    times = float(np.exp(log_odds))
    if times < 1.9:
        return f"raises the odds by {round(10 * (times - 1)) * 10}%"
    if round(times, 1) in (1.9, 2.0, 2.1):
        return "doubles the odds"
    return f"makes the odds {times:.1f} times as high"


def _table(parcel: str, rows: list[tuple[str, str, float]]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["what", "words", "total"])
    table["total"] = table["total"].round(DIGITS)
    table["log_odds"] = table["total"].diff().fillna(table["total"]).round(DIGITS)
    moved = table["log_odds"].ne(0) | table["what"].isin(["base", "record"])
    return table[moved].assign(parcel_id=parcel)


def _rows(
    fit: Fit, point: Point, i: int, records: pd.DataFrame, labels: Sequence[str]
) -> list[tuple[str, str, float]]:
    """Terms of a lot as running totals."""
    lots = fit.model.lots
    records = records[records["year"].between(_axis_begin(lots), lots.year)]
    steps = list(path(lots, point.terms, i))
    renewals = np.flatnonzero(records["kind"].isin(RENEWALS))
    present = int(renewals[-1]) + 1 if len(renewals) else 0
    since = next((n for n, step in enumerate(steps) if step.record >= present), len(steps))
    until = steps[since].year if since < len(steps) else lots.year
    rows = _system_rows(fit, point, i, until, labels)
    rows.append(("earlier", _earlier_words(records.iloc[:present]), steps[since - 1].log_odds))
    last, level = until, steps[since - 1].log_odds
    for step in steps[since:]:
        if step.record >= 0:
            record = records.iloc[step.record]
            if step.year > last:
                rows.append(("time", _time_words(step.year - last), level))
            rows.append(("record", record_words(record["kind"], record["date"]), step.log_odds))
            last = step.year
        level = step.log_odds
    if since < len(steps):
        rows.append(("time", _time_words(lots.year - last), level))
    return rows


def _axis_begin(lots: Lots) -> int:
    return lots.year - len(lots.office.share) + 1


def path(lots: Lots, terms: Terms, i: int) -> Iterator[Step]:
    """Go the filter's way through the years of lot i, step by step.

    The same steps in the same order as :func:`riskmap.condition.follow.follow`, one lot at a time.
    """
    histories, office, rates = lots.histories, lots.office, terms.rates
    years, k = len(office.share), len(terms.nodes)
    strain, load, stay = np.empty(k), np.empty((k, 3)), np.empty((k, 6))
    pace = pace_of(terms)
    system, age, found = histories.system[i], histories.age[i], False
    strain_of(terms, system, strain, load)
    x = np.zeros((k, 5))
    x[:, 0] = terms.weight
    record = histories.start[i]
    for t in range(histories.first[i], years):
        year = _axis_begin(lots) + t
        factor = float(np.exp(terms.year_wear[t]))
        stay_chances(terms, pace, load, age, factor, False, stay)
        wear_on(x, stay, t == histories.first[i])
        end = record + int(
            np.searchsorted(histories.year[record : histories.start[i + 1]], t, "right")
        )
        kinds = histories.kind[record:end]
        silent = KINDS[COMPLAINT] not in kinds
        rate = np.exp(rates[CALLS:] + terms.log_calls[i] + terms.year_calls[t]) * office.calls[t]
        if silent:
            weigh(x, np.exp(-rate))
        yield Step(year, -1, _log_odds(x))
        share = _share(office.share[t], rates[SHARE_SHIFT])
        heard = renewed = False
        for r, kind in enumerate(kinds, start=record):
            mend = rates[MEND_FOUND] if found else rates[MEND_HIDDEN]
            if kind == KINDS[COMPLAINT] and not heard and office.calls[t] > 0:
                weigh(x, -np.expm1(-rate))
                heard = True
            elif kind >= 0:
                weigh(x, terms.signs[kind])
                found |= bool(terms.tells[kind])
            elif kind <= REPAIR:
                early, keeps = rates[MEND_EARLY], rates[KEEPS]
                renew(x, kind == REPAIR, mend, early, share, keeps, terms.weight)
                system, age, found, renewed = system + 1, 0, False, True
                strain_of(terms, system, strain, load)
                stay_chances(terms, pace, load, 0, factor, False, stay)
                wear_on(x, stay, True)
            yield Step(year, r - int(histories.start[i]), _log_odds(x))
        if not renewed:
            mend = rates[MEND_FOUND] if found else rates[MEND_HIDDEN]
            no_renewal(x, mend, rates[MEND_EARLY], share, office.permits[t], t == years - 1)
            yield Step(year, -1, _log_odds(x))
        x /= x.sum()
        age += 1
        record = end


def _share(share: float, shift: float) -> float:
    return 0.0 if share <= 0 else float(1.0 / (1.0 + (1.0 - share) / share * np.exp(-shift)))


def _log_odds(x: Floats) -> float:
    failed = x[:, 3:].sum()
    return float(np.log(failed) - np.log(x[:, :3].sum()))


def _system_rows(
    fit: Fit, point: Point, i: int, until: int, labels: Sequence[str]
) -> list[tuple[str, str, float]]:
    """Log odds of the present system in a year if nothing were on file, built up term by term."""
    lots, theta = fit.model.lots, fit.theta
    system = int(lots.now_system[i])
    parts = lots.limits[i] * point.reach[system] * point.effects
    modern = theta[NAMES.index("modern")] * point.modern[system]
    renewed = theta[NAMES.index("renewed")] * lots.renewed[system]
    place = theta[fit.model.part("place_wear")][lots.neighborhood[i]]
    order = np.argsort(-np.abs(parts), kind="stable")
    what = ["base", "age", "factor", *("factor" for _ in order), "neighborhood"]
    put_in = int(lots.put_in[system])
    words = [
        "any system of the county",
        f"{until - put_in} years old in {until}" if until > put_in else f"put in in {put_in}",
        "put in again" if lots.renewed[system] else f"built by the codes of {put_in}",
        *(labels[f] for f in order),
        f"neighborhood {lots.neighborhoods[lots.neighborhood[i]]}",
    ]
    hazard = np.cumsum([0.0, 0.0, modern + renewed, *parts[order], place])
    typical = int(np.median(lots.age_now))
    age = np.array([typical] + [until - put_in] * (len(hazard) - 1))
    totals = np.empty(len(hazard))
    years = len(lots.office.share)
    last = years - 1 - (lots.year - until)
    terms = point.terms._replace(log_hazard=hazard)
    _unrecorded(terms, age, last, totals)
    return list(zip(what, words, totals.tolist(), strict=True))


@compiled
def _unrecorded(terms: Terms, age: Floats, last: int, log_odds: Floats) -> None:
    """Log odds of having failed at an age, in a year of the axis, of systems with nothing on file.

    Nothing is held against them either: an office that keeps no record.
    """
    k = len(terms.nodes)
    strain = np.empty(k)
    load = np.empty((k, 3))
    stay = np.empty((k, 6))
    x = np.empty((k, 5))
    pace = pace_of(terms)
    for i in range(len(age)):
        strain_of(terms, i, strain, load)
        x[:] = 0.0
        for j in range(k):
            x[j, 0] = terms.weight[j]
        begin = max(last - age[i], 0)
        for t in range(begin, last + 1):
            factor = np.exp(terms.year_wear[t])
            stay_chances(terms, pace, load, t - last + age[i], factor, False, stay)
            wear_on(x, stay, t == begin)
            if t < last:
                no_renewal(x, terms.rates[MEND_HIDDEN], terms.rates[MEND_EARLY], 0.0, 1.0, False)
        failed = 0.0
        for j in range(k):
            failed += x[j, 3] + x[j, 4]
        log_odds[i] = np.log(failed) - np.log(x.sum() - failed)


def _time_words(years: int) -> str:
    if years == 0:
        return "nothing more that year"
    return f"{years} year{'s' if years > 1 else ''} since, nothing else on file"


def _earlier_words(records: pd.DataFrame) -> str:
    """Tell what was on file of the lot's earlier systems, and the silence since."""
    if not len(records):
        return "nothing on file until then"
    counts = records["kind"].value_counts(sort=False)
    told = ", ".join(f"{number} x {kind}" for kind, number in counts.items())
    return f"earlier systems on the lot ({told}); nothing else until then"
