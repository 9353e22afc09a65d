"""From a county's layers to the ranked table, stage by stage."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import geopandas as gpd
import pandas as pd

from riskmap.contract.features import FEATURES
from riskmap.failure.aging import AgingModel
from riskmap.failure.calibration import FieldMargin
from riskmap.ranking.explanations import Explanation
from riskmap.ranking.fairness import refuse_protected
from riskmap.ranking.model import Model
from riskmap.ranking.service_classifier import Service
from riskmap.ranking.table import ranked_table
from riskmap.region.model_file import read_model
from riskmap.region.read import Region
from riskmap.stages.doubt import CountyDoubt, doubt_columns
from riskmap.stages.drift import CountyDrift, compare_with_earlier, read_earlier
from riskmap.stages.failure import chance_of_failing, failure_features, learn_aging
from riskmap.stages.fairness import CountyFairness, judge_fairness
from riskmap.stages.groundwater import Groundwater, groundwater_features
from riskmap.stages.inventory import Described, describe_county
from riskmap.stages.learning import Learning, follow_learning, learn_from_visits
from riskmap.stages.listing import in_list_order, list_length
from riskmap.stages.loading import County
from riskmap.stages.progress import Progress
from riskmap.stages.room import room_features
from riskmap.stages.scenario_county import county_scenarios
from riskmap.stages.scenarios import CountyScenarios
from riskmap.stages.service import fill_service
from riskmap.stages.validation import WellValidation, well_validation
from riskmap.stages.zones import Planning, plan_zones


@dataclass(frozen=True)
class Result:
    """What a run gives.

    ``parcels``: one row per parcel (index ``parcel_id``), lot polygons, features with evidence,
    points, scores, ranks, reasons, doubt. ``described``: the inventory and what stands behind it.
    ``replacement_places``: the best place for another field, where there is one. ``aging``: the
    curves learned from the county's permits or kept as published. ``field_margin``: how much more
    than the sizing rule's rate the county's fields were found to pass. ``groundwater``: wells,
    pairs and surface behind the groundwater columns, ``planning``: zones and capture areas, None
    where no terrain was given. ``well_validation``: predictions held against the county's samples.
    ``doubt``: what the chances speak of and which records to collect, None where none was wanted.
    ``service``:
    what was inferred of sewer or onsite, None where nothing was open. ``drift``:
    what changed since an earlier run, None where none was named. ``fairness``: how picks fall
    across neighborhoods, None where there are none to compare. ``learning``: what
    came of learning from visits, None where it is off or there are none; ``learned_reasons``: the
    exact shares behind the learned odds of the listed systems, None where the score speaks.
    """

    county: County
    model: Model
    described: Described
    parcels: gpd.GeoDataFrame
    replacement_places: gpd.GeoDataFrame
    aging: Mapping[str, AgingModel]
    field_margin: FieldMargin
    groundwater: Groundwater | None
    planning: Planning | None
    well_validation: WellValidation | None
    doubt: CountyDoubt | None
    service: Service | None
    drift: CountyDrift | None
    fairness: CountyFairness | None
    learning: Learning | None
    learned_reasons: Explanation | None

    @property
    def region(self) -> Region:
        """The region that was run."""
        return self.county.region

    @property
    def data_quality(self) -> pd.DataFrame:
        """Every defect met, with what was done about it."""
        return self.county.defects

    def scenarios(self, systems: pd.Index) -> CountyScenarios:
        """Return what scenarios of some of the ranked systems are drawn from, to draw anew."""
        return county_scenarios(
            pd.DataFrame(self.parcels.loc[systems].drop(columns="geometry")),
            self.county,
            self.model,
            self.described,
            aging=self.aging,
            margin=self.field_margin.margin,
            groundwater=self.groundwater,
            learning=self.learning,
        )


def assess_county(county: County, progress: Progress | None = None) -> Result:
    """Describe, score and rank every parcel of a county."""
    progress = progress or Progress()
    region = county.region
    model = read_model(region.model_file, features=FEATURES)
    refuse_protected(factor.feature for factor in model.factors)
    earlier = None if region.before is None else read_earlier(region.before)
    described = describe_county(county, progress)
    with progress.stage("infer service"):
        features, service = fill_service(described.features, county)
        described = replace(described, features=features)
    with progress.stage("assess failure"):
        aging = learn_aging(described.service_history)
        failing, margin = failure_features(features, rules=region.rules, aging=aging)
        features = features.join(failing)
    with progress.stage("find room on the lots"):
        room, places = room_features(features, described.lots, described.areas, county)
        features = features.join(room)
    with progress.stage("chance of failing"):
        chance = chance_of_failing(features, model, rules=region.rules, aging=aging)
        features = features.join(chance)
    with progress.stage("follow groundwater"):
        reached, groundwater = groundwater_features(features, county)
        features = features.join(reached)
    with progress.stage("score and rank"):
        cuts = region.rules.class_cuts
        ranked = ranked_table(features, model, declared=FEATURES, units=region.units, cuts=cuts)
    with progress.stage("learn from visits"):
        learning = learn_from_visits(county, features, model)
        ranked, told = follow_learning(ranked, features, learning, model, region)
    with progress.stage("carry doubt"):
        systems = features[ranked["rank"].notna()]
        scenarios = county_scenarios(
            systems,
            county,
            model,
            described,
            aging=aging,
            margin=margin.margin,
            groundwater=groundwater,
            learning=learning,
        )
        doubted, doubt = doubt_columns(systems, scenarios, region)
    table = features.join(ranked).join(doubted)
    with progress.stage("compare and hold against need"):
        listed = in_list_order(table, region.list_order)
        fairness = judge_fairness(listed, region)
        top = list_length(table, region)
        drift = (
            None
            if earlier is None
            else compare_with_earlier(earlier, table, model, region, top=top)
        )
    parcels = gpd.GeoDataFrame(table, geometry=described.lots.geometry, crs=county.crs)
    with progress.stage("draw zones, check wells"):
        planning = None if groundwater is None else plan_zones(parcels, groundwater, county)
        validation = _validated(county, groundwater)
    return Result(
        county=county,
        model=model,
        described=described,
        parcels=parcels,
        replacement_places=places,
        aging=aging,
        field_margin=margin,
        groundwater=groundwater,
        planning=planning,
        well_validation=validation,
        doubt=doubt,
        service=service,
        drift=drift,
        fairness=fairness,
        learning=learning,
        learned_reasons=told,
    )


def _validated(county: County, groundwater: Groundwater | None) -> WellValidation | None:
    if groundwater is None:
        return None
    samples = county.tables.get("well_samples")
    return well_validation(groundwater, samples, seed=county.region.seed)
