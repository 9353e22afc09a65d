"""From a county's layers to the ranked table, in stages, chunk by chunk where it is large."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.failure.ageing import AgeingModel
from riskmap.failure_stage import chance_of_failing, failure_features, learn_ageing
from riskmap.features import FEATURES
from riskmap.groundwater_stage import Groundwater, groundwater_features
from riskmap.inventory.inventory import (
    Inventory,
    Layers,
    Options,
    complete_inventory,
    describe_chunk,
    prepare_layers,
)
from riskmap.inventory.permits import match_permits
from riskmap.inventory.service_history import decimal_year_of, service_history
from riskmap.inventory.siting import SitingRules
from riskmap.inventory.soil_limits import rate_components
from riskmap.loading import County
from riskmap.model_file import read_model
from riskmap.progress import Progress
from riskmap.ranking.model import Model
from riskmap.ranking.table import ranked_table
from riskmap.region import Region
from riskmap.room_stage import room_features

TABLE_LAYERS: Final = (
    "soil_units",
    "permits",
    "inspections",
    "buildings",
    "sewer_area",
    "streams",
    "waterbodies",
    "floodplain",
    "wells",
)


@dataclass(frozen=True)
class Result:
    """What a run gives.

    ``parcels``: one row per parcel (index ``parcel_id``), lot polygons, features with evidence,
    points, scores, ranks, reasons. ``treatment_areas``: the likely treatment areas as drawn;
    ``replacement_places``: the best place for another field, where there is one.
    ``soil_shares``: map units under each. ``component_ratings``: the soil rule's answers.
    ``service_history``: lives of systems from the permits; ``ageing``: the curves learnt from them
    or kept as published. ``groundwater``: wells, pairs and surface behind the groundwater columns,
    None where no terrain was given.
    """

    county: County
    model: Model
    parcels: gpd.GeoDataFrame
    treatment_areas: gpd.GeoDataFrame
    replacement_places: gpd.GeoDataFrame
    soil_shares: pd.DataFrame
    component_ratings: pd.DataFrame
    service_history: pd.DataFrame
    ageing: Mapping[str, AgeingModel]
    groundwater: Groundwater | None

    @property
    def region(self) -> Region:
        """The region that was run."""
        return self.county.region

    @property
    def data_quality(self) -> pd.DataFrame:
        """Every defect met, with what was done about it."""
        return self.county.defects


def assess_county(county: County, progress: Progress | None = None) -> Result:
    """Describe, score and rank every parcel of a county."""
    progress = progress or Progress()
    region = county.region
    model = read_model(region.model_file, features=FEATURES)
    with progress.stage("rate soils"):
        names = ("soil_components", "soil_horizons", "soil_restrictions", "soil_months")
        ratings = rate_components(*(county.tables[name] for name in names))
    with progress.stage("prepare layers"):
        parcels = _in_spatial_order(county.tables["parcels"])
        layers = _layers(county, parcels, ratings)
    with progress.stage("describe parcels"):
        inventory = _describe(parcels, layers, region, progress)
    order = county.tables["parcels"]["parcel_id"]
    features = complete_inventory(inventory.table).loc[order]
    with progress.stage("assess failure"):
        history = _history(county, features, layers)
        ageing = learn_ageing(history)
        features = features.join(failure_features(features, rules=region.rules, ageing=ageing))
    with progress.stage("find room on the lots"):
        lots = parcels[["geometry"]].loc[order]
        areas = inventory.areas.loc[order]
        room, places = room_features(features, lots, areas, county, progress)
        features = features.join(room)
    with progress.stage("chance of failing"):
        features = features.join(
            chance_of_failing(features, model, rules=region.rules, ageing=ageing)
        )
    with progress.stage("follow groundwater"):
        table, groundwater = groundwater_features(features, county)
        features = features.join(table)
    with progress.stage("score and rank"):
        ranked = ranked_table(
            features,
            model,
            declared=FEATURES,
            units=region.units,
            cuts=region.rules.class_cuts,
        )
    table = gpd.GeoDataFrame(features.join(ranked), geometry=lots.geometry, crs=county.crs)
    return Result(
        county=county,
        model=model,
        parcels=table,
        treatment_areas=areas,
        replacement_places=places,
        soil_shares=inventory.mixture,
        component_ratings=ratings,
        service_history=history,
        ageing=ageing,
        groundwater=groundwater,
    )


def _history(county: County, features: pd.DataFrame, layers: Layers) -> pd.DataFrame:
    parcels = county.tables["parcels"].set_index("parcel_id", drop=False)
    onsite = features[features["service"] == "onsite"]
    systems = onsite[["kind"]].assign(year_built=parcels["year_built"])
    permits = None if layers.permits is None else match_permits(layers.permits, parcels)
    return service_history(systems, permits, at_year=decimal_year_of(county.region.date))


def _in_spatial_order(parcels: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Parcels by ``parcel_id`` along a space-filling curve, so that a chunk is a compact place."""
    curve = parcels.hilbert_distance().to_numpy()
    return parcels.iloc[np.argsort(curve, kind="stable")].set_index("parcel_id", drop=False)


def _layers(county: County, parcels: gpd.GeoDataFrame, ratings: pd.DataFrame) -> Layers:
    given: dict[str, object] = {name: county.tables.get(name) for name in TABLE_LAYERS}
    given["component_ratings"] = ratings
    given["water_table"] = county.rasters.get("water_table")
    return prepare_layers(parcels, county.rasters.get("elevation"), given)


def _describe(
    parcels: gpd.GeoDataFrame, layers: Layers, region: Region, progress: Progress
) -> Inventory:
    rules = region.rules
    options = Options(
        date=region.date,
        siting=SitingRules(
            reach_m=rules.building_reach_m,
            building_setback_m=rules.building_setback_m,
            line_setback_m=rules.line_setback_m,
            water_setback_m=rules.water_setback_m,
        ),
    )
    size = region.chunk_parcels
    chunks = -(-len(parcels) // size)
    parts = [
        describe_chunk(chunk, layers, options=options)
        for chunk in progress.each(_cut(parcels, size), total=chunks, unit="chunk")
    ]
    return Inventory(
        pd.concat([part.table for part in parts]),
        gpd.GeoDataFrame(pd.concat([part.areas for part in parts])),
        pd.concat([part.mixture for part in parts], ignore_index=True),
    )


def _cut(parcels: gpd.GeoDataFrame, size: int) -> Iterator[gpd.GeoDataFrame]:
    for start in range(0, len(parcels), size):
        yield parcels.iloc[start : start + size]
