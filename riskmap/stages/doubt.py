"""How sure the ranks are, and what to find out next, for a whole county."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from riskmap.condition.fit import Fit
from riskmap.contract.features import DOUBT
from riskmap.failure.calibration import FieldMargin
from riskmap.ranking.information import (
    collection_list,
    describe_collection,
    record_values,
    weight_sensitivity,
)
from riskmap.ranking.model import Model
from riskmap.ranking.score import limits_used
from riskmap.ranking.uncertainty import propagate
from riskmap.region.sections import Region
from riskmap.stages.county import County
from riskmap.stages.groundwater import Groundwater
from riskmap.stages.learning import Learning
from riskmap.stages.scenario_county import county_scenarios
from riskmap.stages.scenarios import CountyScenarios, draw_outcomes

if TYPE_CHECKING:
    from riskmap.stages.result import Result

_ENDS: Final = {"low": "p05", "middle": "p50", "high": "p95"}


def _drawn(name: str) -> str:
    """Column of the Monte Carlo that becomes a column of the result.

    >>> _drawn("rank_low"), _drawn("top_chance_error")
    ('priority_rank_p05', 'priority_top_error')
    """
    of, _, end = name.rpartition("_")
    if end in _ENDS:
        return f"{'priority_rank' if of == 'rank' else of}_{_ENDS[end]}"
    return f"priority_{name.replace('chance_', '')}"


DOUBT_COLUMNS: Final = {_drawn(column.name): column.name for column in DOUBT}
"""Column of the Monte Carlo -> column of the result."""


@dataclass(frozen=True)
class CountyDoubt:
    """What the stage gives besides the parcels' columns.

    ``top``: the length of the list that the chances are for. ``draws``: how many, over so many
    ``scenarios``. ``collect``: which records to collect, best first, and the same in words.
    ``sensitivity``: how the list moves with each weight.
    """

    top: int
    draws: int
    scenarios: int
    collect: pd.DataFrame
    collect_words: str
    sensitivity: pd.DataFrame


def carry_doubt(
    county: County,
    features: pd.DataFrame,
    ranked: pd.DataFrame,
    model: Model,
    component_ratings: pd.DataFrame,
    soil_shares: pd.DataFrame,
    field_margin: FieldMargin,
    groundwater: Groundwater | None,
    learning: Learning | None,
    condition_fit: Fit | None,
) -> tuple[pd.DataFrame, CountyDoubt | None]:
    """Do :func:`doubt_columns` as a stage, for the ranked systems and all that is behind them.

    Parameters
    ----------
    county
        Region and layers.
    features, ranked
        All features, and scores and ranks, of all parcels; index ``parcel_id``.
    model, component_ratings, soil_shares, aging, field_margin, groundwater, learning
        Things of the stages before, by their names in :mod:`riskmap.stages.order`.
    """
    systems = features[ranked["rank"].notna()]
    if condition_fit is None:
        return _no_doubt(systems.index), None
    scenarios = county_scenarios(
        systems,
        county,
        model,
        component_ratings=component_ratings,
        soil_shares=soil_shares,
        margin=field_margin.margin,
        groundwater=groundwater,
        learning=learning,
        fit=condition_fit,
    )
    return doubt_columns(systems, scenarios, county.region)


def scenarios_of(result: Result, rows: pd.Index) -> CountyScenarios:
    """Return what the scenarios of some ranked systems of a result are drawn from."""
    fit = result.condition_fit
    if fit is None:
        raise ValueError("no parcel of the county has a system.")
    return county_scenarios(
        result.features.loc[rows],
        result.county,
        result.model,
        component_ratings=result.component_ratings,
        soil_shares=result.soil_shares,
        margin=result.field_margin.margin,
        groundwater=result.groundwater,
        learning=result.learning,
        fit=fit,
    )


def _no_doubt(systems: pd.Index) -> pd.DataFrame:
    return pd.DataFrame(index=systems, columns=list(DOUBT_COLUMNS.values()))


def doubt_columns(
    features: pd.DataFrame, scenarios: CountyScenarios, region: Region
) -> tuple[pd.DataFrame, CountyDoubt | None]:
    """90% ranges of scores and ranks, and the chance to belong on the list, of ranked parcels.

    Parameters
    ----------
    features
        Rows of the parcels that have a rank; the county's other parcels are left out.
    scenarios
        What their records leave open, and the physics to run on them.

    Returns
    -------
    Columns of :data:`DOUBT_COLUMNS`, and the county's doubt; nothing for fewer than two parcels.
    There is no chance to be on a list that holds every parcel.
    """
    if len(features) < 2 or region.run.draws == 0:
        return _no_doubt(features.index), None
    model = scenarios.model
    top = region.lists.length(len(features))
    outcomes = draw_outcomes(scenarios, seed=region.run.seed)
    found = propagate(
        features,
        model,
        top=top,
        draws=region.run.draws,
        seed=region.run.seed,
        outcomes=outcomes,
    )
    collect = collection_list(record_values(found, model), look_ups=100)
    limits = limits_used(features, model)
    table = found.table[list(DOUBT_COLUMNS)].rename(columns=DOUBT_COLUMNS)
    if top == len(features):
        table[["top_chance", "top_chance_error"]] = np.nan
    return table, CountyDoubt(
        top=top,
        draws=found.draws,
        scenarios=outcomes.limits.shape[2],
        collect=collect,
        collect_words=describe_collection(collect, top=top),
        sensitivity=weight_sensitivity(limits, model, top=top),
    )
