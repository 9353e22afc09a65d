"""Compares a run with the last: who moved, by how much, and why.

The change of a score is split exactly into what time did (the old records, aged), what new data
did, what changed curves did and what changed weights did. Where limitation and weight change
together, each is counted at the mean of the other (Shapley's rule for two), so nothing is left
over.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from riskmap.ranking.curves import limitation
from riskmap.ranking.model import SCORES, Model

CAUSES: Final = ("time", "data", "curves", "weights")
CAUSE_WORDS: Final = {
    "time": "time passed",
    "data": "records changed",
    "curves": "the model's curves changed",
    "weights": "the model's weights changed",
}
SHARES: Final = "(shares of the two scores)"
AGING: Final = ("age_yr", "years_since_pumped_yr")
"""Features that grow by a year a year without anything having happened."""


@dataclass(frozen=True)
class Drift:
    """Result of :func:`compare_runs`.

    ``parts``: rows (parcel, factor) that changed the score, columns :data:`CAUSES`, in points;
    their sum over factors and causes is the parcel's change exactly. ``moves``: by parcel in both
    runs, ``score_before, score_after, change, rank_before, rank_after, time, data, curves,
    weights, main_factor, main_cause``. ``came`` and ``went``: parcels in one run only. ``joined``
    and ``left``: parcels that came onto the list or off it.
    """

    parts: pd.DataFrame
    moves: pd.DataFrame
    came: pd.Index
    went: pd.Index
    joined: pd.Index
    left: pd.Index
    words: tuple[str, ...]


def compare_runs(
    before: pd.DataFrame,
    after: pd.DataFrame,
    *,
    model_before: Model,
    model_after: Model,
    years: float,
    top: int,
    score: str = "failure",
    aged: pd.DataFrame | None = None,
) -> Drift:
    """Explain the change of one score between two runs.

    Parameters
    ----------
    before, after
        Inventory rows of the ranked systems, indexed by parcel.
    model_before, model_after
        The scoring models of the two runs.
    years
        Time between the runs.
    top
        Length of the list.
    score
        ``failure`` or ``groundwater``.
    aged
        The old records as time alone would have them now; :func:`age_records` if not given.
    """
    both = before.index.intersection(after.index)
    aged = age_records(before, years) if aged is None else aged
    limits = {
        "before": _limits(before, model_before, score),
        "time": _limits(aged, model_before, score),
        "data": _limits(after, model_before, score),
        "after": _limits(after, model_after, score),
    }
    weights = _weights(model_before, score), _weights(model_after, score)
    scores = _score(limits["before"], weights[0]), _score(limits["after"], weights[1])
    parts = _split({name: table.loc[both] for name, table in limits.items()}, *weights)
    return _drift(parts, scores[0], scores[1], top)


def compare_priorities(
    before: pd.DataFrame,
    after: pd.DataFrame,
    *,
    model_before: Model,
    model_after: Model,
    years: float,
    top: int,
    aged: pd.DataFrame | None = None,
) -> Drift:
    """Explain the change of the priority between two runs; as exact as :func:`compare_runs`.

    The points of both scores count at the mean of their shares in the two models; what a change
    of the shares themselves moves counts at the mean of the old and new score, as a change of
    weights under the name :data:`SHARES`.

    Parameters
    ----------
    before, after, model_before, model_after, years, top, aged
        As in :func:`compare_runs`.
    """
    aged = age_records(before, years) if aged is None else aged
    parts: list[pd.DataFrame] = []
    totals = [pd.Series(0.0, index=table.index) for table in (before, after)]
    moved = pd.Series(0.0, index=before.index.intersection(after.index))
    for kind in SCORES:
        one = compare_runs(
            before, after, model_before=model_before, model_after=model_after, years=years,
            top=top, score=kind, aged=aged,
        )  # fmt: skip
        old, new = model_before.share(kind), model_after.share(kind)
        parts.append(one.parts * (old + new) / 2)
        whole = (
            _score(_limits(before, model_before, kind), _weights(model_before, kind)),
            _score(_limits(after, model_after, kind), _weights(model_after, kind)),
        )
        totals = [totals[0] + old * whole[0], totals[1] + new * whole[1]]
        moved += (new - old) * (whole[0].loc[moved.index] + whole[1].loc[moved.index]) / 2
    shift = pd.DataFrame(dict.fromkeys(CAUSES, 0.0), index=moved.index).assign(weights=moved)
    shift.index = pd.MultiIndex.from_product([moved.index, [SHARES]], names=["parcel_id", "factor"])
    parts.append(shift[shift["weights"] != 0])
    return _drift(pd.concat([p for p in parts if len(p)] or parts[:1]), totals[0], totals[1], top)


def _drift(parts: pd.DataFrame, before: pd.Series, after: pd.Series, top: int) -> Drift:
    """Put parts and scores of both runs together."""
    both = before.index.intersection(after.index)
    moves = _moves(parts, before, after, both)
    lists = [
        set(one.sort_values(ascending=False, kind="stable").index[:top]) for one in (before, after)
    ]
    joined = pd.Index(sorted(lists[1] - lists[0], key=str))
    left = pd.Index(sorted(lists[0] - lists[1], key=str))
    came, went = after.index.difference(before.index), before.index.difference(after.index)
    return Drift(parts, moves, came, went, joined, left, _words(moves, joined, left, top))


def age_records(features: pd.DataFrame, years: float) -> pd.DataFrame:
    """Return the records as they would be after some years in which nothing else happened."""
    grown = {name: features[name] + years for name in AGING if name in features}
    return features.assign(**grown)


def _limits(features: pd.DataFrame, model: Model, score: str) -> pd.DataFrame:
    """Limitations with the model's own in place of the unknown."""
    columns = {
        factor.name: np.where(np.isnan(found), factor.unknown, found)
        for factor in model.of(score)
        for found in [limitation(factor, features[factor.feature])]
    }
    return pd.DataFrame(columns, index=features.index)


def _weights(model: Model, score: str) -> pd.Series:
    """Points per unit of limitation."""
    return pd.Series({f.name: f.weight * model.scale(score) for f in model.of(score)})


def _score(limits: pd.DataFrame, weights: pd.Series) -> pd.Series:
    return limits.mul(weights).sum(axis=1)


def _split(
    limits: dict[str, pd.DataFrame], weights_before: pd.Series, weights_after: pd.Series
) -> pd.DataFrame:
    """Points per parcel, factor and cause. A factor only one model has changes by its weight."""
    names = weights_before.index.union(weights_after.index, sort=False)
    old, new = (w.reindex(names, fill_value=0.0) for w in (weights_before, weights_after))
    first, last = limits["before"], limits["after"]
    steps = {name: table.reindex(columns=names) for name, table in limits.items()}
    for name in names.difference(first.columns):
        for step in ("before", "time", "data"):
            steps[step][name] = last[name]
    for name in names.difference(last.columns):
        steps["after"][name] = steps["data"][name]
    mean_weight = (old + new) / 2
    found = {
        "time": (steps["time"] - steps["before"]) * mean_weight,
        "data": (steps["data"] - steps["time"]) * mean_weight,
        "curves": (steps["after"] - steps["data"]) * mean_weight,
        "weights": (steps["before"] + steps["after"]) / 2 * (new - old),
    }
    table = pd.DataFrame({cause: part.stack() for cause, part in found.items()})
    table.index.names = ["parcel_id", "factor"]
    return table[(table != 0).any(axis=1)]


def _moves(
    parts: pd.DataFrame, before: pd.Series, after: pd.Series, both: pd.Index
) -> pd.DataFrame:
    by_cause = parts.groupby(level="parcel_id").sum().reindex(both, fill_value=0.0)
    table = pd.DataFrame(
        {
            "score_before": before.reindex(both),
            "score_after": after.reindex(both),
            "rank_before": before.rank(ascending=False, method="min").reindex(both),
            "rank_after": after.rank(ascending=False, method="min").reindex(both),
        }
    )
    table.insert(2, "change", table["score_after"] - table["score_before"])
    table = table.join(by_cause)
    main = _main_cause(parts).reindex(both).fillna("")
    table["main_factor"], table["main_cause"] = main["factor"], main["cause"]
    return table


def _main_cause(parts: pd.DataFrame) -> pd.DataFrame:
    """Columns ``factor, cause`` of the greatest part of each parcel's change."""
    long = parts.reset_index().melt(["parcel_id", "factor"], var_name="cause", value_name="points")
    long["size"] = long["points"].abs()
    greatest = long.sort_values("size", ascending=False, kind="stable")
    return greatest.drop_duplicates("parcel_id").set_index("parcel_id")[["factor", "cause"]]


def _words(moves: pd.DataFrame, joined: pd.Index, left: pd.Index, top: int) -> tuple[str, ...]:
    changed = int((moves["change"].abs() > 0.5).sum())
    effort = moves[list(CAUSES)].abs().mean()
    sentences = [
        f"{changed:,} of {len(moves):,} systems in both runs changed by more than half a point.",
        f"{len(joined):,} came onto the list of {top:,}, {len(left):,} left it.",
    ]
    if effort.sum() > 0:
        main = str(effort.idxmax())
        share = 100 * float(effort[main] / effort.sum())
        sentences.append(f"Mostly because {CAUSE_WORDS[main]} ({share:.0f}% of all change).")
    return tuple(sentences)
