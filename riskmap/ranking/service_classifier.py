"""Onsite or sewer, where the records do not say: a chance, checked on places held out.

Only parcels about which the classifier is sure get a word, marked ``inferred``; the others stay
unknown. Published accuracies are given with ours for comparison.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.arrays import Floats
from riskmap.ranking.blocks import block_folds, block_ids, random_folds
from riskmap.ranking.classifier import FailureClassifier
from riskmap.ranking.fairness import refuse_protected
from riskmap.ranking.settings import ServiceSettings

ONSITE: Final = "onsite"
SEWER: Final = "sewer"
UNKNOWN: Final = "unknown"

PUBLISHED: Final = (
    ("same state as learned from", 0.918),
    ("moved to another state", 0.819),
)
"""Accuracy of a random forest for the same task on parcels of two states: da Luz, Taneja, Kumpel
(2025), ACS ES&T Engineering (abstract)."""


@dataclass(frozen=True)
class ServiceAccuracy:
    """Figures on labeled parcels, each predicted without its neighborhood.

    ``accuracy`` over all; ``decided`` the share that gets a word; ``accuracy_decided`` among those;
    ``random_split`` the accuracy by random split, which is too high; ``sewer_as_onsite`` and
    ``onsite_as_sewer`` the shares of each kind that get the wrong word.
    """

    labeled: int
    accuracy: float
    decided: float
    accuracy_decided: float
    random_split: float
    sewer_as_onsite: float
    onsite_as_sewer: float

    @property
    def words(self) -> str:
        """Plain words, with the published accuracies."""
        published = ", ".join(f"{100 * value:.1f}% {where}" for where, value in PUBLISHED)
        return (
            f"On {self.labeled} labeled parcels in places held out, "
            f"{100 * self.accuracy:.1f}% were right ({100 * self.random_split:.1f}% by a "
            f"random split, too high); {100 * self.decided:.0f}% were sure enough to get a "
            f"word, of which {100 * self.accuracy_decided:.1f}% were right. Published for the "
            f"same task elsewhere: {published}."
        )


@dataclass(frozen=True)
class Service:
    """Result of :func:`infer_service`.

    ``table``, indexed like the features: ``service``, ``service_confidence`` (chance of the word,
    NaN where it was known or nothing was inferred) and ``service_evidence``. ``accuracy`` is None
    where too few parcels are labeled.
    """

    table: pd.DataFrame
    accuracy: ServiceAccuracy | None
    words: str


def infer_service(
    features: pd.DataFrame,
    service: pd.Series,
    x_m: Floats,
    y_m: Floats,
    *,
    evidence: pd.Series | None = None,
    settings: ServiceSettings,
    seed: int,
) -> Service:
    """Fill unknown service where the classifier is sure.

    Parameters
    ----------
    features
        (n, k) numbers of the parcels: distance to a sewer line, lot size, year built, share of
        labeled neighbors on sewer and the like; NaN where unknown.
    service
        (n,) ``onsite``, ``sewer``, ``none`` or ``unknown``; only ``unknown`` is filled, only
        ``onsite`` and ``sewer`` are learned from.
    x_m, y_m
        (n,) coordinates, for the blocks.
    evidence
        (n,) evidence mark of the known ones; ``measured`` if not given.
    settings
        How sure, how many, and how it is judged.
    seed
        Of everything random.

    Raises
    ------
    ModelError
        If a protected attribute is among the features.
    """
    refuse_protected(map(str, features.columns))
    known = service.isin([ONSITE, SEWER]).to_numpy()
    onsite = (service == ONSITE).to_numpy()
    table = _as_known(service, evidence)
    few = min(int((known & onsite).sum()), int((known & ~onsite).sum()))
    if few < settings.min_of_each:
        words = (
            f"Service was not inferred: {few} parcels of one kind, {settings.min_of_each} are "
            "needed."
        )
        return Service(table, None, words)
    rows = np.flatnonzero(known)
    numbers = features.to_numpy(dtype=float)
    truth = onsite[rows].astype(float)
    accuracy = _validate(numbers[rows], truth, x_m[rows], y_m[rows], settings, seed)
    blocks = block_ids(x_m[rows], y_m[rows], size_m=settings.block_m)
    learner = _learner(settings, seed).fit(numbers[rows], truth, groups=blocks)
    open_rows = np.flatnonzero(service.fillna(UNKNOWN).to_numpy() == UNKNOWN)
    if len(open_rows):
        _fill(table, open_rows, learner.predict_proba(numbers[open_rows])[:, 1], settings.sure_frac)
    return Service(table, accuracy, accuracy.words)


def _as_known(service: pd.Series, evidence: pd.Series | None) -> pd.DataFrame:
    words = service.astype("object").where(service.notna(), UNKNOWN)
    marks = pd.Series("measured", index=service.index) if evidence is None else evidence
    return pd.DataFrame(
        {
            "service": words,
            "service_confidence": np.nan,
            "service_evidence": marks.astype("object").where(words != UNKNOWN, UNKNOWN),
        },
        index=service.index,
    )


def _fill(table: pd.DataFrame, rows: npt.NDArray[np.int64], chance: Floats, sure: float) -> None:
    """Write words and confidence into the open rows."""
    confidence = np.maximum(chance, 1 - chance)
    word = np.where(chance >= 0.5, ONSITE, SEWER)
    certain = confidence >= sure
    labels = table.index[rows]
    table.loc[labels, "service_confidence"] = confidence
    table.loc[labels[certain], "service"] = word[certain]
    table.loc[labels[certain], "service_evidence"] = "inferred"


def _learner(settings: ServiceSettings, seed: int) -> FailureClassifier:
    return FailureClassifier("boosting", rounds=settings.rounds, random_state=seed)


def _validate(
    numbers: Floats, truth: Floats, x_m: Floats, y_m: Floats, settings: ServiceSettings, seed: int
) -> ServiceAccuracy:
    blocks = block_ids(x_m, y_m, size_m=settings.block_m)
    chance, apart = np.full(len(truth), np.nan), np.full(len(truth), np.nan)
    by_block = block_folds(
        x_m, y_m, truth, size_m=settings.block_m, buffer_m=settings.buffer_m,
        folds=settings.folds, repeats=1, seed=seed,
    )  # fmt: skip
    at_random = random_folds(len(truth), folds=settings.folds, seed=seed)
    for out, folds in ((chance, by_block), (apart, at_random)):
        for fold in folds:
            if len(np.unique(truth[fold.train])) == 2:
                learner = _learner(settings, seed)
                learner.fit(numbers[fold.train], truth[fold.train], groups=blocks[fold.train])
                out[fold.test] = learner.predict_proba(numbers[fold.test])[:, 1]
    return _accuracy(truth, chance, apart, settings.sure_frac)


def _accuracy(truth: Floats, chance: Floats, apart: Floats, sure: float) -> ServiceAccuracy:
    """Figures from held-out chances; a parcel that could not be predicted counts as undecided."""
    predicted = ~np.isnan(chance)
    right = (chance >= 0.5) == (truth > 0)
    decided = predicted & (np.maximum(chance, 1 - chance) >= sure)
    wrong = decided & ~right
    seen = ~np.isnan(apart)
    return ServiceAccuracy(
        labeled=len(truth),
        accuracy=_share(right, predicted),
        decided=float(decided.mean()),
        accuracy_decided=_share(right, decided),
        random_split=_share((apart >= 0.5) == (truth > 0), seen),
        sewer_as_onsite=_share(wrong, truth == 0),
        onsite_as_sewer=_share(wrong, truth == 1),
    )


def _share(yes: npt.NDArray[np.bool_], among: npt.NDArray[np.bool_]) -> float:
    return float(yes[among].mean()) if among.any() else float("nan")
