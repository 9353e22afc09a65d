"""Pictures of learning from visits: classifier, service, validation, fairness."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure as Drawing

from docs.pictures.board import (
    ACCENT,
    INK,
    LINE,
    LINES,
    PALE_TO_DARK,
    SOFT,
    WARN,
    field,
    note,
    picture,
    tint,
)
from riskmap.ranking.blocks import block_folds, block_ids, random_folds
from riskmap.ranking.classifier import FailureClassifier
from riskmap.ranking.fairness import compare_with_need
from riskmap.ranking.metrics import average_precision, reliability
from riskmap.ranking.service_classifier import infer_service
from riskmap.ranking.settings import ServiceSettings


@picture(
    "classifier",
    "Left: chance of failing learned from 900 invented visits, rising with age by steps, never "
    "falling, against the truth. Right: predicted chance against share found on 900 other systems "
    "lies "
    "near the diagonal.",
)
def classifier(drawing: Drawing) -> None:
    """Draw a monotone curve and its calibration."""
    rng = np.random.default_rng(0)

    def visits(count: int) -> tuple[np.ndarray, np.ndarray]:
        features = np.column_stack([rng.uniform(0, 50, count), rng.uniform(500, 9000, count)])
        return features, (rng.random(count) < _true_chance(features[:, 0])).astype(int)

    known, failed = visits(900)
    learner = FailureClassifier("boosting", signs=[1, -1]).fit(known, failed)
    ages = np.linspace(0, 50, 101)
    said = learner.predict_proba(np.column_stack([ages, np.full(101, 3000.0)]))[:, 1]
    left, right = drawing.subplots(1, 2)
    left.plot(ages, 100 * _true_chance(ages), color=PALE_TO_DARK[1], linewidth=4, label="truth")
    left.plot(ages, 100 * said, color=INK, linewidth=1.3, label="learned")
    left.set(title="Chance of failing (%)", xlabel="Age (years)", ylim=(0, 60))
    left.legend()
    others, outcome = visits(900)
    chance = learner.predict_proba(others)[:, 1]
    table = reliability(outcome.astype(float), chance, np.ones(900), classes=6)
    right.plot([0, 60], [0, 60], color=SOFT, linestyle="--", linewidth=0.9)
    right.plot(100 * table["said"], 100 * table["found"], "o-", color=WARN, markersize=4)
    right.set(
        title="Found (%) against said (%)", xlabel="Chance said (%)", xlim=(0, 60), ylim=(0, 60)
    )


def _true_chance(age_yr: np.ndarray) -> np.ndarray:
    return 0.03 + 0.42 / (1 + np.exp(-(age_yr - 28) / 5))


@picture(
    "service_classifier",
    "A plan of parcels around a town: labeled ones as small dots, those filled in as triangles "
    "(sewer, near the town) and squares (onsite, outside), and crosses between where the "
    "classifier was not sure and the service stays unknown.",
    height_in=3.0,
)
def service_classifier(drawing: Drawing) -> None:
    """Where the classifier speaks and where it stays silent."""
    rng = np.random.default_rng(0)
    x, y = rng.random(540) * 8000, rng.random(540) * 5000
    line_m = np.hypot(x - 4000, y - 2500) / 4
    features = pd.DataFrame({"sewer_line_m": line_m, "lot_m2": rng.lognormal(8, 0.6, 540)})
    truth = np.where(line_m + rng.normal(0, 90, 540) < 500, "sewer", "onsite")
    service = pd.Series(truth)
    service[:160] = "unknown"
    found = infer_service(
        features, service, x, y, settings=ServiceSettings(rounds=25), seed=0
    ).table
    axes = drawing.subplots()
    labeled = found["service_evidence"].eq("measured").to_numpy()
    for word, color in (("sewer", tint(ACCENT, 0.45)), ("onsite", PALE_TO_DARK[1])):
        some = labeled & (found["service"] == word).to_numpy()
        axes.plot(x[some], y[some], ".", color=color, markersize=3, label=f"{word}, on record")
    for word, mark, color in (("sewer", "^", ACCENT), ("onsite", "s", WARN)):
        some = ~labeled & (found["service"] == word).to_numpy()
        axes.plot(x[some], y[some], mark, color=color, markersize=4.5, label=f"{word}, inferred")
    left = (found["service"] == "unknown").to_numpy()
    axes.plot(x[left], y[left], "x", color=INK, markersize=5, label="still unknown")
    field(axes, "Service filled in around a town", frame=True)
    axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5))


def _neighbors_alike() -> tuple[np.ndarray, ...]:
    """Visits whose outcome follows the place, and a feature that only tells the place."""
    rng = np.random.default_rng(3)
    x, y = rng.uniform(0, 6000, 460), rng.uniform(0, 4000, 460)
    patch = block_ids(x, y, size_m=1000.0)
    chance = rng.choice([0.03, 0.6], patch.max() + 1, p=[0.75, 0.25])[patch]
    failed = (rng.random(460) < chance).astype(float)
    return x, y, failed


@picture(
    "validation",
    "Left: visits cut into square blocks; one fold of blocks is held out (dark), a buffer around "
    "it is not learned from (open), the rest is learned from (pale). Right: where outcomes follow "
    "only the place, a random split makes learning look good; held-out blocks show it is not.",
)
def validation(drawing: Drawing) -> None:
    """Blocks, buffer, and the flattery of a random split."""
    x, y, failed = _neighbors_alike()
    folds = list(
        block_folds(x, y, failed, size_m=1000.0, buffer_m=250.0, folds=5, repeats=1, seed=0)
    )
    left, right = drawing.subplots(1, 2, width_ratios=[1.5, 1])
    state = np.full(460, 1)
    state[folds[0].train], state[folds[0].test] = 0, 2
    looks = (("o", tint(ACCENT, 0.35), "none"), ("o", "#ffffff", SOFT), ("s", WARN, "none"))
    for number, name in enumerate(("learned from", "buffer", "held out")):
        mark, face, edge = looks[number]
        some = state == number
        left.plot(
            x[some], y[some], mark, color=face, markeredgecolor=edge, markersize=3.4, label=name
        )
    left.vlines(np.arange(0, 6001, 1000), 0, 4000, color=LINE, linewidth=0.7)
    left.hlines(np.arange(0, 4001, 1000), 0, 6000, color=LINE, linewidth=0.7)
    field(left, "One fold")
    left.legend(loc="upper center", bbox_to_anchor=(0.5, 0.0), ncols=3)
    splits = {"random split": list(random_folds(460, folds=5, seed=0)), "held-out blocks": folds}
    place = np.column_stack([x, y])
    for row, parts in enumerate(splits.values()):
        said = np.zeros(460)
        for part in parts:
            learner = FailureClassifier("boosting", signs=[0, 0], rounds=40, strengths=[10])
            learner.fit(place[part.train], failed[part.train])
            said[part.test] = learner.raw_log_odds(place[part.test])
        value = average_precision(failed, said, np.ones(460))
        right.bar(row, value, color=(LINE, WARN)[row], edgecolor=INK, hatch=("//", "")[row])
        note(right, f"{value:.2f}", row, value + 0.01, ha="center")
    right.axhline(failed.mean(), color=INK, linestyle=LINES[1][1], linewidth=0.9)
    note(right, "by\nchance", 1.5, failed.mean() + 0.008)
    right.set(xticks=[0, 1], xticklabels=["random\nsplit", "held-out\nblocks"], xlim=(-0.6, 2.1))
    right.set_title("Average precision")


@picture(
    "fairness",
    "Picks over expected picks in six neighborhoods, with 95% intervals. Two lie clear of the "
    "line of equality: one gets fewer than its need, one more.",
    height_in=2.2,
)
def fairness(drawing: Drawing) -> None:
    """Ratios with their intervals."""
    places = ["north", "lake shore", "village", "mill road", "south", "ridge"]
    rng = np.random.default_rng(6)
    place = np.repeat(places, 120)
    need = np.repeat([0.30, 0.18, 0.12, 0.20, 0.10, 0.15], 120)
    rate = need * np.repeat([0.45, 1.0, 1.1, 0.95, 2.0, 1.0], 120)
    found = compare_with_need(pd.Series(place), need, rng.random(720) < rate).table.loc[places]
    axes = drawing.subplots()
    for row, line in enumerate(found.itertuples()):
        clear = line.ratio_low > 1 or line.ratio_high < 1
        axes.plot([line.ratio_low, line.ratio_high], [row, row], color=WARN if clear else SOFT,
                  linewidth=4 if clear else 2)  # fmt: skip
        axes.plot(line.ratio, row, "o", color=INK)
        note(axes, line.verdict, 3.35, row, va="center", weight="bold" if clear else "normal")
    axes.axvline(1, color=INK, linestyle="--", linewidth=0.9)
    axes.set(yticks=range(6), yticklabels=places, xlim=(0, 4.5), xlabel="Picks over expected picks")
    axes.set_xticks([0, 1, 2, 3])
    axes.invert_yaxis()
