"""Reads towns, villages and neighborhoods to be named on maps: points, or areas of any file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from data_pipelines.defect_log import DefectLog
from data_pipelines.vector import Bounds, canonical_layer, parse_shapes
from riskmap.contract.layers import PLACES
from riskmap.contract.sources import Reading, Source

PLACE_COLUMNS: Final[Mapping[str, Sequence[str]]] = {"name": ("NAME", "GNIS_NAME", "FEATURE_NAME")}


def read_places(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read places; an area becomes a point inside it, and its size says how large the place is.

    Parameters
    ----------
    source, crs, bounds
        As in :func:`data_pipelines.registry.read_layer`.
    """
    log = DefectLog(PLACES.name)
    raw = parse_shapes(source, PLACES, crs, log, defaults=PLACE_COLUMNS, bounds=bounds)
    areas = _areas_m2(raw, crs)
    raw = raw.set_geometry(_as_points(raw))
    frame = canonical_layer(raw, source, PLACES, crs, log, defaults=PLACE_COLUMNS)
    frame["area_m2"] = frame["area_m2"].fillna(areas.reindex(frame.index))
    nameless = frame["name"].isna()
    log.add("name", "no_name", pd.Series("", frame.index[nameless]), "left out: nothing to write")
    return Reading(frame[~nameless], log.table())


def _as_points(raw: gpd.GeoDataFrame) -> gpd.GeoSeries:
    """Return points as they are, a point inside of areas; lines stay, and are told as such."""
    shapes = np.asarray(raw.geometry.array, dtype=object)
    flat = shapely.get_dimensions(shapes) == 2
    shapes[flat] = shapely.point_on_surface(shapes[flat])
    return gpd.GeoSeries(shapes, index=raw.index, crs=raw.crs)


def _areas_m2(raw: gpd.GeoDataFrame, crs: CRS) -> pd.Series:
    """Area of polygons in the region's system, m2; missing for points."""
    if raw.crs is None or raw.empty:
        return pd.Series(np.nan, index=raw.index)
    area: pd.Series = raw.geometry.to_crs(crs).area
    return area.mask(area <= 0)
