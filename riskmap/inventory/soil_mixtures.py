"""The soils under a treatment area as what they are: a mixture, one of which is really there."""

from __future__ import annotations

from typing import Final

import pandas as pd

from riskmap.contract.features import FEATURES
from riskmap.inventory.soils import SURVEY_DEPTH_CM

OF_FEATURE: Final = {
    name: found.of_components for name, found in FEATURES.items() if found.of_components
}
"""Inventory feature -> column of the component ratings."""

DEPTHS: Final = ("wet_depth_cm", "restriction_cm")


def soil_mixtures(
    soil_shares: pd.DataFrame, component_ratings: pd.DataFrame
) -> dict[str, pd.DataFrame]:
    """Values of each soil feature in the components under each parcel's treatment area.

    Parameters
    ----------
    soil_shares
        ``parcel_id, mukey, frac`` as :func:`riskmap.inventory.soils.describe_soils` gives it.
    component_ratings
        As made by :func:`riskmap.inventory.soil_limits.rate_components`.

    Returns
    -------
    dict
        Feature -> table ``parcel_id, value, share``; all list the same components in the same
        order. The share is the map unit's share of the area times the component's percentage.
        Unrated components are left out; a depth that the survey does not name is "deeper than it
        looked".
    """
    listed = component_ratings[component_ratings["comppct"].gt(0)]
    listed = listed[listed["rating"].notna()].rename_axis("cokey").reset_index()
    joint = soil_shares.merge(listed, on="mukey").sort_values(
        ["parcel_id", "mukey", "cokey"], kind="stable", ignore_index=True
    )
    share = joint["frac"] * joint["comppct"] / 100
    tables = {}
    for feature, column in OF_FEATURE.items():
        values = joint[column]
        if feature in DEPTHS:
            values = values.fillna(SURVEY_DEPTH_CM).clip(upper=SURVEY_DEPTH_CM)
        tables[feature] = pd.DataFrame(
            {"parcel_id": joint["parcel_id"], "value": values, "share": share}
        )
    return tables
