"""May learning from visits replace the score? Only if it is surely better on held-out places.

The rule is set before the figures are seen: too few failures, places or a feature that gives the
outcome away, and learning is declined; otherwise the learned ranking must beat the score with the
lower bounds of its average precision and of the paired difference, allowing for the number of
rankings tried (Bonferroni).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.arrays import Floats
from riskmap.ranking.blocks import block_folds, block_ids, random_folds
from riskmap.ranking.contenders import LEARNED, WORDS, Predictions, Visits, predict_held_out
from riskmap.ranking.labels import suspect_features
from riskmap.ranking.metrics import (
    Draws,
    Figure,
    average_precision,
    block_draws,
    bootstrap,
    brier,
    ranking_figures,
    reliability,
)
from riskmap.ranking.settings import LearningSettings

LEVEL: Final = 0.90
LOWER, UPPER = (1 - LEVEL) / 2, (1 + LEVEL) / 2
"""Ends of the intervals of figures."""
DIFFERENCE_LEVEL: Final = 0.05 / len(LEARNED)
"""Of the lower bound of a difference, for as many rankings as are tried."""
SHUFFLES: Final = 200
"""Times the outcomes are shuffled to see how often the rule lets noise pass."""
FEW_DRAWS: Final = 100


@dataclass(frozen=True)
class Comparison:
    """Figures of every contender on held-out blocks.

    ``figures``: columns ``contender, figure, value, low, high`` (90% intervals).
    ``differences``: by learned contender, average precision less the score's, with the one-sided
    95% lower bound corrected for the number of contenders. ``shuffled``: of :data:`SHUFFLES`
    labelings with the outcomes shuffled among the visits, how many the rule lets a learned ranking
    pass on; None where that was not looked at. ``optimism``: average precision by
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
    held = predict_held_out(
        visits, folds, block_m=settings.block_m, rounds=settings.rounds, seed=seed
    )
    rows = np.flatnonzero(visits.evaluate)
    ids = block_ids(visits.x_m, visits.y_m, size_m=settings.block_m)[rows]
    samples = block_draws(ids, resamples=settings.resamples, seed=seed)
    truth, weight = visits.failed[rows], visits.figure_weight[rows]
    figures, drawn = _figures(held, rows, truth, weight, samples)
    return Comparison(
        figures=figures,
        differences=_differences(figures, drawn, visits.base),
        optimism=_optimism(visits, settings, figures, seed),
        reliability={
            name: reliability(truth, chance[0, rows], weight)
            for name, chance in held.chance.items()
        },
        failures=int(truth.sum()),
        visits=len(rows),
        blocks=int(ids.max()) + 1,
        shuffled=shuffled_passes(
            {name: held.ranking[name][:, rows] for name in (*LEARNED, visits.base)},
            truth, weight, samples, base=visits.base, seed=seed,
        ),
    )  # fmt: skip


def shuffled_passes(
    ranking: Mapping[str, Floats],
    truth: Floats,
    weight: Floats,
    samples: Draws,
    *,
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
    truth, weight
        Outcomes and weights (n,).
    samples
        Resamples of whole blocks.
    base
        The ranking to be beaten.
    seed
        Of the shuffles.
    """
    rng, passed = np.random.default_rng(seed), 0
    for _ in range(SHUFFLES):
        mixed = rng.permutation(truth)
        level = _mean_figure(average_precision, mixed, ranking[base], weight)
        by_chance = float(mixed.mean())
        better = [
            name
            for name in LEARNED
            if _mean_figure(average_precision, mixed, ranking[name], weight) > max(level, by_chance)
        ]
        passed += any(_passes(ranking, mixed, weight, samples, name, base) for name in better)
    return passed


def _passes(
    ranking: Mapping[str, Floats],
    truth: Floats,
    weight: Floats,
    samples: Draws,
    name: str,
    base: str,
) -> bool:
    """Whether the rule lets a learned ranking pass.

    A few samples are drawn first: where too many of them lie at or below zero for the quantile of
    all to be above, no more are needed.
    """
    most = int(np.ceil(DIFFERENCE_LEVEL * (len(samples.times) - 1)))
    for part in (samples._replace(times=samples.times[:FEW_DRAWS]), samples):
        drawn = [_mean_drawn(average_precision, truth, ranking[one], weight, part)
                 for one in (name, base)]  # fmt: skip
        if (drawn[0] <= drawn[1]).sum() > most:
            return False
    low, base_low = np.nanquantile(drawn, LOWER, axis=1)
    return _surely_better(
        _low_difference(*drawn), low, base_low=base_low, by_chance=float(truth.mean())
    )


def _low_difference(drawn: Floats, base: Floats) -> float:
    """Lower bound of how much better a ranking is than another, from paired draws (B,)."""
    return float(np.nanquantile(drawn - base, DIFFERENCE_LEVEL))


def _surely_better(difference: float, low: float, *, base_low: float, by_chance: float) -> bool:
    """Apply the rule to lower bounds: better than the present ranking, and than a random order.

    A random order's average precision is the share of failures: beside an unlucky order noise may
    win.
    """
    return difference > 0 and bool(low > max(base_low, by_chance))


def _figures(
    held: Predictions,
    rows: npt.NDArray[np.int64],
    truth: Floats,
    weight: Floats,
    samples: Draws,
) -> tuple[pd.DataFrame, dict[str, Floats]]:
    """Return the table of figures, and the bootstrap draws of average precision by contender."""
    table, kept = [], {}
    methods: dict[str, tuple[Figure, Mapping[str, Floats]]] = {
        name: (figure, held.ranking) for name, figure in ranking_figures().items()
    }
    methods["brier"] = (brier, held.chance)
    for name, (figure, source) in methods.items():
        for contender, predicted in source.items():
            part = predicted[:, rows]
            value = _mean_figure(figure, truth, part, weight)
            drawn = _mean_drawn(figure, truth, part, weight, samples)
            low, high = np.nanquantile(drawn, [LOWER, UPPER])
            table.append((contender, name, value, float(low), float(high)))
            if name == "average_precision":
                kept[contender] = drawn
    columns = ["contender", "figure", "value", "low", "high"]
    return pd.DataFrame(table, columns=columns), kept


def _mean_figure(figure: Figure, truth: Floats, predicted: Floats, weight: Floats) -> float:
    """Mean of a figure over the repeats."""
    return float(np.mean([figure(truth, one, weight) for one in predicted]))


def _mean_drawn(
    figure: Figure, truth: Floats, predicted: Floats, weight: Floats, samples: Draws
) -> Floats:
    """Mean over the repeats of a figure in every resample (B,)."""
    drawn = [bootstrap(figure, truth, one, weight, samples) for one in predicted]
    return np.asarray(np.mean(drawn, axis=0))


def _differences(figures: pd.DataFrame, drawn: Mapping[str, Floats], base: str) -> pd.DataFrame:
    precision = figures[figures["figure"] == "average_precision"].set_index("contender")["value"]
    rows = []
    for name in LEARNED:
        low = _low_difference(drawn[name], drawn[base])
        rows.append((name, float(precision[name] - precision[base]), low))
    return pd.DataFrame(rows, columns=["contender", "difference", "low"])


def _optimism(
    visits: Visits, settings: LearningSettings, figures: pd.DataFrame, seed: int
) -> pd.DataFrame:
    """Average precision of the learned rankings by random split, and by blocks."""
    rows = np.flatnonzero(visits.evaluate)
    folds = list(random_folds(len(visits.failed), folds=settings.folds, seed=seed))
    held = predict_held_out(
        visits, folds, block_m=settings.block_m, rounds=settings.rounds, seed=seed,
        given=(),
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
        for name in LEARNED
        if _surely_better(
            float(table.loc[[name], "low"].iloc[0]),
            comparison.figure(name, "average_precision")["low"],
            base_low=score["low"],
            by_chance=by_chance,
        )
    ]
    gains = table["difference"].loc[passed or list(LEARNED)]
    best = str(gains.idxmax())
    row = table.loc[[best]].iloc[0]
    words = (
        f"{comparison.visits:,} visits with {comparison.failures:,} failures in "
        f"{comparison.blocks:,} places were compared on places that the learning had not seen.",
        _precision_words(comparison, base),
        _precision_words(comparison, best),
        *_shuffled_words(comparison),
        _verdict(row, best, base, bool(passed)),
    )
    return Decision(best if passed else base, bool(passed), words, comparison)


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


def _verdict(row: pd.Series, name: str, base: str, passed: bool) -> str:
    gain = f"a gain of {row['difference']:+.3f}, at least {row['low']:+.3f}"
    if passed:
        return f"Learning replaces {WORDS[base]}: {WORDS[name]} is surely better ({gain})."
    if row["low"] > 0:
        return f"{_kept(base)[:-1]}: no learned ranking is surely better than a random order."
    return f"{_kept(base)[:-1]}: no learned ranking is surely better (best: {gain})."
