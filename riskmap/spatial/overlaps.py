"""Exact shares: which polygons lie on which, and by how much."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from riskmap.contract.arrays import Floats, Whole
from riskmap.spatial.clip_kernel import pair_areas
from riskmap.spatial.edges import GeometryArray, polygon_edges

TOUCHING = 1e-12
"""Common areas below this share of the polygon's bounding box are rounding, not overlap."""


def area_fractions(polygons: gpd.GeoSeries, coverage: gpd.GeoSeries) -> pd.DataFrame:
    """Return the area common to each polygon and each polygon of a coverage, where they overlap.

    Exact for any valid polygons: several parts, holes, not convex. Coverage polygons that overlap
    each other are each counted in full.

    Parameters
    ----------
    polygons, coverage
        Polygons in the same projected reference system (m).

    Returns
    -------
    DataFrame
        Columns ``i`` and ``j`` (positions in `polygons` and `coverage`, sorted), ``area_m2`` and
        ``frac`` (share of polygon i).

    Examples
    --------
    >>> lots = gpd.GeoSeries([shapely.box(0, 0, 4, 1)])
    >>> soils = gpd.GeoSeries([shapely.box(-1, 0, 1, 1), shapely.box(1, 0, 9, 1)])
    >>> area_fractions(lots, soils)["frac"].tolist()
    [0.25, 0.75]
    """
    subject, clip = polygons.to_numpy(), coverage.to_numpy()
    i, j = shapely.STRtree(clip).query(subject)
    order = np.lexsort((j, i))
    i, j = i[order], j[order]
    a = polygon_edges(subject)
    near = np.unique(j)
    place = np.searchsorted(near, j)
    area = pair_areas(i, place, a, polygon_edges(clip[near]))
    area = np.minimum(area, a.area_m2[i])
    box = (a.bounds[i, 2] - a.bounds[i, 0]) * (a.bounds[i, 3] - a.bounds[i, 1])
    keep = area > TOUCHING * box
    i, j, area = i[keep], j[keep], area[keep]
    return pd.DataFrame({"i": i, "j": j, "area_m2": area, "frac": area / a.area_m2[i]})


def covered_fractions(polygons: gpd.GeoSeries, coverage: gpd.GeoSeries) -> Floats:
    """Share of each polygon under a coverage whose polygons may overlap each other (0 to 1).

    >>> lots = gpd.GeoSeries([shapely.box(0, 0, 4, 1)])
    >>> zones = gpd.GeoSeries([shapely.box(0, 0, 2, 1), shapely.box(1, 0, 3, 1)])
    >>> covered_fractions(lots, zones).tolist()
    [0.75]
    """
    pairs = area_fractions(polygons, coverage)
    share = np.bincount(pairs["i"], pairs["frac"], minlength=len(polygons))
    several = pairs[pairs["i"].duplicated(keep=False)]
    if len(several):
        lots, group = np.unique(several["i"], return_inverse=True)
        pieces = shapely.intersection(
            polygons.to_numpy()[several["i"]], coverage.to_numpy()[several["j"]]
        )
        united = _union_by_group(pieces, group)
        share[lots] = shapely.area(united) / shapely.area(polygons.to_numpy()[lots])
    return np.minimum(share, 1.0)


def _union_by_group(pieces: GeometryArray, group: Whole) -> GeometryArray:
    parts, owner = shapely.get_parts(pieces, return_index=True)
    solid = shapely.get_type_id(parts) == 3
    collected = shapely.multipolygons(
        parts[solid], indices=group[owner[solid]], out=np.full(group.max() + 1, None)
    )
    return np.asarray(shapely.buffer(collected, 0))
