"""Permits to parcels: by number, and by place where a record has none."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely


def match_permits(permits: pd.DataFrame, parcels: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Permits of these parcels, oldest first, with their points.

    A permit whose ``parcel_id`` is among the parcels belongs to it. A permit without one belongs to
    every parcel that its point lies on (stacked parcels share the land, and so the system).

    Parameters
    ----------
    permits
        Canonical permits.
    parcels
        Lots, index ``parcel_id``.

    Returns
    -------
    GeoDataFrame
        The matched permits with ``parcel_id`` filled, ``matched_by`` (``number`` or ``place``),
        ``year`` (of the inspection of the finished work, else of issue) and point geometry (None
        where there are no coordinates); sorted by date, undated first, then ``permit_id``.
    """
    named = permits["parcel_id"].notna() & permits["parcel_id"].astype(str).str.strip().ne("")
    known = permits[named & permits["parcel_id"].isin(parcels.index)].assign(matched_by="number")
    loose = permits[~named & permits["x_m"].notna() & permits["y_m"].notna()]
    points = shapely.points(loose["x_m"].to_numpy(float), loose["y_m"].to_numpy(float))
    shapes = parcels.geometry.to_numpy()
    permit, lot = shapely.STRtree(shapes).query(points, predicate="intersects")
    placed = loose.iloc[permit].assign(parcel_id=parcels.index.to_numpy()[lot], matched_by="place")
    matched = pd.concat([part for part in (known, placed) if len(part)] or [known])
    done = permit_date(matched)
    matched = matched.assign(done=done, year=done.dt.year.astype(float))
    matched = matched.sort_values(["done", "permit_id", "parcel_id"], na_position="first")
    xy = matched[["x_m", "y_m"]].to_numpy(dtype=float)
    located = np.isfinite(xy).all(axis=1)
    geometry = np.full(len(matched), None, dtype=object)
    geometry[located] = shapely.points(xy[located])
    return gpd.GeoDataFrame(
        matched.drop(columns="done").reset_index(drop=True), geometry=geometry, crs=parcels.crs
    )


def permit_date(permits: pd.DataFrame) -> pd.Series:
    """Date on which the work was inspected, else that of the permit's issue.

    >>> table = pd.DataFrame({"inspected": [pd.NaT], "issued": [pd.Timestamp("1990-05-01")]})
    >>> permit_date(table).dt.year.tolist()
    [1990]
    """
    inspected = pd.to_datetime(permits["inspected"])
    return inspected.where(inspected.notna(), pd.to_datetime(permits["issued"]))
