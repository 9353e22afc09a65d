"""Checks a table against its declared layer; all faults come back in one table.

Column checks are made by pandera from the declarations in :mod:`riskmap.contract.layers`; the
reference system and the kind of shape are checked first, because nothing else makes sense without
them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import pandera.errors
import pandera.pandas as pa
from pyproj import CRS

from riskmap.contract.columns import PANDAS_DTYPE, Column, Layer
from riskmap.contract.errors import ContractError, CrsError, GeometryTypeError
from riskmap.contract.sources import defects, no_defects

SHAPES: Final = {
    "polygon": {"Polygon", "MultiPolygon"},
    "line": {"LineString", "MultiLineString"},
    "point": {"Point"},
}


def check_layer(frame: pd.DataFrame, layer: Layer, *, crs: CRS) -> pd.DataFrame:
    """List every fault of `frame` as a `layer`.

    Parameters
    ----------
    frame
        The table; a GeoDataFrame where the layer has shapes.
    layer
        The declaration to hold it against.
    crs
        The region's reference system, which all shapes must be in.

    Returns
    -------
    DataFrame
        Columns ``layer, column, check, row, value, action``; empty if there is no fault.

    Raises
    ------
    CrsError, GeometryTypeError
        When shapes cannot be used at all.
    """
    if layer.kind in SHAPES:
        _check_shapes(frame, layer, crs)
    found = [_missing_columns(frame, layer), _column_faults(frame, layer)]
    if layer.key is not None and layer.key in frame:
        found.append(_repeated_keys(frame, layer, layer.key))
    return pd.concat(found, ignore_index=True)


def require(frame: pd.DataFrame, layer: Layer, *, crs: CRS) -> None:
    """Refuse a table that has faults.

    Parameters
    ----------
    frame, layer, crs
        As in :func:`check_layer`.

    Raises
    ------
    ContractError
        With all faults, if there are any.
    CrsError, GeometryTypeError
        As :func:`check_layer`.
    """
    faults = check_layer(frame, layer, crs=crs)
    if len(faults):
        raise ContractError(
            layer.name,
            f"{len(faults):,} values break the contract of this layer.",
            "Correct the source or its column mapping in the region file; the faults are:",
            faults=faults,
        )


def _check_shapes(frame: pd.DataFrame, layer: Layer, crs: CRS) -> None:
    if not isinstance(frame, gpd.GeoDataFrame):
        raise GeometryTypeError(
            layer.name, "the layer has no shapes.", f"Give a file with {layer.kind} shapes."
        )
    if frame.crs is None:
        raise CrsError(
            layer.name,
            "the layer has no coordinate reference system.",
            'Add crs = "EPSG:..." to this layer in the region file.',
        )
    if not CRS(frame.crs).equals(crs):
        raise CrsError(
            layer.name,
            f"the layer is in {frame.crs.to_string()}, the region in {crs.to_string()}.",
            "Transform it on reading.",
        )
    wrong = ~frame.geom_type.isin(SHAPES[layer.kind]) & frame.geometry.notna()
    if wrong.any():
        kinds = sorted(frame.geom_type[wrong].unique())
        rows = ", ".join(map(str, frame.index[wrong][:10]))
        raise GeometryTypeError(
            layer.name,
            f"{int(wrong.sum())} rows hold {', '.join(kinds)} where {layer.kind} shapes belong "
            f"(first rows: {rows}).",
            "Point the region file at the right layer of the source.",
        )


def _missing_columns(frame: pd.DataFrame, layer: Layer) -> pd.DataFrame:
    missing = [c.name for c in layer.columns if c.name not in frame and not c.private]
    parts = [defects(layer.name, name, "column is there", ["(all)"], "refused") for name in missing]
    return pd.concat([no_defects(), *parts], ignore_index=True)


def _repeated_keys(frame: pd.DataFrame, layer: Layer, key: str) -> pd.DataFrame:
    again = frame[key].duplicated(keep=False) & frame[key].notna()
    return defects(layer.name, key, "key is unique", frame.loc[again, key], "refused")


def _column_faults(frame: pd.DataFrame, layer: Layer) -> pd.DataFrame:
    schema = pa.DataFrameSchema(
        {c.name: _schema_column(c) for c in layer.columns if c.name in frame}, strict=False
    )
    plain = pd.DataFrame(frame.drop(columns=_geometry_columns(frame)))
    plain = plain.reset_index(drop=True)
    try:
        schema.validate(plain, lazy=True)
    except pandera.errors.SchemaErrors as error:
        return _as_defects(error.failure_cases, layer, frame.index)
    return no_defects()


def _geometry_columns(frame: pd.DataFrame) -> list[str]:
    return [name for name in frame.columns if str(frame[name].dtype) == "geometry"]


def _schema_column(column: Column) -> Any:
    checks = []
    if column.low is not None:
        checks.append(_check(np.greater_equal, column.low, f"at least {column.low:g}"))
    if column.high is not None:
        checks.append(_check(np.less_equal, column.high, f"at most {column.high:g}"))
    if column.domain:
        checks.append(pa.Check.isin(column.domain, error="one of the declared words"))
    return pa.Column(
        PANDAS_DTYPE[column.dtype], checks=checks, nullable=column.nullable, required=False
    )


def _check(compare: Callable[..., Any], bound: float, error: str) -> pa.Check:
    return pa.Check(lambda values: compare(values, bound), error=error)


def _as_defects(cases: pd.DataFrame, layer: Layer, labels: pd.Index) -> pd.DataFrame:
    rows = [
        "(all)" if pd.isna(position) else str(labels[int(position)]) for position in cases["index"]
    ]
    return pd.DataFrame(
        {
            "layer": layer.name,
            "column": cases["column"].fillna("").astype(str).to_numpy(),
            "check": cases["check"].astype(str).str.replace(r"^dtype\(.*", "type", regex=True),
            "row": rows,
            "value": cases["failure_case"].astype(str).to_numpy(),
            "action": "refused",
        }
    )
