"""Exact shares of each feature in the classifier's log-odds.

Boosted trees: Shapley values (1953) of the log-odds against a background of other systems, each
feature either from the system or from the background system (interventional). Every leaf is
visited once per pair of systems and its weight is known in closed form, so the shares are exact
(the tree algorithm of Lundberg et al. 2020, from memory). Logistic: coefficient times distance
from the background's mean, exact for the same reason. Shares add up to the system's log-odds less
the background's mean log-odds. The score needs none of this: its points are its explanation.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from sklearn.utils.validation import check_is_fitted

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.compiled import compiled
from riskmap.ranking.classifier import FailureClassifier

MOST_FEATURES: Final = 60
BACKGROUND: Final = 100


@dataclass(frozen=True)
class Explanation:
    """``shares`` (n, k) of the calibrated log-odds; ``base`` the background's mean log-odds.

    For every row, ``base`` plus its shares is the classifier's ``decision_function``.
    """

    shares: pd.DataFrame
    base: float


def explain(
    classifier: FailureClassifier, features: pd.DataFrame, background: pd.DataFrame
) -> Explanation:
    """Explain some systems against a background of others, at most a few thousand against 100.

    Parameters
    ----------
    classifier
        A fitted classifier.
    features
        (n, k) systems to explain, such as those on a list.
    background
        (b, k) systems to compare with; the first 100 of a shuffled county do.

    Raises
    ------
    ValueError
        For more than 60 features.
    """
    check_is_fitted(classifier)
    numbers, others = features.to_numpy(dtype=float), background.to_numpy(dtype=float)
    if numbers.shape[1] > MOST_FEATURES:
        raise ValueError(f"at most {MOST_FEATURES} features can be explained.")
    by_method = _boosted_shares if classifier.method == "boosting" else _logistic_shares
    shares = classifier.slope_ * by_method(classifier.learner_, numbers, others)
    base = float(np.mean(classifier.decision_function(background)))
    table = pd.DataFrame(shares, index=features.index, columns=features.columns)
    return Explanation(table, base)


def sample_background(features: pd.DataFrame, *, seed: int = 0) -> pd.DataFrame:
    """Draw 100 systems of the county (all, if fewer) to compare with."""
    return features.sample(min(BACKGROUND, len(features)), random_state=seed)


def _logistic_shares(learner: Any, numbers: Floats, others: Floats) -> Floats:
    """Coefficient times distance; a feature and its mark of being unknown are one."""
    prepare, line = learner[:-1], learner[-1]
    apart = prepare.transform(numbers) - prepare.transform(others).mean(axis=0)
    parts = apart * line.coef_[0]
    count = numbers.shape[1]
    shares = parts[:, :count].copy()
    marked = learner[0].indicator_.features_
    for place, feature in enumerate(marked):
        shares[:, feature] += parts[:, count + place]
    return np.asarray(shares)


def _boosted_shares(learner: Any, numbers: Floats, others: Floats) -> Floats:
    """Sum of every tree's exact shares, averaged over the background."""
    steps, boosted = learner[0], learner[-1]
    own, rest = steps.transform(numbers), steps.transform(others)
    factorials = np.cumprod(np.concatenate([[1.0], np.arange(1.0, MOST_FEATURES + 2)]))
    shares = np.zeros(numbers.shape)
    for (tree,) in boosted._predictors:
        nodes = tree.nodes
        if nodes["is_categorical"].any():
            raise ValueError("trees with splits by category cannot be explained.")
        tree_shares(
            own,
            rest,
            nodes["feature_idx"].astype(np.int64),
            nodes["num_threshold"].astype(np.float64),
            nodes["missing_go_to_left"].astype(np.bool_),
            np.stack([nodes["left"], nodes["right"]], axis=1).astype(np.int64),
            nodes["is_leaf"].astype(np.bool_),
            nodes["value"].astype(np.float64),
            factorials,
            shares,
        )
    return shares / len(others)


@compiled
def next_node(
    x: Floats,
    node: int,
    feature: Whole,
    threshold: Floats,
    missing_left: npt.NDArray[np.bool_],
    child: Whole,
) -> int:
    """Child of a node that a system goes to.

    Parameters
    ----------
    x
        Features of the system (k,); NaN where unknown.
    node
        Number of the node, no leaf.
    feature, threshold, missing_left
        Of each node: feature it splits by, greatest value that goes left, and whether a missing
        value goes left.
    child
        Left and right child of each node (nodes, 2).
    """
    value = x[feature[node]]
    left = missing_left[node] if np.isnan(value) else value <= threshold[node]
    return int(child[node, 0] if left else child[node, 1])


@compiled
def add_leaf(own: int, rest: int, value: float, factorials: Floats, shares: Floats) -> None:
    """Add a leaf that needs the features of bit set `own` from the system, `rest` from the other.

    The leaf is reached by a coalition that holds all of `own` and none of `rest`; the weights are
    those of Shapley's formula summed over all such coalitions.

    Parameters
    ----------
    own, rest
        Bit sets of features, one bit each from the lowest.
    value
        Log-odds of the leaf.
    factorials
        0!, 1!, 2! ... up to the number of features.
    shares
        Shares of the features (k,), added to.
    """
    count_own, count_rest = 0, 0
    for f in range(shares.size):
        count_own += (own >> f) & 1
        count_rest += (rest >> f) & 1
    total = factorials[count_own + count_rest]
    for f in range(shares.size):
        if (own >> f) & 1:
            shares[f] += value * factorials[count_own - 1] * factorials[count_rest] / total
        elif (rest >> f) & 1:
            shares[f] -= value * factorials[count_own] * factorials[count_rest - 1] / total


@compiled
def tree_shares(
    own: Floats,
    rest: Floats,
    feature: Whole,
    threshold: Floats,
    missing_left: npt.NDArray[np.bool_],
    child: Whole,
    is_leaf: npt.NDArray[np.bool_],
    value: Floats,
    factorials: Floats,
    shares: Floats,
) -> None:
    """Add one tree's shares, summed over the background, to `shares`.

    At a split where the two systems go different ways, a feature not yet met may come from
    either; one met before keeps its side.

    Parameters
    ----------
    own, rest
        Systems to explain (n, k) and the background (b, k); NaN where unknown.
    feature, threshold, missing_left, child
        As in :func:`next_node`.
    is_leaf, value
        Whether a node is a leaf, and its log-odds.
    factorials
        As in :func:`add_leaf`.
    shares
        (n, k), added to.
    """
    stack = np.empty((2 * feature.size + 2, 3), np.int64)
    for i in range(own.shape[0]):
        for j in range(rest.shape[0]):
            stack[0, 0], stack[0, 1], stack[0, 2] = 0, 0, 0
            height = 1
            while height > 0:
                height -= 1
                node, mine, theirs = stack[height, 0], stack[height, 1], stack[height, 2]
                if is_leaf[node]:
                    add_leaf(mine, theirs, value[node], factorials, shares[i])
                    continue
                to_mine = next_node(own[i], node, feature, threshold, missing_left, child)
                to_theirs = next_node(rest[j], node, feature, threshold, missing_left, child)
                bit = np.int64(1) << feature[node]
                same = to_mine == to_theirs
                if same or not theirs & bit:
                    stack[height, 0], stack[height, 1] = to_mine, mine if same else mine | bit
                    stack[height, 2] = theirs
                    height += 1
                if not same and not mine & bit:
                    stack[height, 0], stack[height, 1] = to_theirs, mine
                    stack[height, 2] = theirs | bit
                    height += 1
