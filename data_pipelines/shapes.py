"""Raw shapes to canonical ones: repaired, of one kind, flat, and in the region's system."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError

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
_SINGLE: Final = ("Point", "LineString", "LinearRing", "Polygon")
_SEVERAL: Final[dict[str, Callable[[list[Any]], shapely.Geometry]]] = {
    "MultiPolygon": shapely.MultiPolygon,
    "MultiLineString": shapely.MultiLineString,
    "MultiPoint": shapely.MultiPoint,
}
OUTSIDE_DEGREES: Final = 1.0
"""Shapes this far outside the area a reference system is made for are no part of the county."""

MOST_DEGREES: Final = (361.0, 91.0)
FARTHEST: Final = 2e8
"""No projected coordinate is larger: 1.3e8 ft are once around the Earth."""

MOST_CROSSINGS: Final = 10_000
FEW_CORNERS: Final = 100
MANY_CORNERS: Final = 10_000
SAMPLED_EDGES: Final = 2_000
COMPARED_EDGES: Final = 50_000


def source_crs(
    declared: str | None,
    own: str | None,
    *,
    name: str,
    layer: str = "",
    log: DefectLog | None = None,
) -> CRS:
    """Choose the system of a source: what the region file declares, else the file's own.

    A declaration that contradicts the file is obeyed (files are wrong at times: a GeoJSON always
    claims longitude and latitude) and entered in `log`. `layer` is named in errors where no log
    says it.

    Raises
    ------
    CrsError
        If neither says anything, or what is said cannot be understood or is no system of places.
    """
    layer = log.layer if log is not None else layer or name
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
            layer,
            f"the reference system {str(declared or own)[:80]!r} of {name} is not known.",
            'Give the true crs = "EPSG:..." to this layer in the region file.',
        ) from error
    if not (chosen.is_geographic or chosen.is_projected) or not _on_earth(chosen):
        raise CrsError(
            layer,
            f"the reference system of {name} ({chosen.name}) is none of places on Earth.",
            'Give the true crs = "EPSG:..." to this layer in the region file.',
        )
    return chosen


def _on_earth(crs: CRS) -> bool:
    """Whether places in `crs` have a longitude and latitude; other planets' have none."""
    try:
        Transformer.from_crs(crs, 4326)
    except ProjError:
        return False
    return True


def shapes_of(wkb: Shapes) -> Shapes:
    """Shapes of well-known binary, rings closed where open; None for what cannot be understood."""
    with np.errstate(invalid="ignore"):
        shapes: Shapes = shapely.from_wkb(wkb, on_invalid="fix")
    return shapes


def canonical_shapes(
    raw: gpd.GeoDataFrame, frame: pd.DataFrame, log: DefectLog, *, kind: Shape, crs: CRS
) -> gpd.GeoDataFrame:
    """Join clean shapes to the canonical columns of `frame` (same index as `raw`).

    Rows without a shape, with a shape of another kind or with impossible coordinates are left out
    and logged; invalid polygons are repaired and logged.
    """
    shapes = pd.Series(np.asarray(raw.geometry.array, dtype=object), index=raw.index)
    shapes = _drop_empty(shapes, log)
    shapes = _drop_impossible(shapes, raw.crs, log)
    shapes = _of_kind(shapes, log, kind=kind)
    if kind == "polygon":
        shapes = _repair(shapes, log)
        shapes = _drop_empty(shapes, log)
    flat = shapely.force_2d(shapes.to_numpy(dtype=object))
    placed = gpd.GeoSeries(flat, crs=raw.crs, index=shapes.index)
    placed = _drop_outside(placed, log, crs=crs)
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
    """Parts of a collection that are of `kind`, as one shape of several parts."""
    single, several = TYPES[kind][:2]
    parts = list(shapely.get_parts(shape))
    while any(part.geom_type not in _SINGLE for part in parts):
        parts = [inner for part in parts for inner in shapely.get_parts(part)]
    fitting = [part for part in parts if part.geom_type == single]
    return _SEVERAL[several](fitting)


def _single_points(shapes: pd.Series, multiple: pd.Series, log: DefectLog) -> pd.Series:
    counts = shapes[multiple].map(shapely.get_num_geometries)
    log.add("geometry", "several_points", counts[counts > 1], "first point used")
    return shapes.mask(multiple, shapes[multiple].map(lambda shape: shapely.get_geometry(shape, 0)))


def _drop_impossible(shapes: pd.Series, crs: CRS, log: DefectLog) -> pd.Series:
    """Leave out rows with coordinates that no place has; an error if most rows have such."""
    values = shapes.to_numpy(dtype=object)
    points, row = shapely.get_coordinates(values, return_index=True)
    x, y = np.abs(points).T
    degrees = CRS(crs).is_geographic
    bad = ~((x <= MOST_DEGREES[0]) & (y <= MOST_DEGREES[1]) if degrees else (x + y <= FARTHEST))
    if not bad.any():
        return shapes
    odd = np.bincount(row[bad], minlength=len(values)) > 0
    if degrees and odd.mean() > 0.5:
        raise _no_degrees(points[bad], CRS(crs), log.layer)
    first = pd.Series(range(len(row)))[bad].groupby(row[bad]).first()
    told = [f"{east:.9g} {north:.9g}" for east, north in points[first.to_numpy()]]
    found = pd.Series(told, index=shapes.index[odd])
    log.add("geometry", "impossible_coordinate", found, "left out: it has no place")
    kept: pd.Series = shapes[~odd]
    return kept


def _no_degrees(points: NDArray[np.float64], crs: CRS, layer: str) -> CrsError:
    x, y = np.abs(points).T
    if ((x <= MOST_DEGREES[1]) & (y <= MOST_DEGREES[0])).mean() > 0.5:
        return _exchanged(layer)
    return CrsError(
        layer,
        f"the coordinates (up to {np.nanmax(np.abs(points)):.0f}) are no degrees, but the source "
        f"is said to be in {crs.name}.",
        'Add the true crs = "EPSG:..." to this layer in the region file.',
    )


def _exchanged(layer: str) -> CrsError:
    return CrsError(
        layer,
        "x and y seem to be exchanged: longitudes stand where latitudes belong.",
        "Name the longitude column as x and the latitude column as y.",
    )


def _repair(shapes: pd.Series, log: DefectLog) -> pd.Series:
    values = shapes.to_numpy(dtype=object).copy()
    invalid, tangled = find_invalid(values)
    log.add("geometry", "tangled_polygon", shapes.index[tangled], "left out")
    if invalid.any():
        reasons = pd.Series(shapely.is_valid_reason(values[invalid]), index=shapes.index[invalid])
        log.add("geometry", "invalid_polygon", reasons.str.partition("[")[0], "repaired")
        values[invalid] = repair_polygons(values[invalid])
    return pd.Series(values, index=shapes.index, dtype=object)[~tangled]


def find_invalid(shapes: Shapes) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which polygons are invalid and can be repaired, and which are noise (:func:`is_tangled`)."""
    tangled = shapely.get_num_coordinates(shapes) > MANY_CORNERS
    tangled[tangled] = [_sprawls(shape) and is_tangled(shape) for shape in shapes[tangled]]
    invalid = ~tangled
    invalid[invalid] = ~shapely.is_valid(shapes[invalid])
    tangled[invalid] = [is_tangled(shape) for shape in shapes[invalid]]
    return invalid & ~tangled, tangled


def is_tangled(shape: shapely.Geometry, *, most: int = MOST_CROSSINGS) -> bool:
    """Whether the edges of a polygon cross each other more than `most` times.

    Such a shape is noise, and to repair it takes minutes and gigabytes. Crossings are counted on
    edges spread over the shape, one after the other, until it is sure.
    """
    if shapely.get_num_coordinates(shape) < FEW_CORNERS:
        return False
    ends = _edges(shape)
    others = _spread(len(ends), COMPARED_EDGES)
    tree = shapely.STRtree(np.asarray(shapely.linestrings(ends[others])))
    sample = np.asarray(shapely.linestrings(ends[_spread(len(ends), SAMPLED_EDGES)]))
    enough = 2 * most * (len(sample) / len(ends)) * (len(others) / len(ends))
    met = 0
    for edge in sample:
        met += max(len(tree.query(edge, predicate="intersects")) - 3, 0)
        if met > enough:
            return True
    return False


def _sprawls(shape: shapely.Geometry) -> bool:
    """Whether edges of a large polygon commonly lie across many others.

    Whether such a shape is valid takes minutes to say; this is quick.
    """
    ends = _edges(shape)
    others = ends[_spread(len(ends), COMPARED_EDGES)]
    low, high = others.min(axis=1), others.max(axis=1)
    met = [
        ((low <= edge.max(axis=0)) & (high >= edge.min(axis=0))).all(axis=1).sum()
        for edge in ends[_spread(len(ends), 32)]
    ]
    return bool(np.median(met) * len(ends) > FEW_CORNERS * len(others))


def _edges(shape: shapely.Geometry) -> NDArray[np.float64]:
    """Both ends of each edge of a polygon: edges x 2 x 2."""
    rings = shapely.get_rings(shapely.get_parts(np.asarray(shape)))
    points, ring = shapely.get_coordinates(rings, return_index=True)
    same = ring[1:] == ring[:-1]
    edges: NDArray[np.float64] = np.stack([points[:-1], points[1:]], axis=1)[same]
    return edges


def _spread(count: int, most: int) -> NDArray[np.int64]:
    """At most `most` numbers below `count`, evenly spread."""
    return np.unique(np.linspace(0, count - 1, min(count, most)).astype("int64"))


def repair_polygons(shapes: Shapes) -> Shapes:
    """Make valid polygons that cover what the invalid ones enclose (no lines, no points)."""
    fixed: Shapes = shapely.make_valid(shapes, method="structure", keep_collapsed=False)
    return fixed


def _drop_outside(placed: gpd.GeoSeries, log: DefectLog, *, crs: CRS) -> gpd.GeoSeries:
    """Leave out shapes far outside the area that the region's system is made for.

    Where most shapes lie outside, the system is badly chosen, and all are kept and reported.
    """
    area = crs.area_of_use
    if area is None or not len(placed):
        return placed
    middle = gpd.GeoSeries(shapely.centroid(placed.to_numpy()), crs=placed.crs, index=placed.index)
    degrees = moved(middle, CRS(4326), log.layer)
    x, y = degrees.x.to_numpy(), degrees.y.to_numpy()
    inside = _within(x, y, area)
    if inside.mean() < 0.5 < _within(y, x, area).mean():
        raise _exchanged(log.layer)
    where = [f"{east:.3f} {north:.3f}" for east, north in zip(x[~inside], y[~inside], strict=True)]
    found = pd.Series(where, index=placed.index[~inside])
    few = inside.mean() > 0.5
    log.add("geometry", "far_from_region", found, "left out" if few else "kept as given")
    return placed[inside] if few else placed


def _within(x: NDArray[np.float64], y: NDArray[np.float64], area: Any) -> NDArray[np.bool_]:
    """Whether longitudes and latitudes lie in an area of use or close to it."""
    width = (area.east - area.west) % 360 or 360
    inside = (x - area.west + OUTSIDE_DEGREES) % 360 <= width + 2 * OUTSIDE_DEGREES
    inside &= (y >= area.south - OUTSIDE_DEGREES) & (y <= area.north + OUTSIDE_DEGREES)
    return np.asarray(inside)


def moved(shapes: gpd.GeoSeries, crs: CRS, layer: str) -> gpd.GeoSeries:
    """Shapes in another system; CrsError if there is no way to it."""
    try:
        return shapes.to_crs(crs)
    except ProjError as error:
        raise CrsError(
            layer,
            f"there is no way from {CRS(shapes.crs).name} to {crs.name}.",
            'Give the true crs = "EPSG:..." to this layer in the region file.',
        ) from error


def _project(placed: gpd.GeoSeries, log: DefectLog, *, crs: CRS) -> gpd.GeoSeries:
    if not len(placed):
        return placed.set_crs(crs, allow_override=True)
    there = moved(placed, crs, log.layer)
    finite = np.isfinite(there.bounds.to_numpy()).all(axis=1)
    log.add("geometry", "cannot_be_projected", placed.index[~finite], "left out")
    return there[finite]
