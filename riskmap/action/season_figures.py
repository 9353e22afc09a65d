"""What a season found against what was expected, and the county's share of failed systems.

Intervals of shares are Clopper and Pearson's (1934, Biometrika 26:404); of shares from visits
drawn with unequal chances the same with the effective number of visits (Korn and Graubard 1998,
Survey Methodology 24:193); of counts Garwood's (1936, Biometrika 28:437). The share itself weighs
each visit by the inverse of its chance to be drawn (Horvitz and Thompson 1952).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy import stats

from riskmap.action.aims import FAILED
from riskmap.contract.arrays import Floats
from riskmap.contract.visits import COULD_NOT_TELL, VISIT_REASONS

LEVEL: Final = 0.95
"""Share of seasons whose interval holds the truth."""
FEW: Final = 5
"""Reasons with fewer visits are not told apart."""


@dataclass(frozen=True)
class Share:
    """A share with the ends of its interval; all NaN where nothing tells."""

    share: float
    low: float
    high: float


def share_of(
    failed: Sequence[bool] | np.ndarray, weight: Floats | None = None, *, of: float = np.inf
) -> Share:
    """Share of failed systems with its interval.

    Parameters
    ----------
    failed
        (n,) what each visit found.
    weight
        (n,) inverse of the chance to be drawn; None: all alike.
    of
        Systems that there are: drawing most of them leaves little doubt.

    Returns
    -------
    Share
        By inverse probability.

    Examples
    --------
    >>> found = share_of([True] * 3 + [False] * 27)
    >>> round(found.share, 3), round(found.low, 3), round(found.high, 3)
    (0.1, 0.021, 0.265)
    """
    told = np.asarray(failed, dtype=float)
    if not len(told):
        return Share(np.nan, np.nan, np.nan)
    weights = np.ones(len(told)) if weight is None else np.asarray(weight, float)
    share = float((weights * told).sum() / weights.sum())
    if len(told) >= of:
        return Share(share, share, share)
    effective = float(weights.sum() ** 2 / (weights**2).sum()) / (1.0 - len(told) / of)
    hits, tail = share * effective, (1.0 - LEVEL) / 2
    low = 0.0 if hits <= 0 else float(stats.beta.ppf(tail, hits, effective - hits + 1))
    high = 1.0 if share >= 1 else float(stats.beta.ppf(1 - tail, hits + 1, effective - hits))
    return Share(share, low, high)


def ratio_to_expected(found: int, expected: float) -> Share:
    """Found over expected, with the interval of a count.

    >>> told = ratio_to_expected(10, 8.0)
    >>> round(told.share, 2), round(told.low, 2), round(told.high, 2)
    (1.25, 0.6, 2.3)
    """
    if expected <= 0:
        return Share(np.nan, np.nan, np.nan)
    tail = (1.0 - LEVEL) / 2
    low = stats.chi2.ppf(tail, 2 * found) / 2 if found else 0.0
    high = stats.chi2.ppf(1 - tail, 2 * (found + 1)) / 2
    return Share(found / expected, float(low) / expected, float(high) / expected)


def by_visit(visits: pd.DataFrame) -> pd.DataFrame:
    """Count visits and finds by why one went there.

    Parameters
    ----------
    visits
        Columns ``visit``, ``found`` and ``chance``, a row a visit.

    Returns
    -------
    DataFrame
        Index: why, as declared; ``visits``, ``told`` (that could tell), ``failed``, ``expected``,
        ``hits``, ``hits_low``, ``hits_high`` (failed per 100 visits that could tell), ``ratio``,
        ``ratio_low``, ``ratio_high`` (failed over expected).
    """
    rows = {}
    for why in VISIT_REASONS:
        own = visits[visits["visit"] == why]
        told = own[_told(own)]
        failed = told["found"].eq(FAILED).to_numpy(dtype=bool)
        hits = share_of(failed)
        expected = float(told["chance"].sum())
        ratio = ratio_to_expected(int(failed.sum()), expected)
        rows[why] = {
            "visits": len(own), "told": len(told), "failed": int(failed.sum()),
            "expected": expected, "hits": 100 * hits.share, "hits_low": 100 * hits.low,
            "hits_high": 100 * hits.high, "ratio": ratio.share, "ratio_low": ratio.low,
            "ratio_high": ratio.high,
        }  # fmt: skip
    return pd.DataFrame(rows).T


def by_reason(visits: pd.DataFrame) -> pd.DataFrame:
    """Say what each leading reason was worth on visits from the list.

    Returns
    -------
    DataFrame
        Index: reason; ``told``, ``failed``, ``hits``, ``hits_low``, ``hits_high``; the most
        frequent first. Reasons of fewer than :data:`FEW` visits stand together as "other reasons".
    """
    told = visits[_told(visits) & visits["visit"].eq("list").to_numpy(dtype=bool)]
    reasons = told["reason_1"].astype(object).fillna("no reason stands out").map(_head)
    count = reasons.map(reasons.value_counts())
    reasons = reasons.where(count >= FEW, "other reasons")
    rows = {}
    for reason, own in told.groupby(reasons):
        failed = own["found"].eq(FAILED).to_numpy(dtype=bool)
        hits = share_of(failed)
        rows[str(reason)] = {
            "told": len(own), "failed": int(failed.sum()), "hits": 100 * hits.share,
            "hits_low": 100 * hits.low, "hits_high": 100 * hits.high,
        }  # fmt: skip
    columns = ["told", "failed", "hits", "hits_low", "hits_high"]
    table = pd.DataFrame.from_dict(rows, orient="index", columns=columns)
    return table.sort_values("told", ascending=False, kind="stable")


def county_share(visits: pd.DataFrame, *, systems: int) -> Share:
    """Share of the county's systems that are failed, by the visits that were drawn at random.

    Each system had the same chance to be drawn, so each visit stands for as many systems. Visits
    that could not tell are left out: right as far as those systems fail as often as the others.
    """
    audit = visits[visits["visit"].eq("audit").to_numpy(dtype=bool) & _told(visits)]
    failed = audit["found"].eq(FAILED).to_numpy(dtype=bool)
    weight = np.full(len(audit), systems / max(1, len(audit)))
    return share_of(failed, weight, of=systems)


def _told(visits: pd.DataFrame) -> np.ndarray:
    return (visits["found"].notna() & visits["found"].ne(COULD_NOT_TELL)).to_numpy(dtype=bool)


def _head(reason: object) -> str:
    """Reason without its numbers, so that alike ones stand together.

    >>> _head("Field 31 years old"), _head("Wet ground at 12 in")
    ('Field … years old', 'Wet ground at … in')
    """
    words = str(reason).split()
    return " ".join("…" if any(sign.isdigit() for sign in word) else word for word in words)
