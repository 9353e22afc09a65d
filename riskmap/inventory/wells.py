"""Drinking-water wells near each treatment area."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from riskmap.contract.evidence import marked

NOT_FOR_DRINKING = ("irrigation", "monitoring", "other")
"""Wells of any other use, unknown included, are taken as drinking water: the safe side."""

NEAR_M = 150.0


def drinking_wells(wells: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Wells that people may drink from: domestic, public, and those of unknown use."""
    located = ~shapely.is_missing(wells.geometry.to_numpy()) & ~wells.geometry.is_empty.to_numpy()
    return wells[located & ~wells["use"].isin(NOT_FOR_DRINKING).to_numpy()]


def describe_wells(areas: gpd.GeoDataFrame, wells: gpd.GeoDataFrame | None) -> pd.DataFrame:
    """Distance to the nearest drinking-water well and how many lie within 150 m.

    Measured in a straight line from the middle of the treatment area (``x_m``, ``y_m``), the well
    on the same lot included. A field is some 10 m long, so for systems located by permit the edge
    of the field may be 5 to 10 m nearer; where the area is ``assumed`` the error is that of the
    lot. Screening, not a setback survey.

    Returns
    -------
    DataFrame
        ``well_distance_m`` with evidence (that of the area's place) and ``wells_within_150_m``;
        unknown without a wells layer, NaN distance where the layer has no drinking-water well.
    """
    points = areas[["x_m", "y_m"]].to_numpy(dtype=float)
    known = np.isfinite(points).all(axis=1)
    distance, count = np.full(len(areas), np.nan), np.full(len(areas), np.nan)
    if wells is not None:
        drinking = drinking_wells(wells)
        count[known] = 0.0
        if len(drinking):
            tree = cKDTree(shapely.get_coordinates(drinking.geometry.to_numpy()))
            distance[known] = tree.query(points[known])[0]
            count[known] = tree.query_ball_point(points[known], NEAR_M, return_length=True)
    place = areas["treatment_m2_evidence"].to_numpy(dtype=object)
    table = marked({"well_distance_m": distance}, place, areas.index)
    return table.assign(wells_within_150_m=count)
