"""The inventory of a whole county, chunk by chunk where it is large."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.contract.chunks import map_chunks, shares
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
from riskmap.region.read import Region
from riskmap.stages.loading import County
from riskmap.stages.progress import Progress

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
class Described:
    """The inventory of a county, in the order of its parcels layer.

    ``features``: :data:`riskmap.contract.features.INVENTORY`. ``lots``: their shapes. ``areas``:
    the likely treatment areas as drawn. ``soil_shares``: map units under each.
    ``component_ratings``: the soil rule's answers. ``service_history``: lives of systems from the
    permits.
    """

    features: pd.DataFrame
    lots: gpd.GeoDataFrame
    areas: gpd.GeoDataFrame
    soil_shares: pd.DataFrame
    component_ratings: pd.DataFrame
    service_history: pd.DataFrame


def describe_county(county: County, progress: Progress) -> Described:
    """Describe every parcel; the answer does not depend on how the county is cut into chunks."""
    with progress.stage("rate soils"):
        names = ("soil_components", "soil_horizons", "soil_restrictions", "soil_months")
        ratings = rate_components(*(county.tables[name] for name in names))
    with progress.stage("prepare layers"):
        parcels = _in_spatial_order(county.tables["parcels"])
        layers = _layers(county, parcels, ratings)
    with progress.stage("describe parcels"):
        inventory = _describe(parcels, layers, county.region)
        order = county.tables["parcels"]["parcel_id"]
        features = complete_inventory(inventory.table).loc[order]
    return Described(
        features=features,
        lots=parcels[["geometry"]].loc[order],
        areas=inventory.areas.loc[order],
        soil_shares=inventory.mixture,
        component_ratings=ratings,
        service_history=_history(county, features, layers),
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


def _describe(parcels: gpd.GeoDataFrame, layers: Layers, region: Region) -> Inventory:
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

    def work(span: slice) -> Inventory:
        return describe_chunk(parcels.iloc[span], layers, options=options)

    parts = map_chunks(work, shares(len(parcels), region.chunk_parcels), unit="chunk")
    return Inventory(
        pd.concat([part.table for part in parts]),
        gpd.GeoDataFrame(pd.concat([part.areas for part in parts])),
        pd.concat([part.mixture for part in parts], ignore_index=True),
    )
