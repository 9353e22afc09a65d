"""The spatial layers of a run other than its parcels, as metadata knows them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import geopandas as gpd

from riskmap.contract.columns import Layer
from riskmap.contract.results import (
    ASSESSED_WELLS,
    CAPTURE_ZONES,
    REPLACEMENT_PLACES,
    TREATMENT_AREAS,
    ZONES,
)
from riskmap.publish.gis.metadata_layers import (
    PARCEL_FILES,
    LayerFile,
    RunLayer,
    layer_of,
    named_file,
    style_file,
)

ZONE_FILE: Final = named_file("zones.gpkg", "application/geopackage+sqlite3")

_FILES: Final[tuple[tuple[Layer, LayerFile], ...]] = (
    (TREATMENT_AREAS, PARCEL_FILES[0]),
    (REPLACEMENT_PLACES, PARCEL_FILES[0]),
    (ZONES, ZONE_FILE),
    (CAPTURE_ZONES, ZONE_FILE),
    (ASSESSED_WELLS, ZONE_FILE),
)

DECLARED: Final[Mapping[str, Layer]] = {layer.name: layer for layer, _ in _FILES}
"""Spatial layers of the GIS files beside the parcels, by name."""


def further_layers(tables: Mapping[str, gpd.GeoDataFrame]) -> list[RunLayer]:
    """Describe the layers other than the parcels, by name; those without rows are left out."""
    return [
        layer_of(tables[layer.name], of=layer, files=(file, style_file(layer.name)))
        for layer, file in _FILES
        if len(tables.get(layer.name, ()))
    ]
