"""The spatial layers of a run beside its parcels, as metadata knows them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import geopandas as gpd

from riskmap.publish.gis.metadata_columns import (
    CAPTURE_COLUMNS,
    LOT_COLUMNS,
    PLAN_COLUMNS,
    WELL_COLUMNS,
)
from riskmap.publish.gis.metadata_layers import (
    PARCEL_FILES,
    LayerFile,
    RunLayer,
    layer_of,
    style_file,
)

ZONE_FILE: Final = LayerFile("zones.gpkg", "Zones, GeoPackage", "application/geopackage+sqlite3")

_SAID: Final[Mapping[str, tuple[str, str, Mapping[str, str], LayerFile]]] = {
    "treatment_areas": (
        "Likely treatment areas",
        "Where the tank and field of a parcel most likely lie, by lot lines, buildings, wells and "
        "waters as mapped. An inference, not a survey.",
        LOT_COLUMNS,
        PARCEL_FILES[0],
    ),
    "replacement_places": (
        "Room for another field",
        "The best rectangle for another field within the region's setbacks, one a parcel. It "
        "shows no more than what is mapped; a licensed designer decides on the ground.",
        LOT_COLUMNS,
        PARCEL_FILES[0],
    ),
    "zones": (
        "Zones for planning",
        "Land with the same leading reason to protect groundwater; zones do not overlap. A "
        "screening: a delineation for regulation needs a licensed hydrogeologist and local data.",
        PLAN_COLUMNS,
        ZONE_FILE,
    ),
    "capture_zones": (
        "Capture areas of wells",
        "Where the water of each drinking-water well comes from, along the flow of groundwater, "
        "or a circle where the flow is unknown. A screening, not a delineation.",
        CAPTURE_COLUMNS,
        ZONE_FILE,
    ),
    "wells": (
        "Drinking-water wells with predicted risk",
        "One point a well with what its log says, the nitrate predicted, its risk and its order "
        "of sampling. A prediction: only a laboratory sample shows what is in the water.",
        WELL_COLUMNS,
        ZONE_FILE,
    ),
}
"""Layer -> title, meaning, meanings of columns, file."""


def further_layers(tables: Mapping[str, gpd.GeoDataFrame]) -> list[RunLayer]:
    """Describe the layers beside the parcels, by name; those without rows are left out."""
    return [
        layer_of(
            table,
            name=name,
            title=_SAID[name][0],
            meaning=_SAID[name][1],
            meanings=_SAID[name][2],
            files=(_SAID[name][3], style_file(name)),
        )
        for name, table in tables.items()
        if len(table)
    ]
