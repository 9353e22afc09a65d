"""Parses any vector format, and makes shape layers of it.

Formats: those of :mod:`data_pipelines.vector_forms` (shapefile, GeoPackage, GeoJSON, TopoJSON,
FlatGeobuf, file geodatabase, zipped or not), and delimited text with coordinate columns. Measured
(M) and height (Z) ordinates are dropped. Only the columns that are mapped are read.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS, Transformer

from data_pipelines.columns import Defaults, resolve
from data_pipelines.defect_log import DefectLog
from data_pipelines.mapping import complete_keys, map_columns
from data_pipelines.points import datum_column_of, place_points
from data_pipelines.shapes import canonical_shapes, moved, shapes_of, source_crs
from data_pipelines.tables import (
    demand_files,
    is_plain_table,
    list_columns,
    log_of_file,
    needed_columns,
    parse_table,
    stack_files,
)
from data_pipelines.vector_files import open_table, read_rows
from riskmap.contract.columns import Layer, Shape
from riskmap.contract.errors import SourceFormatError
from riskmap.contract.sources import Reading, Source

Bounds = tuple[float, float, float, float]


def parse_vector(
    path: Path,
    *,
    layer: str,
    crs: str | None = None,
    table: str | None = None,
    columns: Sequence[str] | None = None,
    kind: Shape | None = None,
    bounds: Bounds | None = None,
    bounds_crs: CRS | None = None,
    log: DefectLog | None = None,
) -> gpd.GeoDataFrame:
    """Read shapes and columns as they stand, in the source's reference system.

    Parameters
    ----------
    crs
        What the region file declares; needed where the file does not know (TopoJSON).
    kind
        Kind of shapes wanted, where a file has several tables; the layer's if not given.
    bounds, bounds_crs
        Only shapes that meet this box (west, south, east, north) are read. Row labels then are
        the numbers the format itself gives its features.

    Raises
    ------
    SourceMissingError, SourceFormatError, CrsError
    """
    opened = open_table(path, layer=layer, table=table, kind=kind, log=log)
    if opened.geometry_type is None:
        raise _no_shapes(path, layer)
    system = source_crs(crs, opened.crs, name=path.name, log=log)
    box = None if bounds is None else _box_in(bounds, bounds_crs, system)
    rows = read_rows(opened, columns=columns, box=box, log=log)
    if rows.shapes is None:
        raise _no_shapes(path, layer)
    labels = pd.Index(rows.labels, name="row").astype(str)
    shapes = pd.Series(shapes_of(rows.shapes), index=labels, dtype=object)
    geometry = gpd.GeoSeries(shapes, index=labels)
    return gpd.GeoDataFrame(rows.values, index=labels, geometry=geometry, crs=system)


def has_shapes(path: Path, *, layer: str, table: str | None = None) -> bool:
    """Whether a file holds shapes, not only a table."""
    if is_plain_table(path):
        return False
    return open_table(path, layer=layer, table=table).geometry_type is not None


def _no_shapes(path: Path, layer: str) -> SourceFormatError:
    return SourceFormatError(
        layer,
        f"{path.name} has no shapes, only a table (a shapefile may lack its .shp part).",
        "Fetch all parts of the file again.",
    )


def _box_in(bounds: Bounds, bounds_crs: CRS | None, system: CRS) -> Bounds | None:
    """Return `bounds` in `system`; None (all is read) across the 180th meridian."""
    if bounds_crs is None or system.equals(bounds_crs):
        return bounds
    mover = Transformer.from_crs(bounds_crs, system, always_xy=True)
    west, south, east, north = mover.transform_bounds(*bounds)
    if not np.isfinite([west, south, east, north]).all() or west > east:
        return None
    return west, south, east, north


def parse_shapes(
    source: Source,
    layer: Layer,
    crs: CRS,
    log: DefectLog,
    *,
    defaults: Defaults | None = None,
    extra: Sequence[str] = (),
    bounds: Bounds | None = None,
) -> gpd.GeoDataFrame:
    """Read all files of a shape layer into one raw frame (first file's system for all)."""
    frames = []
    for number, path in enumerate(demand_files(source)):
        available = list_columns(path, layer=source.layer, table=source.table, kind=layer.kind)
        wanted = needed_columns(source, layer, available, defaults=defaults, extra=extra)
        with log_of_file(log, source.files, number) as part:
            if is_plain_table(path):
                frames.append(_parse_points(path, source, wanted, available, part))
                continue
            frames.append(
                parse_vector(
                    path,
                    layer=source.layer,
                    crs=source.crs,
                    table=source.table,
                    columns=wanted,
                    kind=layer.kind,
                    bounds=bounds,
                    bounds_crs=crs,
                    log=part,
                )
            )
    frames = [
        frame.set_geometry(moved(frame.geometry, frames[0].crs, source.layer)) for frame in frames
    ]
    return gpd.GeoDataFrame(stack_files(frames, source.files))


def _parse_points(
    path: Path, source: Source, wanted: list[str], available: list[str], log: DefectLog
) -> gpd.GeoDataFrame:
    coordinates = [name for name in (source.x, source.y) if name in available]
    datum = datum_column_of(available)
    coordinates += [] if datum is None else [datum]
    columns = list(dict.fromkeys([*wanted, *coordinates]))
    raw = parse_table(path, layer=source.layer, table=source.table, columns=columns, log=log)
    return place_points(raw, source, log, name=path.name)


def canonical_layer(
    raw: gpd.GeoDataFrame,
    source: Source,
    layer: Layer,
    crs: CRS,
    log: DefectLog,
    *,
    defaults: Defaults | None = None,
) -> gpd.GeoDataFrame:
    """Apply the recipe to a raw shape frame: columns, keys, shapes, region system."""
    plain = pd.DataFrame(raw.drop(columns=raw.geometry.name))
    found = resolve(source, layer, plain.columns, defaults=defaults)
    frame = map_columns(plain, source, layer, log, found=found)
    if not len(raw):
        log.note("", "no_rows", "0", "the layer is empty")
    frame = complete_keys(frame, layer, log)
    return canonical_shapes(raw.loc[frame.index], frame, log, kind=layer.kind, crs=crs)


def read_shapes(
    source: Source,
    layer: Layer,
    crs: CRS,
    *,
    defaults: Defaults | None = None,
    bounds: Bounds | None = None,
) -> Reading:
    """Read a layer that needs no more than the recipe."""
    log = DefectLog(layer.name)
    raw = parse_shapes(source, layer, crs, log, defaults=defaults, bounds=bounds)
    frame = canonical_layer(raw, source, layer, crs, log, defaults=defaults)
    return Reading(frame, log.table())
