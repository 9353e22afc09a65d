"""Parses any vector format, and makes shape layers of it.

Formats: whatever the GDAL library reads (shapefile, GeoPackage, GeoJSON, TopoJSON, FlatGeobuf,
file geodatabase, zipped or not), and delimited text with coordinate columns. Measured (M) and
height (Z) ordinates are dropped. Only the columns that are mapped are read.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd
import pyogrio
import pyogrio.errors
import pyogrio.raw
import shapely
from pyproj import CRS, Transformer

from data_pipelines.columns import Defaults, resolve
from data_pipelines.defect_log import DefectLog
from data_pipelines.mapping import complete_keys, map_columns
from data_pipelines.points import datum_column_of, place_points
from data_pipelines.shapes import canonical_shapes, source_crs
from data_pipelines.tables import (
    demand_file,
    demand_files,
    is_text_table,
    list_columns,
    needed_columns,
    parse_table,
    quiet,
    stack_files,
)
from riskmap.contract.columns import Layer
from riskmap.contract.errors import SourceFormatError
from riskmap.contract.sources import Reading, Source

Bounds = tuple[float, float, float, float]

_COUNT_FROM_ONE: Final = ("GPKG", "OpenFileGDB", "SQLite")


def parse_vector(
    path: Path,
    *,
    layer: str,
    crs: str | None = None,
    table: str | None = None,
    columns: Sequence[str] | None = None,
    bounds: Bounds | None = None,
    bounds_crs: CRS | None = None,
    log: DefectLog | None = None,
) -> gpd.GeoDataFrame:
    """Read shapes and columns as they stand, in the source's reference system.

    Parameters
    ----------
    crs
        What the region file declares; needed where the file does not know (TopoJSON).
    bounds, bounds_crs
        Only shapes that meet this box (west, south, east, north) are read. Row labels then are
        the numbers the format itself gives its features.

    Raises
    ------
    SourceMissingError, SourceFormatError, CrsError
    """
    demand_file(path, layer)
    info = _info(path, layer, table)
    if info["geometry_type"] is None:
        raise _no_shapes(path, layer)
    system = source_crs(crs, info["crs"], name=path.name, log=log)
    box = None if bounds is None else _box_in(bounds, bounds_crs, system)
    meta, fids, shapes, values = _read_raw(path, layer, table, columns, box)
    if shapes is None:
        raise _no_shapes(path, layer)
    data = dict(zip(map(str, meta["fields"]), values, strict=True))
    first = 0 if info["driver"] in _COUNT_FROM_ONE else 1
    numbers = range(1, len(shapes) + 1) if box is None else fids + first
    labels = pd.Index(numbers, dtype="int64", name="row").astype(str)
    geometry = gpd.GeoSeries(shapely.from_wkb(shapes, on_invalid="fix"), index=labels)
    return gpd.GeoDataFrame(data, index=labels, geometry=geometry, crs=system)


def has_shapes(path: Path, *, layer: str, table: str | None = None) -> bool:
    """Whether a file holds shapes, not only a table."""
    return not is_text_table(path) and _info(path, layer, table)["geometry_type"] is not None


def _no_shapes(path: Path, layer: str) -> SourceFormatError:
    return SourceFormatError(
        layer,
        f"{path.name} has no shapes, only a table (a shapefile may lack its .shp part).",
        "Fetch all parts of the file again.",
    )


def _info(path: Path, layer: str, table: str | None) -> dict[str, Any]:
    try:
        with quiet():
            info: dict[str, Any] = pyogrio.read_info(path, layer=table)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise SourceFormatError(
            layer, f"{path.name} cannot be read: {error}", "Check the file and the table's name."
        ) from error
    return info


def _read_raw(
    path: Path, layer: str, table: str | None, columns: Sequence[str] | None, box: Bounds | None
) -> Any:
    try:
        with quiet():
            return pyogrio.raw.read(
                path,
                layer=table,
                columns=columns,
                bbox=box,
                return_fids=box is not None,
                datetime_as_string=True,
            )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.FeatureError) as error:
        raise SourceFormatError(
            layer, f"{path.name} cannot be read: {error}", "Fetch the file again."
        ) from error


def _box_in(bounds: Bounds, bounds_crs: CRS | None, system: CRS) -> Bounds:
    if bounds_crs is None or system.equals(bounds_crs):
        return bounds
    mover = Transformer.from_crs(bounds_crs, system, always_xy=True)
    west, south, east, north = mover.transform_bounds(*bounds)
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
    for path in demand_files(source):
        available = list_columns(path, layer=source.layer, table=source.table)
        wanted = needed_columns(source, layer, available, defaults=defaults, extra=extra)
        if is_text_table(path):
            frames.append(_parse_points(path, source, wanted, available, log))
            continue
        frames.append(
            parse_vector(
                path,
                layer=source.layer,
                crs=source.crs,
                table=source.table,
                columns=wanted,
                bounds=bounds,
                bounds_crs=crs,
                log=log,
            )
        )
    frames = [frame.to_crs(frames[0].crs) for frame in frames]
    return gpd.GeoDataFrame(stack_files(frames, source.files))


def _parse_points(
    path: Path, source: Source, wanted: list[str], available: list[str], log: DefectLog
) -> gpd.GeoDataFrame:
    coordinates = [name for name in (source.x, source.y) if name in available]
    datum = datum_column_of(available)
    coordinates += [] if datum is None else [datum]
    columns = list(dict.fromkeys([*wanted, *coordinates]))
    raw = parse_table(path, layer=source.layer, columns=columns)
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
