"""Runs the failure models on a county's inventory."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from riskmap.contract.features import FIELD
from riskmap.contract.rules import Rules
from riskmap.contract.vocabulary import may_be_onsite
from riskmap.failure.aging import AgingModel
from riskmap.failure.assess import assess_failure
from riskmap.failure.calibration import FieldMargin, expected_failed_frac, fit_margin
from riskmap.failure.service_life import fit_aging
from riskmap.failure.settings import FailureSettings
from riskmap.stages.county import County


def learn_aging(history: pd.DataFrame) -> dict[str, AgingModel]:
    """Aging curves by kind, learned from the county's permits where they are enough."""
    return fit_aging(
        history["kind"].to_numpy(object),
        history["age_yr"].to_numpy(float),
        history["failed"].to_numpy(bool),
        entry_age_yr=history["entry_age_yr"].to_numpy(float),
    )


def failure_features(
    features: pd.DataFrame,
    *,
    rules: Rules,
    physics: FailureSettings,
    aging: Mapping[str, AgingModel],
    margin: float | None = None,
) -> tuple[pd.DataFrame, FieldMargin]:
    """Columns of :data:`riskmap.contract.features.FAILURE`, for parcels that may have a system.

    Parameters
    ----------
    features
        The inventory, index ``parcel_id``.
    rules, physics
        The region's.
    aging
        Survival curves by kind.
    margin
        One found before, to see the same systems by the same model at another time.

    Returns
    -------
    The columns, and the margin that the county's fields were found to have, or that was given.
    """
    served = may_be_onsite(features["service"])
    systems = features[served]
    expected = expected_failed_frac(
        systems["kind"].fillna("unknown").to_numpy(object),
        systems["age_yr"].to_numpy(float),
        models=aging,
        unrepaired_yr=rules.unrepaired_yr,
    )
    if margin is None:
        fitted = fit_margin(systems, rules=rules, physics=physics, expected_frac=expected)
    else:
        fitted = FieldMargin(margin, expected, float("nan"), float("nan"))
    found = assess_failure(systems, rules=rules, physics=physics, margin=fitted.margin, aging=aging)
    names = [column.name for column in FIELD]
    marked = [column for name in names for column in (name, f"{name}_evidence")]
    table = found[marked].reindex(features.index)
    marks = [f"{name}_evidence" for name in names]
    table[marks] = table[marks].fillna("unknown")
    return table, fitted


def learn_county_aging(county: County, service_history: pd.DataFrame) -> dict[str, AgingModel]:
    """Do :func:`learn_aging` as a stage."""
    return learn_aging(service_history)


def assess_county_failure(
    county: County, inventory: pd.DataFrame, aging: Mapping[str, AgingModel]
) -> tuple[pd.DataFrame, FieldMargin]:
    """Do :func:`failure_features` as a stage, by the region's rules.

    Parameters
    ----------
    county
        Gives the region's rules and physics.
    inventory
        All parcels; index ``parcel_id``.
    aging
        Curve by kind of system.

    Returns
    -------
    tuple
        The columns of :data:`riskmap.contract.features.FIELD` with their evidence, and the margin
        fitted.
    """
    region = county.region
    return failure_features(inventory, rules=region.rules, physics=region.failure, aging=aging)
