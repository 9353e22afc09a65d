"""The leading reasons of each parcel in plain words, and what is unknown of it."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.features import FEATURES, in_sentence
from riskmap.contract.quantities import Units
from riskmap.ranking.model import REASON_PARTS, Factor, Model
from riskmap.ranking.score import Scores

REASONS: Final = 3
REASON_COLUMNS: Final = tuple(f"reason_{place + 1}" for place in range(REASONS))
LEAST_LIMITATION: Final = 0.2
"""A factor whose limitation is below this is never named as a reason."""


def leading_reasons(
    features: pd.DataFrame,
    scores: Scores,
    model: Model,
    *,
    units: Units,
) -> pd.DataFrame:
    """Name the factors that add most to the priority, in plain words.

    A factor's part in the priority is its points times its score's share. Only factors whose
    feature is known and whose limitation is at least :data:`LEAST_LIMITATION` count; of several
    factors that read the same feature only the strongest is named.

    Parameters
    ----------
    features
        Inventory rows (n).
    scores
        Their scores, from :func:`riskmap.ranking.score.score`.
    model
        The scoring model that they were made with.
    units
        ``us`` or ``si``, for the values in the sentences.

    Returns
    -------
    DataFrame
        Columns ``reason_1 .. reason_3``; empty text where there are fewer reasons.
    """
    parts = _parts(scores, model)
    order = np.argsort(-parts.to_numpy(), axis=1, kind="stable")[:, :REASONS]
    strength = np.take_along_axis(parts.to_numpy(), order, axis=1)
    result = pd.DataFrame(index=features.index)
    for place, name in enumerate(REASON_COLUMNS):
        chosen = np.where(strength[:, place] > 0, order[:, place], -1)
        result[name] = _sentences(features, model, chosen, units)
    return result


def _parts(scores: Scores, model: Model) -> pd.DataFrame:
    counts = scores.limits >= LEAST_LIMITATION
    share = pd.Series({factor.name: model.share(factor.score) for factor in model.factors})
    parts = (scores.points * share).where(counts, 0.0)
    for feature in {factor.feature for factor in model.factors}:
        names = [factor.name for factor in model.factors if factor.feature == feature]
        if len(names) > 1:
            strongest = parts[names].to_numpy().argmax(axis=1)
            keep = np.arange(len(names)) == strongest[:, None]
            parts[names] = parts[names].where(keep, 0.0)
    return parts


def _sentences(
    features: pd.DataFrame,
    model: Model,
    chosen: np.ndarray,
    units: Units,
) -> pd.Series:
    text = pd.Series("", index=features.index, dtype="string")
    for number, factor in enumerate(model.factors):
        rows = chosen == number
        if rows.any():
            text[rows] = _worded(factor, features[rows], units)
    return text.str.replace(r"^(.)", lambda first: first.group(1).upper(), regex=True)


def _worded(factor: Factor, features: pd.DataFrame, units: Units) -> pd.Series:
    text = _filled(factor.reason, factor.feature, features, units)
    if not factor.reason_at_zero:
        return text
    nothing = in_sentence(pd.Series([0.0]), factor.feature, units).iloc[0]
    read = in_sentence(features[factor.feature], factor.feature, units)
    at_zero = _filled(factor.reason_at_zero, factor.feature, features, units)
    return text.mask(read == nothing, at_zero)


def _filled(reason: str, read: str, features: pd.DataFrame, units: Units) -> pd.Series:
    """Fill a reason's ``{value}``, the factor's own feature, and any ``{feature}``."""
    text = pd.Series("", index=features.index, dtype="string")
    for plain, name in REASON_PARTS.findall(reason):
        text = text + plain
        feature = read if name == "value" else name
        if feature:
            text = text + in_sentence(features[feature], feature, units)
    return text


def unknown_list(scores: Scores, model: Model) -> pd.Series:
    """List what to ask for where a factor's feature is unknown, as one text per row."""
    text = pd.Series("", index=scores.limits.index, dtype="string")
    labels: dict[str, str] = {}
    for factor in model.factors:
        labels.setdefault(factor.feature, factor.name)
    for factor in model.factors:
        if labels[factor.feature] != factor.name:
            continue
        missing = scores.limits[factor.name].isna()
        joint = text.where(text == "", text + "; ")
        text = text.where(~missing, joint + (_asked(factor) or factor.label))
    return text


def _asked(factor: Factor) -> str:
    return FEATURES[factor.feature].asked if factor.feature in FEATURES else ""
