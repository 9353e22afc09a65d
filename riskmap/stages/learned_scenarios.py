"""What a learned ranking says of the county in each scenario, and how sure it is of itself."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd
from scipy.special import expit

from riskmap.contract.arrays import Floats
from riskmap.ranking.model import Model
from riskmap.ranking.outcomes import THOUSANDTHS
from riskmap.ranking.score import score
from riskmap.stages.learning import Learning, fit_again
from riskmap.stages.scenarios import LearnedChance, Limits

MEMBERS: Final = 16
"""Learners fitted to resampled visits; the scenarios take them in turn."""


def learned_chance_of(
    learning: Learning | None, features: pd.DataFrame, model: Model, *, seed: int
) -> LearnedChance | None:
    """Give the learned chance in a scenario; None where the condition model ranks.

    The odds are those of a learner fitted to resampled visits, on the
    scenario's own features.

    Parameters
    ----------
    learning
        What was learned; None: nothing.
    features
        The ranked systems (n).
    model
        The scoring model.
    seed
        Of the resampled visits.

    Returns
    -------
    function
        From the scenario's number, the drawn features and the limitations to chances (n,).
    """
    if learning is None or learning.classifier is None or learning.present is None:
        return None
    numbers = learning.present.features.loc[features.index]
    base = score(features, model)
    columns = [str(name) for name in numbers.columns]
    members = fit_again(learning, MEMBERS, seed=seed)
    words = {f.feature: f.name for f in model.of("failure") if f.table}
    worth = {f.name: f.weight * model.scale("failure") for f in model.of("failure")}

    def chance(scenario: int, drawn: Mapping[str, Floats], limits: Limits) -> Floats:
        changed = {
            name: limits[words[name]] / THOUSANDTHS if name in words else drawn[name]
            for name in columns
            if name in drawn
        }
        if "score" in columns:
            points = base.points[list(worth)].copy()
            for name in worth.keys() & limits.keys():
                points[name] = worth[name] * limits[name] / THOUSANDTHS
            changed["score"] = points.sum(axis=1).to_numpy(float)
        odds: Floats = members[scenario % len(members)].decision_function(numbers.assign(**changed))
        return np.asarray(expit(odds))

    return chance
