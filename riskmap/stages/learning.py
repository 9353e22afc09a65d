"""Learning from a county's visits: compared with what ranks, followed where it earned it.

The condition model ranks unless the region file allows learning to (``[learning] use = "allow"``)
and the rule of :mod:`riskmap.ranking.validation`, set beforehand, says that a learned ranking is
surely better on places it has not seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
import pandas as pd
from scipy.special import expit
from sklearn.base import clone

from riskmap.contract.vocabulary import DECIDED_BY_CONDITION
from riskmap.ranking.blocks import block_ids
from riskmap.ranking.classifier import FailureClassifier
from riskmap.ranking.contenders import Design, classifier_for, design_for, level_shift
from riskmap.ranking.explanations import Explanation, explain, sample_background
from riskmap.ranking.model import Factor, Model
from riskmap.ranking.priority import priority
from riskmap.ranking.reasons import leading_reasons
from riskmap.ranking.score import Scores, rank, score
from riskmap.ranking.settings import LearningSettings
from riskmap.ranking.validation import Decision, decide
from riskmap.region.sections import Region
from riskmap.stages.county import County
from riskmap.stages.learning_inputs import (
    Lesson,
    at_most,
    failure_points,
    learnable,
    prepare_lesson,
)
from riskmap.stages.listing import list_length

DECIDED_BY: Final = {
    "condition": DECIDED_BY_CONDITION,
    "shrunk_logistic": "classifier",
    "logistic": "classifier",
    "boosting": "classifier",
    "score_and_learning": "score corrected by learning",
}
"""Contender -> word of the column ``decided_by``."""

MOST_COMPARED: Final = 4000
"""Visits compared on at most, a random sample of more: about half a minute of one processor."""
MOST_EXPLAINED: Final = 2000
LEAST_SHARE: Final = 0.05
"""A feature that raises the odds by less than about a twentieth is never named as a reason."""
LEARNED_MARK: Final = " (learned from visits)"


@dataclass(frozen=True)
class Learning:
    """What came of learning, with the settings it was done by.

    ``decided_by`` is one of :data:`DECIDED_BY`'s words, ``words`` say what was decided and why.
    ``present`` are the county's numbers that the classifier reads, None where it does not rank.
    """

    lesson: Lesson
    decision: Decision
    decided_by: str
    words: tuple[str, ...]
    settings: LearningSettings
    seed: int
    present: Design | None = None

    @cached_property
    def classifier(self) -> FailureClassifier | None:
        """The learner that ranks, None where none does; fitted when it is asked for."""
        if self.present is None:
            return None
        return _fit(self.decision.chosen, self.lesson, self.settings, self.seed)


def learn_from_visits(county: County, features: pd.DataFrame, model: Model) -> Learning | None:
    """Compare what visits teach with the condition model; None where off or without visits.

    Parameters
    ----------
    features
        The county's rows with all that the model reads, index ``parcel_id``.
    """
    settings, seed = county.region.learning, county.region.run.seed
    if settings.use == "off" or "inspections" not in county.tables:
        return None
    lesson = prepare_lesson(
        features,
        county,
        model,
        years=settings.window_yr,
        min_failures=settings.min_failures,
        min_visits=settings.min_visits,
    )
    decision = decide(at_most(lesson.visits, MOST_COMPARED, seed=seed), settings, seed=seed)
    follow = decision.replaced and settings.use == "allow"
    words = (_window_words(lesson), *_decision_words(decision, follow=follow))
    if not follow:
        return Learning(lesson, decision, DECIDED_BY_CONDITION, words, settings, seed)
    present = learnable(features, model)
    if decision.chosen == "score_and_learning":
        present = present.with_score(failure_points(features, model).to_numpy(float))
    return Learning(lesson, decision, DECIDED_BY[decision.chosen], words, settings, seed, present)


def follow_learning(
    county: County,
    scored: pd.DataFrame,
    features: pd.DataFrame,
    learning: Learning | None,
    model: Model,
) -> tuple[pd.DataFrame, Explanation | None]:
    """Order the ranked table by what was learned, where learning may; else add ``decided_by`` only.

    The learned chance takes the place of the chance of having failed in the priority; ranks follow.

    Returns
    -------
    The table with the columns of :data:`riskmap.contract.features.LEARNED`, and the shares of each
    feature in the log-odds of the systems on the list (None where the condition model decides).
    """
    if learning is None or learning.classifier is None or learning.present is None:
        return scored.assign(decided_by=DECIDED_BY_CONDITION), None
    region = county.region
    known = scored["priority"].notna().to_numpy()
    odds = np.full(len(scored), np.nan)
    odds[known] = learning.classifier.decision_function(learning.present.features[known])
    table = scored.assign(
        decided_by=learning.decided_by,
        learned_chance_frac=expit(odds),
    )
    table = _ranked_anew(table, features, region)
    table["decided_by"] = table["decided_by"].where(known, DECIDED_BY_CONDITION)
    most = min(list_length(table, region.lists), MOST_EXPLAINED)
    listed = table.index[(table["rank"] <= most).fillna(False).to_numpy(bool)]
    if not len(listed):
        return table, None
    numbers = learning.present.features
    explained = explain(
        learning.classifier,
        numbers.loc[listed],
        sample_background(numbers[table["rank"].notna()], seed=region.run.seed),
    )
    return _with_learned_reasons(table, features, explained, model, region), explained


def fit_again(learning: Learning, members: int, *, seed: int) -> list[FailureClassifier]:
    """Fit the chosen learner to samples of the visits, whole blocks with replacement.

    The bootstrap over blocks (Efron and Tibshirani 1993) shows how far another draw of the same
    visits would have moved what was learned. The strength chosen stays.

    Parameters
    ----------
    learning
        What was learned.
    members
        Number of samples.
    seed
        Of the samples.

    Returns
    -------
    list
        The fitted learners; empty where the score decides.
    """
    visits, first = learning.lesson.visits, learning.classifier
    if first is None:
        return []
    plan = design_for(learning.decision.chosen, visits)
    blocks = np.unique(
        block_ids(visits.x_m, visits.y_m, size_m=learning.settings.block_m), return_inverse=True
    )[1]
    rng = np.random.default_rng(seed)
    fitted: list[FailureClassifier] = []
    while len(fitted) < members:
        times = rng.multinomial(blocks.max() + 1, np.full(blocks.max() + 1, 1 / (blocks.max() + 1)))
        rows = times[blocks] > 0
        if 0 < visits.failed[rows].sum() < rows.sum():
            learner = clone(first).set_params(strengths=(first.strength_,), folds=1)
            weight = visits.weight[rows] * times[blocks][rows]
            fitted.append(learner.fit(plan.features[rows], visits.failed[rows], weight))
    return fitted


def _fit(name: str, lesson: Lesson, settings: LearningSettings, seed: int) -> FailureClassifier:
    visits = lesson.visits
    plan = design_for(name, visits)
    learner = classifier_for(name, plan, rounds=settings.rounds, seed=seed)
    blocks = block_ids(visits.x_m, visits.y_m, size_m=settings.block_m)
    learner.fit(plan.features, visits.failed, visits.weight, groups=blocks)
    learner.offset_ += level_shift(visits)
    return learner


def _ranked_anew(table: pd.DataFrame, features: pd.DataFrame, region: Region) -> pd.DataFrame:
    """Order by the learned chance in place of the chance of having failed."""
    learned = table["learned_chance_frac"]
    failing = np.fmax(learned, features["chance_failing_frac"])
    chances = features.assign(chance_failed_frac=learned, chance_failing_frac=failing)
    by_aim = priority(region.lists.aim, chances, table["groundwater_score"].to_numpy(float))
    scores = table[["failure_score", "groundwater_score"]].assign(priority=by_aim)
    service = features["service"].fillna("unknown")
    return table.assign(
        priority=scores["priority"],
        rank=rank(scores, (service == "onsite").to_numpy()),
        apart_rank=rank(scores, (service == "unknown").to_numpy()),
    )


def _with_learned_reasons(
    table: pd.DataFrame,
    features: pd.DataFrame,
    explained: Explanation,
    model: Model,
    region: Region,
) -> pd.DataFrame:
    """Name the reasons of the listed systems by their shares in the learned odds."""
    rows = features.loc[explained.shares.index]
    marked = replace(model, factors=tuple(_marked(factor) for factor in model.factors))
    reasons = leading_reasons(
        rows,
        _learned_parts(rows, explained, table, model),
        marked,
        units=region.county.units,
    )
    changed = table.copy()
    changed.loc[rows.index, reasons.columns] = reasons
    return changed


def _marked(factor: Factor) -> Factor:
    if factor.score != "failure":
        return factor
    return replace(factor, reason=factor.reason + LEARNED_MARK)


def _learned_parts(
    rows: pd.DataFrame, explained: Explanation, table: pd.DataFrame, model: Model
) -> Scores:
    """Scores whose failure points are the failure score, dealt out by positive learned shares.

    The share of the score itself, where learning corrects it, is divided by the score's points.
    """
    result = score(rows, model)
    factors = model.of("failure")
    shares = pd.DataFrame(
        {f.name: explained.shares.get(f.feature, 0.0) for f in factors},
        index=rows.index,
    )
    if "score" in explained.shares:
        points = result.points[shares.columns]
        part = points.div(points.sum(axis=1).replace(0.0, np.nan), axis=0).fillna(0.0)
        shares = shares + part.mul(explained.shares["score"], axis=0)
    raising = shares.clip(lower=0.0).where(result.limits[shares.columns].notna(), 0.0)
    total = raising.sum(axis=1).replace(0.0, np.nan)
    points, limits = result.points.copy(), result.limits.copy()
    dealt = raising.div(total, axis=0).mul(table.loc[rows.index, "failure_score"], axis=0)
    points[shares.columns] = dealt.fillna(0.0)
    limits[shares.columns] = (raising >= LEAST_SHARE).astype(float)
    return replace(result, points=points, limits=limits)


def _window_words(lesson: Lesson) -> str:
    labels = lesson.labels
    return (
        f"Visits and repairs from {lesson.start.date()} to "
        f"{(lesson.end - pd.Timedelta(days=1)).date()} cover {len(labels):,} systems, "
        f"{int(labels['failed'].sum())} of them failed; they are weighed as {lesson.effective:.0f} "
        f"chosen at random would be. The figures are taken on {lesson.judged_on}."
    )


def _decision_words(decision: Decision, *, follow: bool) -> Sequence[str]:
    if not decision.replaced or follow:
        return decision.words
    return (
        *decision.words[:-1],
        f"Learning has earned its place ({decision.words[-1].rstrip('.')}), but the region file "
        "asks for a comparison only: the condition model still ranks. Set [learning] use = "
        '"allow" to let it rank.',
    )
