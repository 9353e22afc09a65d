"""Turn the ranked table and the layers into the packed files that the map page opens.

Four files: ``parcels`` (shapes and classes: enough to paint), ``facts`` (what is searched and
filtered: read after the first paint), ``layers`` (streams, wells and other layers) and ``details``
(reasons, facts and limitations: read with the first card).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from riskmap.publish.display import Units, readable, shown
from riskmap.publish.map_facts import FILTERED, Fact, pack_evidence, pack_fact, worded
from riskmap.publish.map_model import LIMITATION_STEPS
from riskmap.publish.packing import (
    Package,
    pack_codes,
    pack_numbers,
    pack_shapes,
    pack_text,
    pack_words,
)
from riskmap.publish.palette import CLASSES, FLOOD_COLOURS, NOT_RANKED, SOIL_COLOURS

SHOWN_SCORES: Final = ("priority", "failure", "groundwater")
LOT_TOLERANCE_M: Final = 0.15
"""Corners of lots that lie closer to the straight line than this are left out of the page."""

LAYER_TOLERANCE_M: Final = 3.0
LAYER_VERTICES: Final = 80_000
"""A layer with more corners is simplified further, twofold at a time."""

POLYGON, MULTIPOLYGON, COLLECTION = 3, 6, 7
"""Kinds of shape as shapely numbers them; -1 is missing."""

SOIL_WORD_COLUMNS: Final = ("soil_class", "class", "published_class", "limit")


def drawable(ranked: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Rows that have a shape, along a space-filling curve so that neighbours pack together."""
    solid = np.isin(shapely.get_type_id(ranked.geometry.values), (POLYGON, MULTIPOLYGON))
    rows = ranked[solid & ~shapely.is_empty(ranked.geometry.values)]
    if rows.empty:
        return rows
    along = rows.geometry.hilbert_distance(level=14).to_numpy()
    return rows.iloc[np.argsort(along, kind="stable")]


def pack_parcels(rows: gpd.GeoDataFrame) -> Package:
    """Shapes, the three classes, and who is scored without a rank (ranked apart)."""
    package = Package()
    thinned = shapely.simplify(rows.geometry.values, LOT_TOLERANCE_M, preserve_topology=True)
    pack_shapes(package, gpd.GeoSeries(thinned, crs=rows.crs))
    columns: dict[str, Any] = {}
    for score in SHOWN_SCORES:
        classes = rows[f"{score}_class"].astype(object).where(lambda c: c.notna(), NOT_RANKED)
        columns[f"{score}_class"] = pack_codes(package, classes, (*CLASSES, NOT_RANKED))
    scored = rows["priority_class"].notna() & (rows["priority_class"] != NOT_RANKED)
    apart = scored & _column(rows, "rank").isna()
    columns["apart"] = pack_codes(package, apart.map({True: "apart", False: ""}))
    package.header["columns"] = columns
    return package


def pack_facts(rows: gpd.GeoDataFrame, facts: Sequence[Fact], *, units: Units) -> Package:
    """Pack what searching, filtering and the head of the list need."""
    package = Package()
    columns: dict[str, Any] = {
        "parcel_id": pack_text(package, pd.Series(rows.index, dtype=object)),
        "address": pack_text(package, _text(rows, "address")),
        "rank": pack_numbers(package, _column(rows, "rank")),
    }
    for column in ("priority", "failure_score", "groundwater_score"):
        columns[column] = pack_numbers(package, _column(rows, column), decimals=1)
    for fact in facts:
        if fact.column in FILTERED:
            columns[fact.column] = pack_fact(package, rows[fact.column], fact, units=units)
    package.header["columns"] = columns
    return package


def pack_details(
    rows: gpd.GeoDataFrame, facts: Sequence[Fact], limitation: pd.DataFrame, *, units: Units
) -> Package:
    """Pack what a card and the weights need, read with the first of them.

    `limitation` is in the order of `rows`.
    """
    package = Package()
    columns: dict[str, Any] = {}
    for name in ("not_ranked_reason", "unknown", "reason_1", "reason_2", "reason_3"):
        columns[name] = pack_words(package, worded(_text(rows, name)))
    for fact in facts:
        if fact.column not in FILTERED:
            columns[fact.column] = pack_fact(package, rows[fact.column], fact, units=units)
        if fact.evidence:
            mark = f"{fact.column}_evidence"
            columns[mark] = pack_evidence(package, rows[mark])
    decimals = len(str(LIMITATION_STEPS)) - 1
    for name in limitation.columns:
        columns[f"limitation:{name}"] = pack_numbers(package, limitation[name], decimals=decimals)
    package.header["columns"] = columns
    return package


def pack_layers(layers: Mapping[str, gpd.GeoDataFrame], *, units: Units) -> Package:
    """Every layer that is there and has shapes, simplified to what a screen can show."""
    package = Package()
    package.header["layers"] = {}
    for name, layer in layers.items():
        table = _usable(layer)
        if name == "floodplain" and "zone" in table:
            table = table[table["zone"] != "outside"]
        if table.empty:
            continue
        shapes = _simplified(table)
        keep = ~(shapes.is_empty | shapes.isna()).to_numpy()
        pack_shapes(package, shapes[keep], name=name)
        package.header["layers"][name] = _layer_columns(package, name, table[keep], units)
    return package


def _layer_columns(
    package: Package, name: str, table: gpd.GeoDataFrame, units: Units
) -> dict[str, Any]:
    if name == "soils":
        return {"class": pack_codes(package, soil_words(table), tuple(SOIL_COLOURS))}
    if name == "floodplain":
        return {"zone": pack_codes(package, worded(_text(table, "zone")), tuple(FLOOD_COLOURS))}
    columns: dict[str, Any] = {}
    for column in ("well_id", "use", "aquifer", "name", "zone", "reason"):
        if column in table:
            columns[column] = pack_words(package, worded(_text(table, column)))
    for column in ("depth_m", "casing_m", "static_level_m"):
        if column in table and name == "wells":
            reading = readable(column, units=units)
            columns[column] = pack_numbers(package, shown(table[column], reading))
    return columns


def soil_words(table: pd.DataFrame) -> pd.Series:
    """Class word of each soil polygon: the national rule's classes, else "not rated"."""
    column = next((name for name in SOIL_WORD_COLUMNS if name in table), None)
    if column is None:
        return pd.Series("not rated", index=table.index, dtype=object)
    words = table[column].astype(object).where(table[column].notna(), "not rated")
    lowered = words.astype(str).str.lower().str.strip()
    return lowered.where(lowered.isin(list(SOIL_COLOURS)), "not rated")


def _usable(layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Rows with a shape of the layer's most common kind (area, line or point)."""
    kind = shapely.get_type_id(layer.geometry.values)
    plain = (kind >= 0) & (kind != COLLECTION) & ~shapely.is_empty(layer.geometry.values)
    table = layer[plain]
    if table.empty:
        return table
    dimension = shapely.get_dimensions(table.geometry.values)
    return table[dimension == int(np.bincount(dimension).argmax())]


def _simplified(table: gpd.GeoDataFrame) -> gpd.GeoSeries:
    shapes = table.geometry
    if int(shapely.get_dimensions(shapes.values).max()) == 0:
        return shapes
    tolerance = LAYER_TOLERANCE_M
    thinned = shapely.simplify(shapes.values, tolerance, preserve_topology=True)
    while shapely.get_num_coordinates(thinned).sum() > LAYER_VERTICES and tolerance < 100:
        tolerance *= 2
        thinned = shapely.simplify(shapes.values, tolerance, preserve_topology=True)
    return gpd.GeoSeries(thinned, crs=table.crs, index=table.index)


def _column(rows: pd.DataFrame, name: str) -> pd.Series:
    return rows[name] if name in rows else pd.Series(np.nan, index=rows.index)


def _text(rows: pd.DataFrame, name: str) -> pd.Series:
    return rows[name] if name in rows else pd.Series("", index=rows.index, dtype=object)
