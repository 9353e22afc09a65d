"""How sure a score and a rank are: one Monte Carlo over the whole county.

Reproducible by seed; the same whether the county is cut into chunks or not, and whatever the
number of threads. The error of the Monte Carlo itself is stated with every chance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.arrays import Floats
from riskmap.contract.chunks import map_chunks, spans
from riskmap.ranking.draws import FULL, Plan, limit_rows, score_rows
from riskmap.ranking.inputs import Input, describe_inputs
from riskmap.ranking.layout import parcel_keys, plan
from riskmap.ranking.model import Model
from riskmap.ranking.outcomes import Outcomes
from riskmap.ranking.tally import BLOCK_ROWS, middle_and_range, rank_all

SCORE_COLUMNS: Final = ("failure_score", "groundwater_score", "priority")
DRAWS: Final = 1024
"""A power of two, for which the Sobol sequence is evenest."""


@dataclass(frozen=True)
class Doubt:
    """Result of :func:`propagate`.

    ``table`` has, for each of ``failure_score``, ``groundwater_score`` and ``priority``, the
    columns ``<kind>_p05, _p50, _p95, _mean, _rank_p05, _rank_p50, _rank_p95, _top_chance,
    _top_error``; the last is one standard error of the chance at this number of draws. ``cuts``
    (kind -> (2, d)): scores at ranks `top` and `top` + 1 in every draw.
    """

    table: pd.DataFrame
    cuts: Mapping[str, Floats]
    top: int
    draws: int
    seed: int
    plan: Plan
    outcomes: Outcomes | None = None


def propagate(
    features: pd.DataFrame,
    model: Model,
    *,
    top: int,
    draws: int = DRAWS,
    seed: int = 0,
    mixtures: Mapping[str, pd.DataFrame] | None = None,
    weight_doubt: bool = False,
    outcomes: Outcomes | None = None,
) -> Doubt:
    """Carry the doubt of every input into scores and ranks.

    Parameters
    ----------
    features
        The inventory rows that are ranked together, indexed by parcel.
    model
        The scoring model.
    top
        Length of the list whose chances are computed.
    mixtures
        See :func:`riskmap.ranking.inputs.describe_inputs`.
    weight_doubt
        Whether the weights vary within their bounds as well.
    outcomes
        Scenarios of the same rows, in which records were drawn and the physics run again; they take
        the place of errors on the features that they give.
    """
    inputs = describe_inputs(features, model, mixtures=mixtures)
    return propagate_inputs(
        inputs,
        features.index,
        failure_share=model.failure_share,
        top=top,
        draws=draws,
        seed=seed,
        weight_doubt=weight_doubt,
        outcomes=outcomes,
    )


def propagate_inputs(
    inputs: Sequence[Input],
    parcels: pd.Index,
    *,
    failure_share: float,
    top: int,
    draws: int = DRAWS,
    seed: int = 0,
    weight_doubt: bool = False,
    outcomes: Outcomes | None = None,
) -> Doubt:
    """Carry the doubt of inputs that are described already into scores and ranks.

    Parameters
    ----------
    inputs
        One per factor, from :func:`riskmap.ranking.inputs.describe_inputs`.
    parcels
        Index of the parcels (n,).
    failure_share
        Share of the failure score in the priority, 0..1.
    top, draws, seed, weight_doubt, outcomes
        As in :func:`propagate`.
    """
    layout = plan(
        inputs,
        parcel_keys(parcels),
        failure_share=failure_share,
        draws=draws,
        seed=seed,
        weight_doubt=weight_doubt,
        outcomes=outcomes,
    )
    matrix = draw_scores(layout, seed=seed)
    columns: dict[str, Floats] = {}
    cuts: dict[str, Floats] = {}
    for kind, scores in zip(SCORE_COLUMNS, matrix, strict=True):
        found, cuts[kind] = _summary(kind, scores, top, layout.outcome.shape[2])
        columns |= found
    return Doubt(pd.DataFrame(columns, index=parcels), cuts, top, draws, seed, layout, outcomes)


def draw_scores(layout: Plan, *, seed: int) -> npt.NDArray[np.uint16]:
    """Draw all scores: (3, n, d) whole numbers, 65535 for 100; order of :data:`SCORE_COLUMNS`."""
    rows, draws = len(layout.keys), layout.points.shape[1]
    out = np.empty((3, rows, draws), dtype=np.uint16)

    def work(span: slice) -> None:
        score_rows(span.start, span.stop, np.uint64(seed), out, layout)

    map_chunks(work, spans(rows, BLOCK_ROWS))
    return out


def draw_limits(layout: Plan, rows: npt.NDArray[np.int64], *, seed: int) -> npt.NDArray[np.float32]:
    """Draw the limitations behind some parcels' scores: (rows, factors, draws).

    Parameters
    ----------
    layout
        The county's inputs.
    rows
        Positions of the parcels.
    seed
        That of the scores, so that the draws match.

    Returns
    -------
    ndarray
        0..1.
    """
    factors, draws = layout.weight.shape
    out = np.empty((len(rows), factors, draws), dtype=np.float32)
    limit_rows(np.asarray(rows, dtype=np.int64), np.uint64(seed), out, layout)
    return out


def chance_error(chance: Floats, draws: int) -> Floats:
    """One standard error of a chance, from its shares in each scenario (n, c).

    Draws of one scenario have much in common, so the error is the spread of the shares between
    scenarios over sqrt(c); with a single column the draws are independent and it is
    sqrt(p (1-p) / d). Evenly spread draws do better; this is the cautious figure. Never less than
    what one draw would change, 1 / (d + 2).
    """
    scenarios = chance.shape[1]
    if scenarios > 1:
        error = chance.std(axis=1, ddof=1) / np.sqrt(scenarios)
    else:
        error = np.sqrt(chance[:, 0] * (1 - chance[:, 0]) / draws)
    return np.asarray(np.maximum(error, 1.0 / (draws + 2)))


def _summary(
    kind: str, scores: npt.NDArray[np.uint16], top: int, scenarios: int
) -> tuple[dict[str, Floats], Floats]:
    """Columns of one kind of score; `scores` holds ranks afterwards, to spare memory."""
    draws = scores.shape[1]
    points = middle_and_range(scores, scale=100.0 / FULL)
    chance, cuts, step = rank_all(scores, top=top, scenarios=scenarios)
    ranks = middle_and_range(scores, scale=step)
    columns = {f"{kind}_{name}": points[:, k] for k, name in enumerate(("p05", "p50", "p95"))}
    columns[f"{kind}_mean"] = points[:, 3]
    columns |= {f"{kind}_rank_{name}": ranks[:, k] for k, name in enumerate(("p05", "p50", "p95"))}
    columns[f"{kind}_top_chance"] = chance.mean(axis=1)
    columns[f"{kind}_top_error"] = chance_error(chance, draws)
    return columns, cuts
