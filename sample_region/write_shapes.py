"""Writes shapes so that the same shapes give the same bytes: no time of writing in any header."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyogrio.raw
import shapely
from pyproj import Transformer

from sample_region.plan import CRS, Floats, Plan, Shapes

STAMP = "2026-06-01"
GEOGRAPHIC_DIGITS = 7


def to_ground(plan: Plan) -> Callable[[Floats], Floats]:
    """Return the function from local meters to eastings and northings, rounded to a millimeter."""
    corner = np.array([plan.east_m, plan.north_m])
    return lambda xy: np.asarray(np.round(xy + corner, 3))


def to_degrees(plan: Plan, crs: str) -> Callable[[Floats], Floats]:
    """Return the function from local meters to longitude and latitude (a centimeter's rounding)."""
    move = Transformer.from_crs(CRS, crs, always_xy=True)
    corner = np.array([plan.east_m, plan.north_m])

    def moved(xy: Floats) -> Floats:
        x, y = move.transform(xy[:, 0] + corner[0], xy[:, 1] + corner[1])
        return np.round(np.column_stack([x, y]), GEOGRAPHIC_DIGITS)

    return moved


def in_crs(shapes: Shapes, plan: Plan, crs: str) -> Shapes:
    """Local shapes in `crs`.

    Parameters
    ----------
    shapes
        Local m.
    plan
        Place of the local corner.
    crs
        Reference system to write: :data:`CRS` (rounded to a millimeter) or a geographic one.
    """
    function: Any = to_ground(plan) if crs == CRS else to_degrees(plan, crs)
    return np.asarray(shapely.transform(shapes, function))


def points_in_degrees(plan: Plan, x: Floats, y: Floats, crs: str = "EPSG:4326") -> Floats:
    """Longitude and latitude of local points, (n, 2).

    Parameters
    ----------
    plan
        Place of the local corner.
    x, y
        Points (n,), local m.
    crs
        A geographic reference system.
    """
    return to_degrees(plan, crs)(np.column_stack([x, y]))


def write_shapefile(
    path: Path, shapes: Shapes, table: pd.DataFrame, plan: Plan, *, crs: str
) -> None:
    """Write an ESRI shapefile with a fixed date in its table's header.

    Parameters
    ----------
    path
        File to write, ``.shp``.
    shapes, table
        Shapes in local m and their attributes, row by row.
    plan
        Place of the local corner.
    crs
        As in :func:`in_crs`.
    """
    frame = gpd.GeoDataFrame(table, geometry=in_crs(shapes, plan, crs), crs=crs)
    pyogrio.write_dataframe(
        frame, path, driver="ESRI Shapefile", layer_options={"DBF_DATE_LAST_UPDATE": STAMP}
    )


def write_measured_lines(
    path: Path, lines: list[Floats], table: pd.DataFrame, plan: Plan, *, crs: str
) -> None:
    """Write lines whose points carry a measure (per cent of length left to the lower end).

    Parameters
    ----------
    path, table, plan
        As in :func:`write_shapefile`.
    lines
        Points of each line (points, 2), local m, from the upper end to the lower.
    crs
        A geographic reference system.
    """
    shapes = []
    degrees = to_degrees(plan, crs)(np.concatenate(lines))
    ends = np.cumsum([len(line) for line in lines])[:-1]
    for line, xy in zip(lines, np.split(degrees, ends), strict=True):
        length = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
        shapes.append(_measured(xy, 100 * (1 - length / length[-1])))
    pyogrio.raw.write(
        path,
        np.array(shapes, dtype=object),
        [table[name].to_numpy() for name in table.columns],
        list(table.columns),
        geometry_type="LineString",
        crs=crs,
        driver="ESRI Shapefile",
        layer_options={"DBF_DATE_LAST_UPDATE": STAMP, "SHPT": "ARCM"},
    )


def _measured(xy: Floats, measure: Floats) -> bytes:
    """Well-known binary of a measured line (ISO code 2002)."""
    head = b"\x01" + (2002).to_bytes(4, "little") + len(xy).to_bytes(4, "little")
    return head + np.column_stack([xy, measure]).astype("<f8").tobytes()


def write_geojson(path: Path, shapes: Shapes, table: pd.DataFrame, plan: Plan) -> None:
    """Write GeoJSON (RFC 7946: longitude and latitude).

    Parameters
    ----------
    path, shapes, table, plan
        As in :func:`write_shapefile`.
    """
    frame = gpd.GeoDataFrame(table, geometry=in_crs(shapes, plan, "EPSG:4326"), crs="EPSG:4326")
    pyogrio.write_dataframe(
        frame,
        path,
        driver="GeoJSON",
        layer_options={"COORDINATE_PRECISION": str(GEOGRAPHIC_DIGITS), "WRITE_NAME": "NO"},
    )
