"""Room for a replacement field on every lot, from the county's layers and local rules."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.contract.chunks import map_chunks, shares
from riskmap.contract.vocabulary import may_be_onsite
from riskmap.inventory.room import Ground, Obstacles, describe_room
from riskmap.stages.county import County

COLUMNS: Final = {"room_m2": "room_m2", "needed_m2": "room_needed_m2", "room_ratio": "room_ratio"}


def room_features(
    county: County, inventory: pd.DataFrame, failing: pd.DataFrame, areas: gpd.GeoDataFrame
) -> tuple[pd.DataFrame, gpd.GeoDataFrame]:
    """Room left, room needed, what could be built; and the best place as a rectangle.

    Parameters
    ----------
    county
        With its lots and the layers a field must stay clear of.
    inventory, failing
        Inventory and failure features of all parcels.
    areas
        Treatment areas (with ``downslope_deg``), index ``parcel_id``.

    Returns
    -------
    The room columns of :data:`riskmap.contract.features.FAILURE`, and the best places with their
    lengths; parcels without a system are unknown and have no place.
    """
    features, lots = inventory.join(failing), county.lots
    served = features.index[may_be_onsite(features["service"])]

    def work(span: slice) -> gpd.GeoDataFrame:
        ids = served[span]
        return _chunk(features.loc[ids], lots.loc[ids], areas.loc[ids], county)

    parts = map_chunks(work, shares(len(served), county.region.run.chunk_parcels), unit="chunk")
    found = gpd.GeoDataFrame(pd.concat(parts)) if parts else None
    return _columns(found, features.index), _places(found, lots)


def _chunk(
    features: pd.DataFrame, lots: gpd.GeoDataFrame, areas: gpd.GeoDataFrame, county: County
) -> gpd.GeoDataFrame:
    rules = county.region.rules
    tables = county.tables
    needed = features["design_area_m2"].to_numpy(float)
    return describe_room(
        lots,
        Obstacles(
            **{name: tables.get(name) for name in ("buildings", "wells", "waterbodies", "streams")}
        ),
        Ground(
            slope_pct=features["slope_pct"].to_numpy(float),
            downslope_deg=areas["downslope_deg"].to_numpy(float),
            wet_depth_cm=features["wet_depth_cm"].to_numpy(float),
            restriction_cm=features["restriction_cm"].to_numpy(float),
        ),
        field_m2=needed,
        mound_m2=needed * rules.mound_ratio,
        rules=rules,
    )


def _columns(found: gpd.GeoDataFrame | None, index: pd.Index) -> pd.DataFrame:
    table = pd.DataFrame(index=index)
    if found is None:
        return table.reindex(columns=[*COLUMNS.values(), "replacement"])
    for source, name in COLUMNS.items():
        table[name] = found[source].reindex(index)
        table[f"{name}_evidence"] = np.where(table[name].notna(), "inferred", "unknown")
    table["replacement"] = found["replacement"].reindex(index)
    table["replacement_evidence"] = found["replacement_evidence"].reindex(index).fillna("unknown")
    return table


def _places(found: gpd.GeoDataFrame | None, lots: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    names = ["place_m2", "place_length_m", "place_width_m", "geometry"]
    if found is None:
        return gpd.GeoDataFrame({name: [] for name in names}, geometry="geometry", crs=lots.crs)
    return found.loc[found["place_m2"] > 0, names]
