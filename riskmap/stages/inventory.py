"""The inventory of a whole county, chunk by chunk where it is large."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.contract.chunks import map_chunks, shares
from riskmap.inventory.inventory import (
    Inventory,
    Layers,
    complete_inventory,
    describe_chunk,
    prepare_layers,
)
from riskmap.inventory.permits import match_permits
from riskmap.inventory.service_history import decimal_year_of, service_history
from riskmap.inventory.soil_limits import rate_components
from riskmap.region.sections import Region
from riskmap.stages.county import County
from riskmap.stages.water_table import WaterSurface, depth_by_levels

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


def rate_soils(county: County) -> pd.DataFrame:
    """Rate every soil component by the national rule; index ``cokey``."""
    names = ("soil_components", "soil_horizons", "soil_restrictions", "soil_months")
    return rate_components(*(county.tables[name] for name in names))


def describe_parcels(
    county: County, component_ratings: pd.DataFrame, water_surface: WaterSurface | None
) -> tuple[pd.DataFrame, gpd.GeoDataFrame, pd.DataFrame]:
    """Describe every parcel; the answer does not depend on how the county is cut into chunks.

    Returns
    -------
    tuple
        In the order of the parcels layer: the columns of
        :data:`riskmap.contract.features.INVENTORY`, and the likely treatment areas as drawn; and
        the map units under each (``parcel_id``, ``mukey``, ``frac``).

    Parameters
    ----------
    county
        Region and layers.
    component_ratings
        Rated soil components; index ``cokey``.
    water_surface
        Surface fitted to measured levels; None: there is none.
    """
    parcels = _in_spatial_order(county.tables["parcels"])
    inventory = _describe(parcels, _layers(county, parcels, component_ratings), county.region)
    table = with_depth_by_levels(inventory.table, water_surface)
    order = county.tables["parcels"]["parcel_id"]
    described = complete_inventory(table).loc[order]
    return described, inventory.areas.loc[order], inventory.mixture


def with_depth_by_levels(table: pd.DataFrame, water_surface: WaterSurface | None) -> pd.DataFrame:
    """Give parcels without a mapped depth to water that of the surface fitted to levels."""
    found = depth_by_levels(table[["x_m", "y_m"]].astype(float), water_surface)
    taken = table["water_table_m"].isna() & found["water_table_m"].notna()
    marks = table["water_table_m_evidence"].where(~taken, "inferred")
    return table.assign(
        water_table_m=table["water_table_m"].where(~taken, found["water_table_m"]),
        water_table_m_evidence=marks,
        water_table_sd_m=found["water_table_sd_m"].where(taken),
    )


def trace_lives(county: County, described: pd.DataFrame) -> pd.DataFrame:
    """Trace the lives of systems from the permits; see :func:`service_history`."""
    parcels = county.tables["parcels"].set_index("parcel_id", drop=False)
    onsite = described[described["service"] == "onsite"]
    systems = onsite[["kind"]].assign(year_built=parcels["year_built"])
    records = county.tables.get("permits")
    permits = None if records is None else match_permits(records, parcels)
    return service_history(systems, permits, at_year=decimal_year_of(county.region.county.date))


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
    def work(span: slice) -> Inventory:
        return describe_chunk(
            parcels.iloc[span],
            layers,
            date=region.county.date,
            rules=region.rules,
            unsewered=region.county.sewers == "none",
        )

    parts = map_chunks(work, shares(len(parcels), region.run.chunk_parcels), unit="chunk")
    return Inventory(
        pd.concat([part.table for part in parts]),
        gpd.GeoDataFrame(pd.concat([part.areas for part in parts])),
        pd.concat([part.mixture for part in parts], ignore_index=True),
    )
