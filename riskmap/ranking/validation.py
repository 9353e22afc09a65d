"""May learning from visits replace the score? Only if it is surely better on held-out places.

The rule is set before the figures are seen: too few failures, places or a feature that gives the
outcome away, and learning is declined. Otherwise the lower bounds of the learned ranking's average
precision and of the paired difference must beat the present ranking and a random order. Bounds come
from a bootstrap of whole places, corrected for bias and acceleration (Efron 1987), and allow for
the number of rankings tried (Bonferroni). Where visits are few, only a strongly shrunk model is
tried. Last, the rule must not let rankings pass on shuffled outcomes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.arrays import Floats
from riskmap.ranking.blocks import block_folds, block_ids, random_folds
from riskmap.ranking.contenders import (
    LEARNED,
    SHRUNK,
    WORDS,
    Visits,
    predict_held_out,
)
from riskmap.ranking.judged import Judged, least_gain, range_of
from riskmap.ranking.labels import suspect_features
from riskmap.ranking.metrics import (
    Figure,
    average_precision,
    block_draws,
    brier,
    ranking_figures,
    reliability,
)
from riskmap.ranking.settings import LearningSettings

MAY_ERR: Final = 0.05
"""Chance of a wrong pass that the rule allows, over all rankings tried."""
SHUFFLES: Final = 200
"""Times the outcomes are shuffled to see how often the rule lets noise pass."""
FEW_DRAWS: Final = 100
LENIENT: Final = 4
"""How many times as easily a first look at few samples lets a shuffle pass."""


@dataclass(frozen=True)
class Comparison:
    """Figures of every contender on held-out blocks.

    ``figures``: columns ``contender, figure, value, low, high`` (90% intervals).
    ``differences``: by learned contender, average precision less the present ranking's, with the
    one-sided 95% lower bound corrected for the number of contenders. ``shuffled``: of
    :data:`SHUFFLES` labelings with the outcomes shuffled among the visits, how many the rule lets a
    learned ranking pass on; None where that was not looked at. ``optimism``: average precision by
    random split and by blocks. ``reliability``: predicted chance and share found, by contender.
    """

    figures: pd.DataFrame
    differences: pd.DataFrame
    optimism: pd.DataFrame
    reliability: Mapping[str, pd.DataFrame]
    failures: int
    visits: int
    blocks: int
    shuffled: int | None = None

    def figure(self, contender: str, name: str) -> pd.Series:
        """One row of ``figures``."""
        table = self.figures
        return table[(table["contender"] == contender) & (table["figure"] == name)].iloc[0]


@dataclass(frozen=True)
class Decision:
    """Which ranking decides, and why, in plain words."""

    chosen: str
    replaced: bool
    words: tuple[str, ...]
    comparison: Comparison | None


def decide(visits: Visits, settings: LearningSettings, *, seed: int) -> Decision:
    """Compare all contenders if there is enough to compare, and apply the rule.

    Parameters
    ----------
    visits
        The visited systems.
    settings
        The settings of the ``[learning]`` section.
    seed
        Of folds, fits and resamples.

    Returns
    -------
    Decision
        The score is kept where there are too few visits, or a feature gives the outcome away.
    """
    refusal = _too_little(visits, settings) or _leaks(visits)
    if refusal:
        return Decision(visits.base, False, (refusal, _kept(visits.base)), None)
    comparison = compare(visits, settings, seed=seed)
    return _judge(comparison, visits.base)


def compare(visits: Visits, settings: LearningSettings, *, seed: int) -> Comparison:
    """Evaluate every contender on held-out blocks, with intervals, and on a random split.

    Parameters
    ----------
    visits, settings, seed
        As in :func:`decide`.
    """
    folds = list(
        block_folds(
            visits.x_m, visits.y_m, visits.failed, size_m=settings.block_m,
            buffer_m=settings.buffer_m, folds=settings.folds, repeats=settings.repeats,
            seed=seed,
        )
    )  # fmt: skip
    learned = tried(visits, settings)
    held = predict_held_out(
        visits, folds, block_m=settings.block_m, rounds=settings.rounds, seed=seed,
        learned=learned,
    )  # fmt: skip
    rows = np.flatnonzero(visits.evaluate)
    ids = block_ids(visits.x_m, visits.y_m, size_m=settings.block_m)[rows]
    judged = Judged(
        visits.failed[rows],
        visits.figure_weight[rows],
        block_draws(ids, resamples=settings.resamples, seed=seed),
    )
    ranking = {name: values[:, rows] for name, values in held.ranking.items()}
    chance = {name: values[:, rows] for name, values in held.chance.items()}
    figures = _figures(ranking, chance, judged)
    return Comparison(
        figures=figures,
        differences=_differences(ranking, judged, learned, visits.base),
        optimism=_optimism(visits, settings, figures, learned, seed),
        reliability={
            name: reliability(judged.truth, values[0], judged.weight)
            for name, values in chance.items()
        },
        failures=int(judged.truth.sum()),
        visits=len(rows),
        blocks=judged.samples.times.shape[1],
        shuffled=shuffled_passes(ranking, judged, learned=learned, base=visits.base, seed=seed),
    )


def tried(visits: Visits, settings: LearningSettings) -> tuple[str, ...]:
    """Return the learned rankings that are tried: only a strongly shrunk one on few visits."""
    many = len(visits.failed) >= settings.many_visits
    return LEARNED if many else (SHRUNK,)


def shuffled_passes(
    ranking: Mapping[str, Floats],
    judged: Judged,
    *,
    learned: Sequence[str],
    base: str,
    seed: int,
) -> int:
    """Count the shuffled labelings on which the rule lets a learned ranking pass.

    The outcomes are shuffled among the visits that figures are taken on; the rankings, which were
    made on other places, stay as they are, so nothing is fitted again. Every ranking is noise then.

    Parameters
    ----------
    ranking
        Held-out rankings (repeats, n) of the learned contenders and the base.
    judged
        The visits.
    learned
        The learned contenders.
    base
        The ranking to be beaten.
    seed
        Of the shuffles.
    """
    rng, passed = np.random.default_rng(seed), 0
    few = judged.samples._replace(times=judged.samples.times[:FEW_DRAWS])
    may_err = MAY_ERR / len(learned)
    for _ in range(SHUFFLES):
        mixed = judged._replace(truth=rng.permutation(judged.truth))
        level = max(mixed.value(average_precision, ranking[base]), float(mixed.truth.mean()))
        passed += any(
            mixed.value(average_precision, ranking[name]) > level
            and least_gain(
                ranking[name], ranking[base], mixed, may_err=LENIENT * may_err, samples=few
            )
            > 0
            and _passes(ranking, mixed, name, base=base, may_err=may_err)
            for name in learned
        )
    return passed


def _passes(
    ranking: Mapping[str, Floats], judged: Judged, name: str, *, base: str, may_err: float
) -> bool:
    """Whether the rule lets a learned ranking pass."""
    gain = least_gain(ranking[name], ranking[base], judged, may_err=may_err)
    low, base_low = (range_of(average_precision, ranking[one], judged).low for one in (name, base))
    return _surely_better(gain, low, base_low=base_low, by_chance=float(judged.truth.mean()))


def _surely_better(gain: float, low: float, *, base_low: float, by_chance: float) -> bool:
    """Apply the rule to lower bounds: better than the present ranking, and than a random order.

    A random order's average precision is the share of failures: beside an unlucky order noise may
    win.
    """
    return gain > 0 and bool(low > max(base_low, by_chance))


def _figures(
    ranking: Mapping[str, Floats], chance: Mapping[str, Floats], judged: Judged
) -> pd.DataFrame:
    """Return the table of figures of every contender."""
    methods: dict[str, tuple[Figure, Mapping[str, Floats]]] = {
        name: (figure, ranking) for name, figure in ranking_figures().items()
    }
    methods["brier"] = (brier, chance)
    rows = []
    for name, (figure, source) in methods.items():
        for contender, predicted in source.items():
            found = range_of(figure, predicted, judged)
            rows.append((contender, name, found.value, found.low, found.high))
    return pd.DataFrame(rows, columns=["contender", "figure", "value", "low", "high"])


def _differences(
    ranking: Mapping[str, Floats], judged: Judged, learned: Sequence[str], base: str
) -> pd.DataFrame:
    level = judged.value(average_precision, ranking[base])
    rows = [
        (
            name,
            judged.value(average_precision, ranking[name]) - level,
            least_gain(ranking[name], ranking[base], judged, may_err=MAY_ERR / len(learned)),
        )
        for name in learned
    ]
    return pd.DataFrame(rows, columns=["contender", "difference", "low"])


def _optimism(
    visits: Visits,
    settings: LearningSettings,
    figures: pd.DataFrame,
    learned: Sequence[str],
    seed: int,
) -> pd.DataFrame:
    """Average precision of the learned rankings by random split, and by blocks."""
    rows = np.flatnonzero(visits.evaluate)
    folds = list(random_folds(len(visits.failed), folds=settings.folds, seed=seed))
    held = predict_held_out(
        visits, folds, block_m=settings.block_m, rounds=settings.rounds, seed=seed,
        learned=learned, given=(),
    )  # fmt: skip
    by_blocks = figures[figures["figure"] == "average_precision"].set_index("contender")["value"]
    table = [
        (
            name,
            float(
                average_precision(visits.failed[rows], ranking[0, rows], visits.figure_weight[rows])
            ),
            float(by_blocks[name]),
        )
        for name, ranking in held.ranking.items()
    ]
    return pd.DataFrame(table, columns=["contender", "random_split", "held_out_blocks"])


def _too_little(visits: Visits, settings: LearningSettings) -> str:
    """Why there is too little to learn from; empty if there is enough."""
    rows = visits.evaluate
    failures, count = int(visits.failed[rows].sum()), int(rows.sum())
    blocks = len(np.unique(block_ids(visits.x_m, visits.y_m, size_m=settings.block_m)))
    for have, need, what in (
        (failures, settings.min_failures, "failures found"),
        (count - failures, settings.min_failures, "systems found sound"),
        (count, settings.min_visits, "visits"),
        (blocks, settings.min_blocks, "separate places"),
    ):
        if have < need:
            return f"Learning was declined: {have} {what}, at least {need} are needed."
    return ""


def _leaks(visits: Visits) -> str:
    names = suspect_features(visits.design.features, visits.failed)
    if not names:
        return ""
    return (
        f"Learning was declined: {', '.join(names)} all but gives the outcome away, so it was "
        "probably written down after the visit. Leave it out or use its value from before."
    )


def _judge(comparison: Comparison, base: str) -> Decision:
    """Apply the rule; where several rankings pass, take the one of greatest precision."""
    by_chance = comparison.failures / comparison.visits
    score = comparison.figure(base, "average_precision")
    table = comparison.differences.set_index("contender")
    passed = [
        name
        for name in table.index
        if _surely_better(
            float(table.loc[[name], "low"].iloc[0]),
            comparison.figure(name, "average_precision")["low"],
            base_low=score["low"],
            by_chance=by_chance,
        )
    ]
    noise = (comparison.shuffled or 0) > MAY_ERR * SHUFFLES
    best = str(table.loc[passed or list(table.index), "difference"].idxmax())
    row = table.loc[[best]].iloc[0]
    words = (
        f"{comparison.visits:,} visits with {comparison.failures:,} failures in "
        f"{comparison.blocks:,} places were compared on places that the learning had not seen.",
        _precision_words(comparison, base),
        _precision_words(comparison, best),
        *_shuffled_words(comparison),
        _verdict(row, best, base, bool(passed), noise),
    )
    replaced = bool(passed) and not noise
    return Decision(best if replaced else base, replaced, words, comparison)


def _precision_words(comparison: Comparison, name: str) -> str:
    precision = comparison.figure(name, "average_precision")
    found = comparison.figure(name, "found_per_100_visits")
    return (
        f"{WORDS[name].capitalize()}: average precision {precision['value']:.3f} "
        f"({precision['low']:.3f} to {precision['high']:.3f}), {found['value']:.0f} failures "
        "found per 100 visits at the top tenth."
    )


def _shuffled_words(comparison: Comparison) -> list[str]:
    if comparison.shuffled is None:
        return []
    return [
        f"With the outcomes shuffled among these visits {SHUFFLES} times, the rankings left as "
        f"they are, the rule let a learned ranking pass {comparison.shuffled} times."
    ]


def _kept(base: str) -> str:
    return f"{WORDS[base].capitalize()} is kept."


def _verdict(row: pd.Series, name: str, base: str, passed: bool, noise: bool) -> str:
    gain = f"a gain of {row['difference']:+.3f}, at least {row['low']:+.3f}"
    if passed and noise:
        return f"{_kept(base)[:-1]}: the rule passes too easily on shuffled outcomes here."
    if passed:
        return f"Learning replaces {WORDS[base]}: {WORDS[name]} is surely better ({gain})."
    if row["low"] > 0:
        return f"{_kept(base)[:-1]}: no learned ranking is surely better than a random order."
    return f"{_kept(base)[:-1]}: no learned ranking is surely better (best: {gain})."
