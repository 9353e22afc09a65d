"""Flood zone, nearest surface water and depth to the water table of each treatment area."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from riskmap.contract.evidence import marked
from riskmap.contract.grid import Grid
from riskmap.contract.rules import Rules
from riskmap.contract.vocabulary import FLOOD_ZONES
from riskmap.spatial.edges import GeometryArray
from riskmap.spatial.nearest import nearest_distance_m
from riskmap.spatial.overlaps import area_fractions, covered_fractions
from riskmap.spatial.zonal import raster_means

HUNDRED_YEAR = ("floodway", "hundred_year")
"""A floodway lies within the 1% annual chance zone, so both count in ``flood_frac``."""


def describe_water(
    areas: gpd.GeoDataFrame,
    *,
    streams: gpd.GeoDataFrame | None = None,
    waterbodies: gpd.GeoDataFrame | None = None,
    floodplain: gpd.GeoDataFrame | None = None,
    water_table: Grid | None = None,
    min_covered_frac: float = Rules.min_covered_frac,
) -> pd.DataFrame:
    """Describe the water next to, over and under each treatment area.

    Distances run from the area's middle (``x_m``, ``y_m``) to the nearest bank or bed; 0 inside a
    water body. A layer that is absent leaves its columns unknown, never zero; with a floodplain
    layer, ground outside all zones is ``outside``.

    Parameters
    ----------
    areas
        Treatment areas as drawn by ``locate_treatment_areas``.
    streams, waterbodies, floodplain
        Whole layers (or with a halo wide enough to hold the nearest water).
    water_table
        Depth to water (m below ground).
    min_covered_frac
        Below this share of known cells the depth is unknown.

    Returns
    -------
    DataFrame
        ``flood_zone``, ``flood_frac``, ``stream_distance_m``, ``waterbody_distance_m``,
        ``water_table_m`` and their evidence; ``water_table_sd_m``, which no map tells.
    """
    index = areas.index
    place = areas["treatment_m2_evidence"].to_numpy(dtype=object)
    depth = pd.Series(np.nan, index=index)
    if water_table is not None:
        means = raster_means(areas.geometry, water_table)
        depth = means["mean"].where(means["covered_frac"] >= min_covered_frac)
    zone, frac = _floods(areas.geometry, floodplain)
    return pd.concat(
        [
            marked({"water_table_m": depth, "flood_zone": zone}, "mapped", index),
            pd.DataFrame({"flood_frac": frac, "water_table_sd_m": np.nan}, index=index),
            marked(
                {
                    "stream_distance_m": _distance(areas, streams),
                    "waterbody_distance_m": _distance(areas, waterbodies),
                },
                place,
                index,
            ),
        ],
        axis=1,
    )


def _distance(areas: gpd.GeoDataFrame, layer: gpd.GeoDataFrame | None) -> NDArray[np.float64]:
    if layer is None:
        return np.full(len(areas), np.nan)
    shapes = layer.geometry.to_numpy()
    shapes = shapes[~shapely.is_missing(shapes) & ~shapely.is_empty(shapes)]
    return nearest_distance_m(areas[["x_m", "y_m"]].to_numpy(dtype=float), shapes)


def _floods(
    areas: gpd.GeoSeries, floodplain: gpd.GeoDataFrame | None
) -> tuple[GeometryArray, NDArray[np.float64]]:
    """Worst zone with ground in common, and the share in the 1% annual chance zone."""
    zone = np.full(len(areas), None, dtype=object)
    if floodplain is None:
        return zone, np.full(len(areas), np.nan)
    drawn = shapely.area(areas.to_numpy()) > 0
    rank = {name: order for order, name in enumerate(FLOOD_ZONES)}
    pairs = area_fractions(areas, floodplain.geometry)
    worst = np.full(len(areas), len(FLOOD_ZONES) - 1)
    layer_rank = floodplain["zone"].map(rank).fillna(len(FLOOD_ZONES) - 1).to_numpy(dtype=int)
    np.minimum.at(worst, pairs["i"].to_numpy(), layer_rank[pairs["j"].to_numpy()])
    zone[drawn] = np.array(FLOOD_ZONES, dtype=object)[worst[drawn]]
    hundred = floodplain.geometry[floodplain["zone"].isin(HUNDRED_YEAR).to_numpy()]
    return zone, np.where(drawn, covered_fractions(areas, hundred), np.nan)
