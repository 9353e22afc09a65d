"""Raw shapes to canonical ones: repaired, of one kind, flat, and in the region's system."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.exceptions import CRSError

from data_pipelines.defect_log import DefectLog
from riskmap.contract.columns import Shape
from riskmap.contract.errors import CrsError, GeometryTypeError

Shapes = NDArray[np.object_]

TYPES: Final[dict[Shape, tuple[str, ...]]] = {
    "polygon": ("Polygon", "MultiPolygon"),
    "line": ("LineString", "MultiLineString", "LinearRing"),
    "point": ("Point", "MultiPoint"),
}
_TYPE_NAMES: Final = np.array(
    [
        "Point",
        "LineString",
        "LinearRing",
        "Polygon",
        "MultiPoint",
        "MultiLineString",
        "MultiPolygon",
        "GeometryCollection",
    ],
    dtype=object,
)
OUTSIDE_DEGREES: Final = 1.0
"""Shapes this far outside the area a reference system is made for are reported."""


def source_crs(
    declared: str | None, own: str | None, *, name: str, log: DefectLog | None = None
) -> CRS:
    """Choose the system of a source: what the region file declares, else the file's own.

    A declaration that contradicts the file is obeyed (files are wrong at times: a GeoJSON always
    claims longitude and latitude) and entered in `log`.

    Raises
    ------
    CrsError
        If neither says anything, or what is said cannot be understood.
    """
    layer = log.layer if log is not None else name
    if declared is None and own is None:
        raise CrsError(
            layer,
            f"{name} does not say which coordinate reference system it is in.",
            'Ask who made it and add crs = "EPSG:..." to this layer in the region file.',
        )
    try:
        chosen = CRS.from_user_input(declared or own)
        if declared and own and log is not None and not chosen.equals(CRS.from_user_input(own)):
            log.note("geometry", "crs_conflict", str(own)[:60], f"read as {declared}")
    except CRSError as error:
        raise CrsError(
            layer, f"the reference system {declared or own!r} is not known.", "Use EPSG:..."
        ) from error
    return chosen


def canonical_shapes(
    raw: gpd.GeoDataFrame, frame: pd.DataFrame, log: DefectLog, *, kind: Shape, crs: CRS
) -> gpd.GeoDataFrame:
    """Join clean shapes to the canonical columns of `frame` (same index as `raw`).

    Rows without a shape, or with a shape of another kind, are left out and logged; invalid
    polygons are repaired and logged.
    """
    shapes = pd.Series(np.asarray(raw.geometry.array, dtype=object), index=raw.index)
    _check_degrees(shapes, raw.crs, log.layer)
    shapes = _drop_empty(shapes, log)
    shapes = _of_kind(shapes, log, kind=kind)
    if kind == "polygon":
        shapes = _repair(shapes, log)
        shapes = _drop_empty(shapes, log)
    flat = shapely.force_2d(shapes.to_numpy(dtype=object))
    placed = gpd.GeoSeries(flat, crs=raw.crs, index=shapes.index)
    _report_outside(placed, log, crs=crs)
    placed = _project(placed, log, crs=crs)
    return gpd.GeoDataFrame(frame.loc[placed.index], geometry=placed, crs=crs)


def _drop_empty(shapes: pd.Series, log: DefectLog) -> pd.Series:
    values = shapes.to_numpy(dtype=object)
    empty = shapely.is_missing(values) | shapely.is_empty(values)
    log.add("geometry", "no_geometry", shapes.index[empty], "left out: it has no place")
    kept: pd.Series = shapes[~empty]
    return kept


def _of_kind(shapes: pd.Series, log: DefectLog, *, kind: Shape) -> pd.Series:
    """Keep shapes of `kind`; take the fitting parts out of collections."""
    codes = shapely.get_type_id(shapes.to_numpy(dtype=object))
    names = pd.Series(_TYPE_NAMES[codes], index=shapes.index, dtype=object)
    mixed = names == "GeometryCollection"
    shapes = shapes.mask(mixed, shapes[mixed].map(lambda shape: _parts_of(shape, kind)))
    fits = names.isin(TYPES[kind]) | mixed
    if len(shapes) and not fits.any():
        raise GeometryTypeError(
            log.layer,
            f"the source holds {', '.join(sorted(names.unique()))} where {kind} shapes belong.",
            "Point the region file at the right file or table.",
        )
    log.add("geometry", "wrong_kind_of_shape", names[~fits], "left out")
    if kind == "point":
        shapes = _single_points(shapes, names == "MultiPoint", log)
    kept: pd.Series = shapes[fits]
    return _drop_empty(kept, log) if mixed.any() else kept


def _parts_of(shape: shapely.Geometry, kind: Shape) -> shapely.Geometry:
    parts = [part for part in shapely.get_parts(shape) if part.geom_type in TYPES[kind]]
    return shapely.union_all(parts)


def _single_points(shapes: pd.Series, multiple: pd.Series, log: DefectLog) -> pd.Series:
    counts = shapes[multiple].map(shapely.get_num_geometries)
    log.add("geometry", "several_points", counts[counts > 1], "first point used")
    return shapes.mask(multiple, shapes[multiple].map(lambda shape: shapely.get_geometry(shape, 0)))


def _repair(shapes: pd.Series, log: DefectLog) -> pd.Series:
    values = shapes.to_numpy(dtype=object)
    invalid = ~shapely.is_valid(values)
    if not invalid.any():
        return shapes
    reasons = pd.Series(shapely.is_valid_reason(values[invalid]), index=shapes.index[invalid])
    log.add("geometry", "invalid_polygon", reasons.str.partition("[")[0], "repaired")
    values = values.copy()
    values[invalid] = repair_polygons(values[invalid])
    return pd.Series(values, index=shapes.index, dtype=object)


def repair_polygons(shapes: Shapes) -> Shapes:
    """Make valid polygons that cover what the invalid ones enclose (no lines, no points)."""
    fixed: Shapes = shapely.make_valid(shapes, method="structure", keep_collapsed=False)
    return fixed


def _check_degrees(shapes: pd.Series, crs: CRS, layer: str) -> None:
    if not CRS(crs).is_geographic or not len(shapes):
        return
    west, south, east, north = shapely.total_bounds(shapes.to_numpy(dtype=object))
    if west < -361 or east > 361 or south < -91 or north > 91:
        raise CrsError(
            layer,
            f"the coordinates (up to {max(map(abs, (west, south, east, north))):.0f}) are no "
            f"degrees, but the source is said to be in {CRS(crs).name}.",
            'Add the true crs = "EPSG:..." to this layer in the region file.',
        )


def _report_outside(placed: gpd.GeoSeries, log: DefectLog, *, crs: CRS) -> None:
    """Report shapes far outside the area that the region's system is made for."""
    area = crs.area_of_use
    if area is None or not len(placed):
        return
    degrees = gpd.GeoSeries(shapely.centroid(placed.to_numpy()), crs=placed.crs).to_crs(4326)
    x, y = degrees.x.to_numpy(), degrees.y.to_numpy()
    inside = (x >= area.west - OUTSIDE_DEGREES) & (x <= area.east + OUTSIDE_DEGREES)
    inside &= (y >= area.south - OUTSIDE_DEGREES) & (y <= area.north + OUTSIDE_DEGREES)
    if area.west > area.east or inside.all():
        return
    where = [f"{east:.3f} {north:.3f}" for east, north in zip(x[~inside], y[~inside], strict=True)]
    found = pd.Series(where, index=placed.index[~inside])
    log.add("geometry", "far_from_region", found, "kept as given")


def _project(placed: gpd.GeoSeries, log: DefectLog, *, crs: CRS) -> gpd.GeoSeries:
    if not len(placed):
        return placed.set_crs(crs, allow_override=True)
    moved = placed.to_crs(crs)
    finite = np.isfinite(moved.bounds.to_numpy()).all(axis=1)
    log.add("geometry", "cannot_be_projected", placed.index[~finite], "left out")
    return moved[finite]
