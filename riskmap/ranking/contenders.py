"""The rankings that compete: oldest first, soil rule, score, and what was learned from visits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import expit, logit

from riskmap.contract.arrays import Floats
from riskmap.ranking.blocks import Fold, block_ids
from riskmap.ranking.classifier import STRENGTHS, FailureClassifier, calibrate
from riskmap.ranking.curves import limitation
from riskmap.ranking.fairness import refuse_protected
from riskmap.ranking.model import Model

LEARNED: Final = ("logistic", "boosting", "score_and_learning")
"""Learned rankings that are tried where visits are many."""
SHRUNK: Final = "shrunk_logistic"
"""The one that is tried where they are few."""
WORDS: Final[Mapping[str, str]] = {
    "oldest_first": "oldest system first",
    "soil_rule": "soil rule only",
    "score": "the score",
    "records_first": "found failed first, then the score",
    "condition": "the condition model",
    "shrunk_logistic": "the strongly shrunk logistic model",
    "logistic": "the logistic model",
    "boosting": "boosted trees",
    "score_and_learning": "the score corrected by learning",
}


@dataclass(frozen=True)
class Design:
    """Numbers to learn from: ``features`` (n, k) and the direction of each (1, -1 or 0)."""

    features: pd.DataFrame
    signs: tuple[int, ...]

    def with_score(self, score: Floats) -> Design:
        """Return the same with the score as one more feature that can only raise the chance."""
        return Design(self.features.assign(score=score), (*self.signs, 1))


def design(features: pd.DataFrame, model: Model) -> Design:
    """Numbers of the score's own features: values, or limitations of words; directions known.

    Parameters
    ----------
    features
        Inventory rows.
    model
        The scoring model, whose curves say which way each feature works.

    Raises
    ------
    ModelError
        If a protected attribute is among the features.
    """
    refuse_protected(factor.feature for factor in model.factors)
    columns: dict[str, Floats] = {}
    signs: list[int] = []
    for factor in model.of("failure"):
        if factor.feature in columns:
            continue
        if factor.table:
            columns[factor.feature] = limitation(factor, features[factor.feature])
            signs.append(1)
        else:
            numbers = features[factor.feature].astype("Float64")
            columns[factor.feature] = np.asarray(
                numbers.to_numpy(dtype=np.float64, na_value=np.nan)
            )
            signs.append(1 if factor.rises else -1)
    return Design(pd.DataFrame(columns, index=features.index), tuple(signs))


@dataclass(frozen=True)
class Visits:
    """The visited systems that are compared on, all (n,) or (n, k).

    ``given`` maps rankings that need no learning here to their values, and ``base`` names the one
    that ranks unless a learned one is better; ``evaluate`` marks the rows on which the
    figures are taken (all, or random audits only). ``weight`` counts in learning, and in the
    figures too unless ``judged_weight`` is given for them.
    """

    design: Design
    failed: Floats
    weight: Floats
    x_m: Floats
    y_m: Floats
    given: Mapping[str, Floats]
    evaluate: npt.NDArray[np.bool_]
    judged_weight: Floats | None = None
    base: str = "score"

    @property
    def figure_weight(self) -> Floats:
        """Weights (n,) in the figures."""
        return self.weight if self.judged_weight is None else self.judged_weight


@dataclass(frozen=True)
class Predictions:
    """Held-out rankings and chances per contender, each (repeats, n)."""

    ranking: Mapping[str, Floats]
    chance: Mapping[str, Floats]


def level_shift(visits: Visits, rows: npt.NDArray[np.int64] | None = None) -> float:
    """Log-odds to add so that chances have the level of the visits that figures are taken on.

    Visits by complaint and repairs show what failing systems look like, but not how many there
    are; that follows from the visits judged on (prior correction; King and Zeng 2001, from memory).
    0 where all visits are judged alike, or `rows` (those learned from) hold too few of them.
    """
    rows = np.arange(len(visits.failed)) if rows is None else rows
    judged = rows[visits.evaluate[rows]]
    if visits.judged_weight is None or not 0 < visits.failed[judged].sum() < len(judged):
        return 0.0
    there = np.average(visits.failed[judged], weights=visits.judged_weight[judged])
    learned_from = np.average(visits.failed[rows], weights=visits.weight[rows])
    return float(np.subtract(*logit(np.clip([there, learned_from], 1e-6, 1 - 1e-6))))


def classifier_for(name: str, plan: Design, *, rounds: int, seed: int) -> FailureClassifier:
    """Unfitted classifier of a learned contender.

    Parameters
    ----------
    name
        One of :data:`LEARNED`, or :data:`SHRUNK`.
    plan
        Its design; gives the direction of each feature.
    rounds
        Boosting rounds.
    seed
        Of the fit.
    """
    if name == SHRUNK:
        strongest = min(STRENGTHS["logistic"])
        return FailureClassifier("logistic", strengths=(strongest,), random_state=seed)
    if name == "logistic":
        return FailureClassifier("logistic", random_state=seed)
    return FailureClassifier("boosting", signs=plan.signs, rounds=rounds, random_state=seed)


def design_for(name: str, visits: Visits) -> Design:
    """Return the design of a learned contender: with the score where it corrects the score."""
    if name == "score_and_learning":
        return visits.design.with_score(visits.given["score"])
    return visits.design


def predict_held_out(
    visits: Visits,
    folds: Sequence[Fold],
    *,
    block_m: float,
    rounds: int,
    seed: int,
    learned: Sequence[str] = LEARNED,
    given: Sequence[str] | None = None,
) -> Predictions:
    """Predict every row by models that saw neither it nor its neighbors.

    Settings are chosen and chances calibrated inside each learning part, by blocks (nested).

    Parameters
    ----------
    visits
        The visited systems, n rows.
    folds
        Each row must be tested once a repeat.
    block_m
        Side of the blocks of the nested folds, m.
    rounds, seed
        Of the boosted trees.
    learned, given
        Names of the contenders.

    Returns
    -------
    Predictions
        NaN in a row that no fold of the repeat tests.
    """
    repeats = max(fold.repeat for fold in folds) + 1
    rows = len(visits.failed)
    given = tuple(visits.given) if given is None else given
    names = [*given, *learned]
    ranking = {name: np.full((repeats, rows), np.nan) for name in names}
    chance = {name: np.full((repeats, rows), np.nan) for name in names}
    blocks = block_ids(visits.x_m, visits.y_m, size_m=block_m)
    for fold in folds:
        shift = level_shift(visits, fold.train)
        for name in given:
            score = np.nan_to_num(visits.given[name], nan=float(np.nanmedian(visits.given[name])))
            ranking[name][fold.repeat, fold.test] = score[fold.test]
            implied = _scaled(score, visits, fold)
            chance[name][fold.repeat, fold.test] = expit(logit(implied) + shift)
        for name in learned:
            odds = _fold_odds(name, visits, fold, blocks, rounds, seed)
            ranking[name][fold.repeat, fold.test] = odds
            chance[name][fold.repeat, fold.test] = expit(odds + shift)
    return Predictions(ranking, chance)


def _scaled(score: Floats, visits: Visits, fold: Fold) -> Floats:
    """Chances that a given ranking implies, by a line fitted on the learning part."""
    middle, spread = score[fold.train].mean(), score[fold.train].std() or 1.0
    standard = (score - middle) / spread
    truth, weight = visits.failed[fold.train], visits.weight[fold.train]
    if not 0 < truth.sum() < len(truth):
        return np.full(len(fold.test), float(truth.mean()))
    slope, offset = calibrate(standard[fold.train], truth, weight)
    return np.asarray(expit(slope * standard[fold.test] + offset))


def _fold_odds(
    name: str,
    visits: Visits,
    fold: Fold,
    blocks: npt.NDArray[np.int64],
    rounds: int,
    seed: int,
) -> Floats:
    plan = design_for(name, visits)
    numbers = plan.features.to_numpy(dtype=float)
    truth, weight = visits.failed[fold.train], visits.weight[fold.train]
    if not 0 < truth.sum() < len(truth):
        return np.zeros(len(fold.test))
    learner = classifier_for(name, plan, rounds=rounds, seed=seed)
    learner.fit(numbers[fold.train], truth, weight, groups=blocks[fold.train])
    return learner.decision_function(numbers[fold.test])
