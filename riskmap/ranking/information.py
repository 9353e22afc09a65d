"""What to find out next, and which weight matters.

The value of a record is the number of true top parcels that the list would gain if the record were
collected for one parcel, on average over what it might be (expected value of partial perfect
information; Raiffa and Schlaifer 1961). The list is taken to hold the parcels most likely to be in
the true top. What a record would add to knowledge of the score is its regression on the record over
the draws (Strong, Oakley and Brennan 2014), so that a record is credited with all that follows from
it and with nothing else. Learning of one parcel leaves the others as they are, which understates
the value a little; a record is taken to be exact, which overstates it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.stats import rankdata

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.chunks import map_chunks, spans
from riskmap.contract.compiled import compiled
from riskmap.contract.features import declared
from riskmap.ranking.draws import Plan
from riskmap.ranking.model import SCORES, Model
from riskmap.ranking.uncertainty import Doubt, draw_limits

BLOCK: Final = 256
TINY: Final = 1e-9
SURE: Final = 0.005
"""A parcel whose chance is nearer than this to 0 or 1 is not looked at: nothing would move it."""


@dataclass(frozen=True)
class LookUp:
    """A record that a county could look up: what it gives and what it costs.

    ``features`` are what would be known: records that scenarios draw, or features of the model,
    each where the doubt has it; ``minutes`` is the work of one look-up or visit (an assumption a
    county should replace).
    """

    name: str
    label: str
    features: tuple[str, ...]
    minutes: float


def _look_up(name: str, label: str, minutes: float, *drawn: str) -> LookUp:
    """Make the look-up that the columns name as ``lookup``; `drawn` records come with it."""
    return LookUp(
        name, label, (*drawn, *(column.name for column in declared(lookup=name))), minutes
    )


LOOK_UPS: Final = (
    _look_up("install_year", "year of installation from the permit file", 10),
    _look_up("pump_out", "last pump-out from the hauler's reports", 10),
    _look_up("occupants", "number of people, by asking", 15, "persons"),
    _look_up("kind", "kind of system from the permit file", 10),
    _look_up("field_area", "size of the field from the permit drawing", 15),
    _look_up("well_log", "driller's log of the well", 20),
    _look_up("soil_check", "hand auger at the field by a licensed soil evaluator", 90),
    _look_up("site_visit", "visit to the field", 60),
)
"""Common look-ups; the minutes are assumptions of this project, no source."""


def record_values(
    doubt: Doubt, model: Model, records: Sequence[LookUp] = LOOK_UPS, *, kind: str = "priority"
) -> pd.DataFrame:
    """Value of each record for each parcel.

    Parameters
    ----------
    doubt
        From :func:`riskmap.ranking.uncertainty.propagate`.
    model
        The scoring model that it was made with.
    records
        Records that could be looked up.
    kind
        ``failure_score``, ``groundwater_score`` or ``priority``: the score that orders the list.

    Returns
    -------
    DataFrame
        Indexed like the doubt's table, one column per record that gives at least one factor of
        the model: expected gain in true top parcels on the list. 0 where nothing can be gained.
    """
    known = {r.name: _known(r, doubt, model) for r in records}
    known = {name: given for name, given in known.items() if given.any}
    chance = doubt.table[f"{kind}_top_chance"].to_numpy()
    gains = np.zeros((len(chance), len(known)))
    rows = np.flatnonzero((chance > SURE) & (chance < 1 - SURE))
    rivals = _rivals(chance, doubt.top)

    def work(span: slice) -> None:
        part = rows[span]
        limits = draw_limits(doubt.plan, part, seed=doubt.seed)
        scores = _scores(doubt.plan, limits, part, kind)
        need = _needed(scores, doubt.cuts[kind])
        for column, given in enumerate(known.values()):
            known_part = explained(scores, given.columns(limits, part))
            gains[part, column] = _gain(known_part, need + known_part, rivals[part])

    map_chunks(work, spans(len(rows), BLOCK))
    return pd.DataFrame(gains, index=doubt.table.index, columns=list(known))


def collection_list(
    values: pd.DataFrame, records: Sequence[LookUp] = LOOK_UPS, *, look_ups: int = 100
) -> pd.DataFrame:
    """Rank the records by what an hour of collecting them brings.

    Parameters
    ----------
    values
        From :func:`record_values`.
    records
        The records that were valued.
    look_ups
        How many look-ups of each record are counted, those of the greatest value first.

    Returns
    -------
    DataFrame
        Best first, with columns ``record, label, parcels`` (with something to gain), ``gain``
        (true top parcels won by the first `look_ups`), ``gain_per_100, minutes, gain_per_hour``.
    """
    rows = []
    for record in records:
        if record.name not in values:
            continue
        column = np.sort(values[record.name].to_numpy())[::-1][:look_ups]
        done = max(int((column > 0).sum()), 1)
        gain = float(column.sum())
        rows.append(
            {
                "record": record.name,
                "label": record.label,
                "parcels": int((values[record.name] > 0).sum()),
                "gain": gain,
                "gain_per_100": 100 * gain / done,
                "minutes": record.minutes,
                "gain_per_hour": gain / done * 60 / record.minutes,
            }
        )
    table = pd.DataFrame(rows)
    return table.sort_values("gain_per_hour", ascending=False, kind="stable", ignore_index=True)


def weight_sensitivity(limits: pd.DataFrame, model: Model, *, top: int) -> pd.DataFrame:
    """How far the ranking moves when one weight goes to an end of its bounds.

    Parameters
    ----------
    limits
        (n, factors) limitations, the unknown replaced; columns named like the factors.
    top
        Length of the list.

    Returns
    -------
    DataFrame
        One row per factor and end, greatest change of the list first: ``factor, weight, moved_to,
        rank_correlation`` (Spearman) and ``kept`` (share of the list that stays).
    """
    base = _priority(limits, model)
    rows = []
    for factor in model.factors:
        for end in (factor.low, factor.high):
            if end == factor.weight or _sum_without(model, factor.score, factor.name) + end <= 0:
                continue
            moved = _priority(limits, model.with_weights({factor.name: end}))
            rows.append(
                {
                    "factor": factor.name,
                    "weight": factor.weight,
                    "moved_to": end,
                    "rank_correlation": _spearman(base, moved),
                    "kept": _overlap(base, moved, top),
                }
            )
    columns = ["factor", "weight", "moved_to", "rank_correlation", "kept"]
    table = pd.DataFrame(rows, columns=columns)
    return table.sort_values(["kept", "rank_correlation"], kind="stable", ignore_index=True)


@dataclass(frozen=True)
class _Known:
    """What a record gives: ``places`` of factors, and ``drawn`` records (n, scenarios)."""

    places: Whole
    drawn: tuple[npt.NDArray[np.float32], ...]

    @property
    def any(self) -> bool:
        return bool(len(self.places) or self.drawn)

    def columns(self, limits: npt.NDArray[np.float32], rows: Whole) -> Floats:
        """Numbers to regress on, (rows, k, draws): limitations, drawn records and their squares."""
        draws = limits.shape[2]
        parts = [limits[:, self.places].astype(float)]
        for record in self.drawn:
            values = record[rows].astype(float)
            line = values - values.mean(axis=1, keepdims=True)
            both = np.stack([line, line**2], axis=1)
            parts.append(both[:, :, np.arange(draws) % record.shape[1]])
        return np.concatenate(parts, axis=1)


def _known(record: LookUp, doubt: Doubt, model: Model) -> _Known:
    drawn = {} if doubt.outcomes is None else doubt.outcomes.records
    names = [factor.feature for factor in model.factors]
    places = [k for k, name in enumerate(names) if name in record.features and name not in drawn]
    found = tuple(drawn[name] for name in record.features if name in drawn)
    return _Known(np.array(places, int), found)


def explained(scores: Floats, columns: Floats) -> Floats:
    """Part of each row's scores (rows, draws) that `columns` (rows, k, draws) explain linearly.

    Least squares row by row; columns that do not vary explain nothing.

    >>> explained(np.array([[1.0, 3.0]]), np.array([[[0.0, 1.0]]])).tolist()
    [[-1.0, 1.0]]
    """
    centerd = columns - columns.mean(axis=2, keepdims=True)
    size = centerd.std(axis=2, keepdims=True)
    centerd = np.divide(centerd, size, out=np.zeros_like(centerd), where=size > TINY)
    inner = centerd @ centerd.swapaxes(1, 2) / columns.shape[2]
    outer = np.einsum("rkd,rd->rk", centerd, scores) / columns.shape[2]
    slopes = np.einsum("rkl,rl->rk", np.linalg.pinv(inner, rcond=1e-6, hermitian=True), outer)
    return np.asarray(np.einsum("rkd,rk->rd", centerd, slopes))


def _rivals(chance: Floats, top: int) -> Floats:
    """Chance that each parcel has to beat to be on the list, (n,).

    A parcel off the list must beat the weakest on it; one on the list the strongest off it.
    """
    order = np.argsort(-chance, kind="stable")
    rival = np.empty(len(chance))
    on, off = order[:top], order[top:]
    rival[off] = chance[on[-1]] if len(on) else 0.0
    rival[on] = chance[off[0]] if len(off) else 0.0
    return rival


def _scores(plan: Plan, limits: npt.NDArray[np.float32], rows: Whole, kind: str) -> Floats:
    """Score of the chosen kind in every draw: (rows, draws)."""
    points = 100.0 * plan.weight * limits
    failure = points[:, plan.failure].sum(axis=1)
    water = points[:, ~plan.failure].sum(axis=1)
    if kind == "priority" and plan.by_chance.shape[1]:
        said = plan.by_chance[rows][:, np.arange(failure.shape[1]) % plan.by_chance.shape[1]]
        return np.asarray(said * water / 100.0 if plan.by_water else said, float)
    if kind == "priority":
        return np.asarray(plan.share * failure + (1.0 - plan.share) * water)
    return np.asarray(failure if kind == "failure_score" else water, float)


def _needed(scores: Floats, cuts: Floats) -> Floats:
    """Points missing to the top in every draw: (rows, draws); below 0 where inside.

    The bar is the score at rank `top` among the *other* parcels.
    """
    inside = scores >= cuts[0] - 1e-3
    bar = np.where(inside, cuts[1], cuts[0])
    return np.asarray(bar - scores)


def _gain(known_part: Floats, need: Floats, rivals: Floats) -> Floats:
    """Value of learning `known_part` (rows, draws), the rest staying as `need` (rows, draws).

    All pairs of a learned value and a draw of the rest are used: they are independent.
    """
    gains = np.empty(len(known_part))
    gain_rows(np.sort(known_part, axis=1), np.sort(need, axis=1), rivals, gains)
    return np.where(np.ptp(known_part, axis=1) > TINY, np.maximum(gains, 0.0), 0.0)


@compiled
def gain_rows(known_part: Floats, need: Floats, rivals: Floats, gains: Floats) -> None:
    """Mean of max(chance once known, rival) less max(mean chance, rival); rows are sorted.

    Parameters
    ----------
    known_part
        What the record adds to the score in each draw, points (rows, draws).
    need
        Points missing to the list without it (rows, draws).
    rivals
        Chance that the parcel has to beat (rows,).
    gains
        Written (rows,).
    """
    draws = known_part.shape[1]
    for row in range(known_part.shape[0]):
        below, mean, better = 0, 0.0, 0.0
        for k in range(draws):
            while below < draws and need[row, below] < known_part[row, k]:
                below += 1
            then = below / draws
            mean += then
            better += max(then, rivals[row])
        gains[row] = better / draws - max(mean / draws, rivals[row])


def _sum_without(model: Model, score: str, name: str) -> float:
    return sum(factor.weight for factor in model.of(score) if factor.name != name)


def _priority(limits: pd.DataFrame, model: Model) -> Floats:
    total = np.zeros(len(limits))
    for score in SCORES:
        for factor in model.of(score):
            points = factor.weight * model.scale(score) * model.share(score)
            total += points * limits[factor.name].to_numpy()
    return total


def _spearman(first: Floats, second: Floats) -> float:
    return float(np.corrcoef(rankdata(first), rankdata(second))[0, 1])


def _overlap(first: Floats, second: Floats, top: int) -> float:
    lists = [set(np.argsort(-scores, kind="stable")[:top].tolist()) for scores in (first, second)]
    return len(lists[0] & lists[1]) / min(top, len(first))


def describe_collection(table: pd.DataFrame, *, top: int) -> str:
    """Say in one sentence which record to collect first.

    >>> describe_collection(pd.DataFrame(), top=50)
    'No record would change the list.'
    """
    if not len(table) or table["gain"].iloc[0] <= 0:
        return "No record would change the list."
    first = table.iloc[0]
    return (
        f"Collect first: {first['label']}. A hundred look-ups would bring about "
        f"{first['gain_per_100']:.1f} more of the true top {top:,} onto the list."
    )
