"""All that is known of each parcel, put together chunk by chunk."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812 - `date` is an argument here

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from riskmap.contract.features import INVENTORY
from riskmap.contract.grid import Grid
from riskmap.contract.rules import Rules
from riskmap.inventory.density import describe_density
from riskmap.inventory.permits import match_permits
from riskmap.inventory.service import NO_SEWER_MAP, describe_service
from riskmap.inventory.siting import locate_treatment_areas
from riskmap.inventory.soils import describe_soils
from riskmap.inventory.systems import describe_systems, neighborhood_years
from riskmap.inventory.terrain import Terrain, derive_terrain, describe_terrain
from riskmap.inventory.water import describe_water
from riskmap.inventory.wells import describe_wells


@dataclass(frozen=True)
class Layers:
    """What the inventory draws on, whole or with a halo; all in the region's reference system.

    ``component_ratings`` is the table of :func:`riskmap.inventory.soil_limits.rate_components`;
    ``terrain`` that of :func:`riskmap.inventory.terrain.derive_terrain`; ``neighborhoods`` that of
    :func:`riskmap.inventory.systems.neighborhood_years`. The last two are made for the county once
    (:func:`prepare_layers`), so that chunks agree. None: the county has no such layer.
    """

    soil_units: gpd.GeoDataFrame
    component_ratings: pd.DataFrame
    permits: pd.DataFrame | None = None
    inspections: pd.DataFrame | None = None
    buildings: gpd.GeoDataFrame | None = None
    sewer_area: gpd.GeoDataFrame | None = None
    streams: gpd.GeoDataFrame | None = None
    waterbodies: gpd.GeoDataFrame | None = None
    floodplain: gpd.GeoDataFrame | None = None
    wells: gpd.GeoDataFrame | None = None
    water_table: Grid | None = None
    terrain: Terrain | None = None
    neighborhoods: pd.Series | None = None


@dataclass(frozen=True)
class Inventory:
    """One row per parcel, the treatment areas as drawn, and the soils under each.

    ``table`` has the columns of :data:`riskmap.contract.features.INVENTORY` with their evidence;
    ``areas`` the treatment area as geometry, with ``lot_m2`` and ``downslope_deg``; ``mixture`` the
    columns ``parcel_id``, ``mukey``, ``frac``.
    """

    table: pd.DataFrame
    areas: gpd.GeoDataFrame
    mixture: pd.DataFrame


def prepare_layers(
    parcels: gpd.GeoDataFrame, elevation: Grid | None, layers: Mapping[str, object]
) -> Layers:
    """Make the county-wide parts once: terrain from elevation, neighborhoods from all parcels.

    Parameters
    ----------
    parcels
        All parcels of the county.
    elevation
        Land surface (m), or None.
    layers
        The other fields of :class:`Layers` by name.
    """
    permits = layers.get("permits")
    matched = match_permits(permits, parcels) if isinstance(permits, pd.DataFrame) else None
    return Layers(
        **layers,  # type: ignore[arg-type]
        terrain=None if elevation is None else derive_terrain(elevation),
        neighborhoods=neighborhood_years(parcels, matched),
    )


def describe_chunk(
    parcels: gpd.GeoDataFrame, layers: Layers, *, date: Date, rules: Rules, unsewered: bool = False
) -> Inventory:
    """Describe a chunk of parcels: everything except what needs the other chunks' systems.

    The same parcel gets the same row in whatever chunk it comes. Call
    :func:`complete_inventory` on all chunks' tables together.

    Parameters
    ----------
    parcels
        The chunk, index ``parcel_id``.
    layers
        What they are described from.
    date
        Day of the inventory; later records do not count.
    rules
        The region's.
    unsewered
        Whether the county has no public sewer.
    """
    permits = None if layers.permits is None else match_permits(layers.permits, parcels)
    setback_m = max(rules.building_setback_m, rules.water_setback_m)
    buildings = _around(layers.buildings, parcels, setback_m + 2.0)
    areas = locate_treatment_areas(
        parcels,
        permit_points=permits,
        buildings=buildings,
        waterbodies=_around(layers.waterbodies, parcels, setback_m + 2.0),
        rules=rules,
    )
    share = rules.min_covered_frac
    service = describe_service(
        parcels,
        permits=permits,
        sewer_area=_around(layers.sewer_area, parcels),
        buildings=buildings,
        rules=rules,
        unsewered=unsewered,
    )
    soils, mixture = describe_soils(
        areas.geometry,
        _around(layers.soil_units, areas),
        layers.component_ratings,
        min_covered_frac=share,
    )
    terrain = describe_terrain(areas, layers.terrain, min_covered_frac=share)
    water = describe_water(
        areas,
        streams=layers.streams,
        waterbodies=layers.waterbodies,
        floodplain=_around(layers.floodplain, areas),
        water_table=layers.water_table,
        min_covered_frac=share,
    )
    systems = describe_systems(
        parcels,
        permits,
        layers.inspections,
        date=date,
        rules=rules,
        neighborhoods=layers.neighborhoods,
    )
    named = pd.DataFrame(parcels[["address", "neighborhood", "land_use"]])
    sited = pd.DataFrame(areas.drop(columns="geometry"))
    wells = describe_wells(areas, layers.wells)
    table = pd.concat([named, service, sited, soils, terrain, water, wells, systems], axis=1)
    drawn = areas[["lot_m2", "geometry"]].assign(downslope_deg=terrain["downslope_deg"])
    return Inventory(table, drawn, mixture)


def _around(
    layer: gpd.GeoDataFrame | None, places: gpd.GeoDataFrame, margin_m: float = 1.0
) -> gpd.GeoDataFrame | None:
    """Part of a layer that can matter to these places, in its own order.

    The layer keeps its search tree between calls, so many small chunks cost no more than few.
    """
    if layer is None:
        return None
    bounds = places.total_bounds
    if not np.isfinite(bounds).all():
        return layer.iloc[:0]
    west, south, east, north = bounds + np.array([-1, -1, 1, 1]) * margin_m
    return layer.iloc[layer.sindex.query(shapely.box(west, south, east, north), sort=True)]


def complete_inventory(table: pd.DataFrame) -> pd.DataFrame:
    """Add the density of onsite systems to all chunks' rows and put the columns in order.

    Built parcels whose service is unknown because there is no sewer map count as systems: the safe
    side.
    """
    systems = table[table["service"].eq("onsite") | table["service_reason"].eq(NO_SEWER_MAP)]
    full = table.join(describe_density(table, systems))
    return full[inventory_columns()]


def inventory_columns() -> list[str]:
    """Names of the inventory's columns, each followed by its evidence where it has one.

    >>> inventory_columns()[3:6]
    ['service', 'service_evidence', 'service_reason']
    """
    return [
        name
        for feature in INVENTORY
        for name in (feature.name, f"{feature.name}_evidence")[: 1 + feature.evidence]
    ]


def build_inventory(
    parcels: gpd.GeoDataFrame, layers: Layers, *, date: Date, rules: Rules
) -> Inventory:
    """Describe all parcels of a county in one go: :func:`describe_chunk`, then completed.

    Parameters
    ----------
    parcels, layers, date, rules
        As in :func:`describe_chunk`; all parcels of the county.
    """
    chunk = describe_chunk(parcels, layers, date=date, rules=rules)
    return Inventory(complete_inventory(chunk.table), chunk.areas, chunk.mixture)
