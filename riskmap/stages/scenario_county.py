"""Puts together what the scenarios of a county are drawn from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from riskmap.condition.fit import Fit
from riskmap.contract.arrays import Floats
from riskmap.groundwater.rerun import rerun
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.inventory.soil_mixtures import soil_mixtures
from riskmap.ranking.model import Model
from riskmap.ranking.score import limits_used
from riskmap.stages.condition_scenarios import drawn_chances
from riskmap.stages.county import County
from riskmap.stages.groundwater import Groundwater, fed_yr
from riskmap.stages.learned_scenarios import learned_chance_of
from riskmap.stages.learning import Learning
from riskmap.stages.scenario_records import county_records
from riskmap.stages.scenarios import (
    CountyScenarios,
    Reached,
    soils_read,
)

FOLLOWED: Final = {
    "persons": "persons",
    "age_yr": "age_yr",
    "chance_failing_frac": "chance_failing_frac",
    "vulnerability_frac": "vulnerability",
    "daily_flow_l_d": "flow_l_d",
}
"""Record of a system that groundwater follows -> what a scenario draws."""


def county_scenarios(
    features: pd.DataFrame,
    county: County,
    model: Model,
    *,
    component_ratings: pd.DataFrame,
    soil_shares: pd.DataFrame,
    margin: float,
    groundwater: Groundwater | None,
    learning: Learning | None,
    fit: Fit,
) -> CountyScenarios:
    """Describe the doubt of the rows of `features` (ranked systems, with all that was found).

    Parameters
    ----------
    features
        Index ``parcel_id``.
    county
        Region and layers.
    model, component_ratings, soil_shares, aging, groundwater, learning
        Things of the stages before, by their names in :mod:`riskmap.stages.order`.
    margin
        How many times the sizing rule's rate the county's fields pass.
    """
    region = county.region
    own = soil_shares[soil_shares["parcel_id"].isin(features.index)]
    soils = soil_mixtures(own, component_ratings)
    soils = {name: soils[name] for name in sorted(soils_read(model) | {"drainage_class"})}
    houses = county.tables["parcels"].set_index("parcel_id")["year_built"].astype(float)
    records = county_records(
        features, houses, soils, year=region.county.date.year, rules=region.rules
    )
    limits = limits_used(features, model)
    reached = None if groundwater is None else groundwater_again(groundwater, features.index)
    return CountyScenarios(
        systems=features.index,
        records=records,
        model=model,
        chances=drawn_chances(
            fit, features.index, limits, within_yr=region.rules.horizon_yr, seed=region.run.seed
        ),
        aim=region.lists.aim,
        margin=margin,
        rules=region.rules,
        failure=region.failure,
        reached=reached,
        water=region.groundwater if reached is not None else None,
        learned_chance=learned_chance_of(learning, features, model, seed=region.run.seed),
    )


def groundwater_again(groundwater: Groundwater, ranked: pd.Index) -> Reached | None:
    """Return the groundwater's arithmetic on the drawn records of the ranked systems.

    Systems that are followed but not ranked keep their own records. None where nothing was kept to
    run again.
    """
    prepared, systems = groundwater.rerun, groundwater.systems
    place = systems.index.get_indexer(ranked)
    if prepared is None or (place < 0).any():
        return None
    base = {name: systems[name].to_numpy(np.float64) for name in FOLLOWED}

    def reached(
        settings: GroundwaterSettings, records: Mapping[str, Floats]
    ) -> Mapping[str, Floats]:
        given = {name: values.copy() for name, values in base.items()}
        for name, feature in FOLLOWED.items():
            given[name][place] = records[feature]
        for name in ("persons", "daily_flow_l_d"):
            given[name][place] *= systems["present_frac"].to_numpy(float)[place]
        given["age_yr"] = fed_yr(given["age_yr"], systems["house_yr"].to_numpy(float))
        found = rerun(prepared, settings, **given)
        return {name: values[place] for name, values in found.items()}

    return reached
