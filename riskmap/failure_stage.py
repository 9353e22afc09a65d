"""The failure room at work on a county's inventory."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from riskmap.failure.ageing import AgeingModel, chance_failing_frac
from riskmap.failure.assess import FailureChoices, assess_failure
from riskmap.failure.service_life import fit_ageing
from riskmap.features import FAILURE
from riskmap.ranking.model import Model
from riskmap.ranking.score import factor_points, hazard_multiplier
from riskmap.region import Rules

ROOM: Final = ("room_m2", "room_needed_m2", "room_ratio", "replacement")
"""Columns of :data:`riskmap.features.FAILURE` that the inventory's geometry gives."""


def learn_ageing(history: pd.DataFrame) -> dict[str, AgeingModel]:
    """Ageing curves by kind, learnt from the county's permits where they are enough."""
    return fit_ageing(
        history["kind"].to_numpy(object),
        history["age_yr"].to_numpy(float),
        history["failed"].to_numpy(bool),
        entry_age_yr=history["entry_age_yr"].to_numpy(float),
    )


def failure_features(
    features: pd.DataFrame, *, rules: Rules, ageing: Mapping[str, AgeingModel]
) -> pd.DataFrame:
    """Columns of :data:`riskmap.features.FAILURE`, for parcels that may have a system."""
    served = features["service"].isin(["onsite", "unknown"])
    choices = FailureChoices(
        flow_rule=rules.flow_rule, accept_rule=rules.accept_rule, horizon_yr=rules.horizon_yr
    )
    found = assess_failure(features[served], choices=choices, ageing=ageing)
    names = [feature.name for feature in FAILURE if feature.name not in ROOM]
    marked = [column for name in names for column in (name, f"{name}_evidence")]
    table = found[marked].reindex(features.index)
    marks = [f"{name}_evidence" for name in names]
    table[marks] = table[marks].fillna("unknown")
    return table


def chance_of_failing(
    features: pd.DataFrame, model: Model, *, rules: Rules, ageing: Mapping[str, AgeingModel]
) -> pd.DataFrame:
    """Chance of failing within the horizon, the failure points acting on the ageing curve."""
    _, points = factor_points(features, model, "failure")
    chance = chance_failing_frac(
        features["kind"].fillna("unknown").to_numpy(object),
        features["age_yr"].to_numpy(float),
        within_yr=rules.horizon_yr,
        hazard_multiplier=hazard_multiplier(points, model).to_numpy(),
        models=ageing,
    )
    served = features["service"].isin(["onsite", "unknown"]).to_numpy()
    chance = np.where(served, chance, np.nan)
    marks = np.where(np.isnan(chance), "unknown", "inferred")
    return pd.DataFrame(
        {"chance_failing_frac": chance, "chance_failing_frac_evidence": marks},
        index=features.index,
    )
