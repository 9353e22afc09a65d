"""Layers other than the parcels: cleaned, simplified and packed for the map page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from riskmap.contract.features import as_words, column
from riskmap.contract.quantities import Units
from riskmap.publish.map.outlines import pack_shapes
from riskmap.publish.map.packing import Package, pack_codes, pack_numbers, pack_words
from riskmap.publish.map.threats import well_columns
from riskmap.publish.map.zones import zone_columns
from riskmap.publish.palette import FLOOD_COLORS, SOIL_COLORS

LAYER_TOLERANCE_M: Final = 3.0
LAYER_VERTICES: Final = 80_000
"""A layer with more corners is simplified further, twofold at a time."""
LOT_TOLERANCE_M: Final = 0.5
"""Shapes on single lots are seen from near only."""

ON_LOTS: Final = ("treatment_areas", "replacement_places")
"""Layers with a shape a parcel, indexed by parcel number; read when they are first used."""
LOTS_SHOWN: Final = 5000
"""Only for so many parcels from the head of the list; the GIS files hold them all."""

COLLECTION: Final = 7
"""Kind of shape as shapely numbers it."""

SOIL_WORD_COLUMNS: Final = ("soil_class", "class", "published_class", "limit")


def kept_layers(layers: Mapping[str, gpd.GeoDataFrame]) -> dict[str, gpd.GeoDataFrame]:
    """Every layer that has shapes, simplified to what a screen can show, in the page's order."""
    kept = {}
    for name, layer in layers.items():
        table = _usable(layer)
        if name == "floodplain" and "zone" in table:
            table = table[table["zone"] != "outside"]
        if table.empty:
            continue
        shapes = _simplified(table, LOT_TOLERANCE_M if name in ON_LOTS else LAYER_TOLERANCE_M)
        table = table.set_geometry(shapes)[~(shapes.is_empty | shapes.isna()).to_numpy()]
        if len(table):
            kept[name] = _along_curve(table) if _dimension(table) == 0 else table
    return kept


def pack_layers(
    kept: Mapping[str, gpd.GeoDataFrame], *, units: Units, rows: Mapping[str, NDArray[np.int64]]
) -> Package:
    """Pack layers for the page.

    Parameters
    ----------
    kept
        From :func:`kept_layers`.
    units
        ``us`` or ``si``.
    rows
        For layers of single lots: position of each shape's parcel among those drawn.
    """
    package = Package()
    package.header["layers"] = {}
    for name, table in kept.items():
        package.begin_table()
        pack_shapes(package, table.geometry, name=name)
        columns = _layer_columns(package, name, table, units)
        if name in rows:
            columns["row"] = pack_numbers(package, pd.Series(rows[name]))
        package.header["layers"][name] = columns
    return package


def first_lots(
    layer: gpd.GeoDataFrame, ranked: gpd.GeoDataFrame, drawn: pd.Index
) -> gpd.GeoDataFrame:
    """Shapes of the first :data:`LOTS_SHOWN` parcels of the list, in the order of `drawn`.

    Parameters
    ----------
    layer
        Shapes of lots; index ``parcel_id``.
    ranked
        All parcels with ``rank``.
    drawn
        Index of the parcels that are drawn.
    """
    first = ranked.index[(pd.to_numeric(ranked["rank"]) <= LOTS_SHOWN).fillna(False)]
    place = pd.Series(np.arange(len(drawn)), index=drawn)
    chosen = layer[layer.index.isin(first) & layer.index.isin(drawn)]
    return chosen.iloc[np.argsort(place.reindex(chosen.index).to_numpy(), kind="stable")]


def _layer_columns(
    package: Package, name: str, table: gpd.GeoDataFrame, units: Units
) -> dict[str, Any]:
    if name == "soils":
        return {"class": pack_codes(package, soil_words(table), tuple(SOIL_COLORS))}
    if name == "floodplain":
        return {
            "zone": pack_codes(
                package, as_words(_text(table, "zone"), column("flood_zone")), tuple(FLOOD_COLORS)
            )
        }
    if name == "zones":
        return zone_columns(package, table, units)
    if name == "wells":
        return well_columns(package, table, units)
    if name == "places":
        larger = table["area_m2"].rank(ascending=False, method="first", na_option="bottom")
        return {"name": pack_words(package, _text(table, "name")),
                "first": pack_numbers(package, larger)}  # fmt: skip
    return {
        field: pack_words(package, as_words(_text(table, field)))
        for field in ("name", "zone", "reason")
        if field in table and name not in ON_LOTS
    }


def soil_words(table: pd.DataFrame) -> pd.Series:
    """Class word of each soil polygon: the national rule's classes, else "not rated"."""
    column = next((name for name in SOIL_WORD_COLUMNS if name in table), None)
    if column is None:
        return pd.Series("not rated", index=table.index, dtype=object)
    words = table[column].astype(object).where(table[column].notna(), "not rated")
    lowered = words.astype(str).str.lower().str.strip()
    return lowered.where(lowered.isin(list(SOIL_COLORS)), "not rated")


def _usable(layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Rows with a shape of the layer's most common kind (area, line or point)."""
    kind = shapely.get_type_id(layer.geometry.values)
    plain = (kind >= 0) & (kind != COLLECTION) & ~shapely.is_empty(layer.geometry.values)
    table = layer[plain]
    if table.empty:
        return table
    dimension = shapely.get_dimensions(table.geometry.values)
    return table[dimension == int(np.bincount(dimension).argmax())]


def _dimension(table: gpd.GeoDataFrame) -> int:
    return int(shapely.get_dimensions(table.geometry.values).max())


def _along_curve(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Order along a space-filling curve: neighbors pack together."""
    along = table.geometry.hilbert_distance(level=14).to_numpy()
    return table.iloc[np.argsort(along, kind="stable")]


def _simplified(table: gpd.GeoDataFrame, tolerance: float) -> gpd.GeoSeries:
    shapes = table.geometry
    if _dimension(table) == 0:
        return shapes
    thinned = shapely.simplify(shapes.values, tolerance, preserve_topology=True)
    while shapely.get_num_coordinates(thinned).sum() > LAYER_VERTICES and tolerance < 100:
        tolerance *= 2
        thinned = shapely.simplify(shapes.values, tolerance, preserve_topology=True)
    return gpd.GeoSeries(thinned, crs=table.crs, index=table.index)


def _text(rows: pd.DataFrame, name: str) -> pd.Series:
    return rows[name] if name in rows else pd.Series("", index=rows.index, dtype=object)
