# ruff: noqa: N803 (scikit-learn calls the features X)
"""A classifier of failing systems: boosted trees that respect known directions, or logistic.

Use it like any scikit-learn classifier. Its strength is chosen, and its chances are calibrated,
on rows it was not fitted to: whole blocks where ``groups`` are given.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any, Final, Self

import numpy as np
import numpy.typing as npt
from scipy.special import expit
from sklearn import config_context
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.impute import SimpleImputer
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold, StratifiedKFold
from sklearn.pipeline import Pipeline, make_pipeline
from sklearn.preprocessing import StandardScaler
from sklearn.utils.multiclass import check_classification_targets, type_of_target
from sklearn.utils.validation import _check_sample_weight, check_is_fitted, validate_data
from threadpoolctl import ThreadpoolController  # type: ignore[import-untyped]

from riskmap.contract.arrays import Floats, Whole
from riskmap.ranking.metrics import average_precision
from riskmap.ranking.settings import LearningSettings
from riskmap.ranking.steps import InSteps

STRENGTHS: Final = {"boosting": (3, 8), "logistic": (0.01, 0.1, 1.0)}
"""Settings to choose from: leaves per tree, or the inverse of the penalty."""

LIMIT: Final = 20.0
FEW_ROWS: Final = 20_000
STEPS: Final = 32
"""Steps a feature is cut into: few enough to be quick, more than visits can distinguish."""


class FailureClassifier(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """Binary classifier with known directions, tuned and calibrated on held-out rows.

    Parameters
    ----------
    method
        ``boosting`` (gradient-boosted trees; Friedman 2001) or ``logistic`` (penalized).
    signs
        (k,) 1 where the chance may only rise with the feature, -1 only fall, 0 either; None for
        no constraint. The logistic method does not use it.
    strengths
        Settings to choose from by average precision on held-out rows; None for
        :data:`STRENGTHS`.
    rounds, learning_rate
        Number of trees and the step of each.
    folds
        Held-out parts used to choose and to calibrate.
    random_state
        Seed of the dealing of rows to folds.

    Attributes
    ----------
    strength_ : chosen setting.
    slope_, offset_ : calibration of the raw log-odds (Platt 2000); a slope of 0 means that
        nothing was learned and every system gets the same chance.
    learner_ : the fitted scikit-learn estimator.
    """

    def __init__(
        self,
        method: str = "boosting",
        *,
        signs: Sequence[int] | None = None,
        strengths: Sequence[float] | None = None,
        rounds: int = LearningSettings.rounds,
        learning_rate: float = 0.08,
        folds: int = 3,
        random_state: int = 0,
    ) -> None:
        self.method = method
        self.signs = signs
        self.strengths = strengths
        self.rounds = rounds
        self.learning_rate = learning_rate
        self.folds = folds
        self.random_state = random_state

    def __sklearn_tags__(self) -> Any:
        """Binary only; missing values are welcome."""
        tags = super().__sklearn_tags__()
        tags.classifier_tags.multi_class = False
        tags.input_tags.allow_nan = True
        return tags

    def fit(
        self,
        X: Any,
        y: Any,
        sample_weight: Any = None,
        groups: Any = None,
    ) -> Self:
        """Choose, calibrate and fit.

        Parameters
        ----------
        X
            (n, k) numbers; NaN where unknown.
        y
            (n,) two classes; the greater is failing.
        sample_weight
            (n,) weights of the visits.
        groups
            (n,) block numbers; rows of a block are held out together.
        """
        features, y = validate_data(self, X, y, ensure_all_finite="allow-nan", dtype=np.float64)
        truth = self._truth(y)
        weight = _check_sample_weight(sample_weight, features, dtype=np.float64)
        with _threads(len(features)), _unchecked():
            self._choose(features, truth.astype(float), weight, groups)
            self.learner_ = self._learn(features, truth, weight, self.strength_)
        return self

    def _truth(self, y: Any) -> Whole:
        """Set ``classes_`` and return y as 0 and 1; refuse anything but two classes."""
        check_classification_targets(y)
        kind = type_of_target(y)
        if kind != "binary":
            raise ValueError(
                f"Only binary classification is supported. The type of the target is {kind}."
            )
        self.classes_, truth = np.unique(y, return_inverse=True)
        if len(self.classes_) < 2:
            raise ValueError("Classifier can't train when only one class is present.")
        return np.asarray(truth)

    def decision_function(self, X: Any) -> Floats:
        """Calibrated log-odds of failing, (n,)."""
        check_is_fitted(self)
        return np.asarray(self.slope_ * self.raw_log_odds(X) + self.offset_)

    def raw_log_odds(self, X: Any) -> Floats:
        """Log-odds before calibration, (n,)."""
        check_is_fitted(self)
        features = validate_data(
            self, X, reset=False, ensure_all_finite="allow-nan", dtype=np.float64
        )
        with _threads(len(features)), _unchecked():
            return _log_odds(self.learner_, features)

    def predict_proba(self, X: Any) -> Floats:
        """Chances of not failing and failing, (n, 2)."""
        check_is_fitted(self)
        chance = expit(self.decision_function(X))
        return np.stack([1 - chance, chance], axis=1)

    def predict(self, X: Any) -> npt.NDArray[Any]:
        """More likely class, (n,)."""
        check_is_fitted(self)
        return np.asarray(self.classes_[(self.decision_function(X) > 0).astype(int)])

    def _choose(self, features: Floats, truth: Floats, weight: Floats, groups: Any) -> None:
        """Set strength and calibration from predictions for held-out rows.

        Where these hold one class only, the first strength stays and nothing is calibrated.
        """
        if self.method not in STRENGTHS:
            raise ValueError(f"method must be one of {', '.join(STRENGTHS)}: {self.method!r}.")
        choices = tuple(self.strengths or STRENGTHS[self.method])
        self.strength_, self.slope_, self.offset_ = choices[0], 1.0, 0.0
        folds = self._folds(truth, groups)
        if not folds:
            return
        best = -1.0
        for strength in choices:
            odds = np.full(len(truth), np.nan)
            for train, test in folds:
                learner = self._learn(
                    features[train], truth[train].astype(int), weight[train], strength
                )
                odds[test] = _log_odds(learner, features[test])
            held = ~np.isnan(odds)
            if len(np.unique(truth[held])) < 2:
                return
            precision = float(average_precision(truth[held], odds[held], weight[held]))
            if precision > best:
                best, self.strength_ = precision, strength
                self.slope_, self.offset_ = calibrate(odds[held], truth[held], weight[held])

    def _folds(self, truth: Floats, groups: Any) -> list[tuple[Whole, Whole]]:
        """Folds whose learning and test parts both hold both classes; may be empty."""
        count = int(min(self.folds, truth.sum(), (1 - truth).sum()))
        if groups is not None:
            count = min(count, len(np.unique(groups)))
        if count < 2:
            return []
        random = self.random_state
        if groups is None:
            splits = StratifiedKFold(count, shuffle=True, random_state=random)
            found = splits.split(truth, truth.astype(int))
        else:
            by_block = GroupKFold(count, shuffle=True, random_state=random)
            found = by_block.split(truth, truth, groups)
        return [(a, b) for a, b in found if 0 < truth[a].sum() < len(a)]

    def _learn(
        self,
        features: Floats,
        truth: npt.NDArray[Any],
        weight: Floats,
        strength: float,
    ) -> Any:
        if self.method == "logistic":
            learner = _logistic(float(strength))
            return learner.fit(features, truth, logisticregression__sample_weight=weight)
        boosted = HistGradientBoostingClassifier(
            learning_rate=self.learning_rate,
            max_iter=self.rounds,
            max_leaf_nodes=int(strength),
            min_samples_leaf=max(2, min(20, len(truth) // 20)),
            l2_regularization=1.0,
            monotonic_cst=None if self.signs is None else list(self.signs),
            early_stopping=False,
            random_state=self.random_state,
        )
        learner = make_pipeline(InSteps(STEPS), boosted)
        return learner.fit(features, truth, histgradientboostingclassifier__sample_weight=weight)


def calibrate(odds: Floats, truth: Floats, weight: Floats) -> tuple[float, float]:
    """Slope and offset that turn raw log-odds into calibrated ones, by logistic regression.

    Parameters
    ----------
    odds
        Raw log-odds (n,), best of rows that the classifier was not fitted to.
    truth
        1 failed, 0 sound (n,); both must occur.
    weight
        Weights (n,), 0 or more.

    Returns
    -------
    tuple
        Slope (never negative) and offset. Where the best slope is negative nothing was learned:
        slope 0 and the log-odds of the share.
    """
    share = float(np.clip(np.average(truth, weights=weight), 1e-6, 1 - 1e-6))
    line = LogisticRegression(C=1e6, max_iter=1000)
    line.fit(odds[:, None], truth.astype(int), sample_weight=weight)
    slope, offset = float(line.coef_[0, 0]), float(line.intercept_[0])
    if slope <= 0:
        return 0.0, float(np.log(share / (1 - share)))
    return slope, offset


def _logistic(strength: float) -> Pipeline:
    return make_pipeline(
        SimpleImputer(strategy="median", add_indicator=True, keep_empty_features=True),
        StandardScaler(),
        LogisticRegression(C=strength, max_iter=1000),
    )


def _log_odds(learner: Any, features: Floats) -> Floats:
    odds = np.asarray(learner.decision_function(features), dtype=np.float64)
    return np.asarray(np.clip(odds, -LIMIT, LIMIT))


def _threads(rows: int) -> Any:
    """Keep small fits on one thread: waiting for each other costs threads more than it gains."""
    return _controller().limit(limits=1 if rows < FEW_ROWS else None)


def _unchecked() -> Any:
    """Leave out the library's checks of numbers and parameters, which are checked here once."""
    return config_context(assume_finite=True, skip_parameter_validation=True)


@cache
def _controller() -> Any:
    return ThreadpoolController()
