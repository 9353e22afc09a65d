"""Tables as Parquet files that read back exactly: every kind of column, index and missing value."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import shapely
from geopandas.array import GeometryDtype, from_shapely

GEOPARQUET: Final = "1.1.0"
NULLABLE: Final = (
    pd.StringDtype, pd.BooleanDtype, pd.Int8Dtype, pd.Int16Dtype, pd.Int32Dtype, pd.Int64Dtype,
    pd.UInt8Dtype, pd.UInt16Dtype, pd.UInt32Dtype, pd.UInt64Dtype, pd.Float32Dtype, pd.Float64Dtype,
)  # fmt: skip
"""Extension types that Parquet holds exactly."""


def write_table(table: pd.DataFrame, path: Path) -> dict[str, Any]:
    """Write a table; returns what its file cannot say of it and :func:`read_table` needs.

    Raises
    ------
    TypeError
        If a column has no exact form in Parquet.
    """
    own = [table.iloc[:, place] for place in range(table.shape[1])]
    index: Any = table.index
    ranged = isinstance(index, pd.RangeIndex)
    levels = [] if ranged else [index.get_level_values(k) for k in range(index.nlevels)]
    pairs = [_write_column(values) for values in (*own, *levels)]
    names = [*map(str, table.columns), *(f"__index_{k}__" for k in range(len(levels)))]
    if len(set(names)) < len(names):
        names = [f"{place} {name}" for place, name in enumerate(names)]
    stored = pa.table([array for array, _ in pairs], names=names)
    if isinstance(table, gpd.GeoDataFrame):
        stored = stored.replace_schema_metadata({"geo": _geoparquet(table)})
    pq.write_table(stored, path, compression="zstd", compression_level=1)
    return {
        "labels": list(table.columns),
        "label_names": list(table.columns.names),
        "label_type": _type_name(table.columns.dtype),
        "columns": [said for _, said in pairs],
        "range": [index.start, index.stop, index.step] if ranged else None,
        "index_names": list(index.names),
        "shapes": isinstance(table, gpd.GeoDataFrame),
        "geometry": getattr(table, "active_geometry_name", None),
    }


def read_table(path: Path, said: dict[str, Any]) -> pd.DataFrame:
    """Read a table, given what :func:`write_table` returned of it."""
    stored = pq.read_table(path)
    values = [_read_column(stored.column(k), how) for k, how in enumerate(said["columns"])]
    width, names = len(said["labels"]), said["index_names"]
    if said["range"] is not None:
        start, stop, step = said["range"]
        index: pd.Index = pd.RangeIndex(start, stop, step, name=names[0])
    elif len(names) > 1:
        index = pd.MultiIndex.from_arrays(values[width:], names=names)
    else:
        index = pd.Index(values[width], name=names[0])
    table = pd.DataFrame(dict(enumerate(values[:width])), index=index)
    table.columns = _labels(said)
    return gpd.GeoDataFrame(table, geometry=said["geometry"]) if said["shapes"] else table


def _labels(said: dict[str, Any]) -> Any:
    if len(said["label_names"]) > 1:
        return pd.MultiIndex.from_tuples(said["labels"], names=said["label_names"])
    return pd.Index(said["labels"], name=said["label_names"][0], dtype=said["label_type"])


def _write_column(values: pd.Series | pd.Index) -> tuple[pa.Array, dict[str, Any]]:
    """Return the column for the file, and what else must be known to read it."""
    kind = values.dtype
    if isinstance(kind, GeometryDtype):
        shapes = np.asarray(values.array, dtype=object)
        return pa.array(shapely.to_wkb(shapes), pa.binary()), {"crs": values.array.crs}
    if isinstance(kind, pd.CategoricalDtype):
        said = {"words": list(kind.categories), "ordered": bool(kind.ordered)}
        said["type"] = _type_name(kind.categories.dtype)
        return pa.array(np.asarray(values.array.codes)), said
    if isinstance(kind, NULLABLE):
        return pa.array(values.array), {"type": _type_name(kind)}
    if isinstance(kind, np.dtype) and kind.kind == "O":
        return _write_objects(values.to_numpy())
    if isinstance(kind, np.dtype) and kind.kind in "biufMm":
        return pa.array(values.to_numpy()), {"type": _type_name(kind)}
    raise TypeError(f"a column of type {kind} cannot be kept as a file")


def _write_objects(values: np.ndarray) -> tuple[pa.Array, dict[str, Any]]:
    """Texts with one kind of missing value go to the file; anything else is noted separately."""
    kinds = {type(value) for value in values}
    if kinds <= {str, type(None)}:
        return pa.array(values, pa.string()), {"type": "object"}
    if kinds <= {str, float} and all(np.isnan(v) for v in values if type(v) is float):
        texts = pa.array(values, pa.string(), from_pandas=True)
        return texts, {"type": "object", "missing": np.nan}
    return pa.nulls(len(values)), {"objects": list(values)}


def _read_column(stored: pa.ChunkedArray, said: dict[str, Any]) -> Any:
    if "crs" in said:
        return from_shapely(shapely.from_wkb(stored.to_numpy()), crs=said["crs"])
    if "words" in said:
        words = pd.Index(said["words"], dtype=said["type"])
        return pd.Categorical.from_codes(stored.to_numpy(), words, ordered=said["ordered"])
    if "objects" in said:
        values = np.empty(len(said["objects"]), object)
        values[:] = said["objects"]
        return values
    kind: Any = pd.api.types.pandas_dtype(said["type"])
    if type(kind) in NULLABLE:
        return kind.__from_arrow__(stored)
    values = np.array(stored.to_numpy(), dtype=kind)
    if "missing" in said:
        values[[value is None for value in values]] = said["missing"]
    return values


def _type_name(kind: Any) -> str:
    """Name of a type that pandas makes the same type of."""
    if isinstance(kind, pd.StringDtype):
        return f"string[{kind.storage}]" if kind.na_value is pd.NA else "str"
    return str(kind)


def _geoparquet(table: gpd.GeoDataFrame) -> str:
    """File metadata by GeoParquet, so that the file opens in a GIS."""
    columns = {
        str(name): {
            "encoding": "WKB",
            "geometry_types": _kinds(table[name]),
            "crs": None if table[name].crs is None else table[name].crs.to_json_dict(),
        }
        for name in table.columns[table.dtypes.map(lambda kind: isinstance(kind, GeometryDtype))]
    }
    primary = str(table.active_geometry_name)
    return json.dumps({"version": GEOPARQUET, "primary_column": primary, "columns": columns})


def _kinds(shapes: gpd.GeoSeries) -> Sequence[str]:
    return sorted(set(shapes.geom_type.dropna()))
