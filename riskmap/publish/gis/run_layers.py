"""The GIS files of a run: layers beside the parcels, styles and metadata of what there is."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.metadata import version
from pathlib import Path

import geopandas as gpd

from riskmap.contract.vocabulary import may_be_onsite
from riskmap.publish.gis.files import write_gis_files
from riskmap.publish.gis.metadata import Catalog, write_metadata
from riskmap.publish.gis.metadata_further import further_layers
from riskmap.publish.gis.metadata_layers import layer_of
from riskmap.publish.gis.package_notes import note_package
from riskmap.publish.gis.styles import STYLES, WORD_STYLES, write_styles
from riskmap.publish.lists.zones_table import LAYERS as ZONE_LAYERS
from riskmap.publish.lists.zones_table import write_zone_layers
from riskmap.publish.words.imprint import sender_of
from riskmap.stages.listing import find_visits
from riskmap.stages.result import Result

DESCRIBED: Mapping[str, str] = {
    name: f"files_{name}" for name in ("parcels", "zones", "styles", "defects")
}
"""Outputs whose files the metadata lists, and the things that hold them."""


def parcel_files(folder: Path, result: Result) -> None:
    """Write ``parcels.gpkg`` and ``parcels.parquet`` of a run."""
    package, _ = write_gis_files(folder, result.parcels, extra=lot_layers(result))
    note_package(package, visits=find_visits(result.parcels, result.region))


def zone_layers(folder: Path, result: Result) -> None:
    """Write the GIS file of the zones of a run that drew some."""
    plan = result.planning
    if plan is not None:
        package = write_zone_layers(folder, plan.zones, plan.capture_zones, plan.wells)
        note_package(package, visits=find_visits(result.parcels, result.region))


def styles(folder: Path, result: Result) -> None:
    """Write ``styles/`` for the layers that a run has."""
    beside = [name for name, table in layers_beside(result).items() if len(table)]
    visits = find_visits(result.parcels, result.region)
    write_styles(folder, visits=visits, names=(*STYLES, *WORD_STYLES, *beside))


def metadata(folder: Path, result: Result) -> None:
    """Write ``metadata/``: STAC and ISO 19115 records of a run's layers and their files."""
    found: dict[str, Path] = {}
    for thing in DESCRIBED.values():
        found |= result.things[thing]
    catalog = Catalog(
        sender_of(result.region),
        state=result.region.county.state,
        crs=result.parcels.crs,
        model_name=result.model.name,
        inputs=result.inputs,
        version=version("riskmap"),
    )
    write_metadata(
        folder, [layer_of(result.parcels), *further_layers(layers_beside(result))], found, catalog
    )


def lot_layers(result: Result) -> dict[str, gpd.GeoDataFrame]:
    """Likely treatment areas of parcels with a system, and the best room for another field."""
    served = may_be_onsite(result.parcels["service"])
    areas = result.areas.reindex(result.parcels.index[served])
    return {
        "treatment_areas": gpd.GeoDataFrame(
            areas[["geometry"]].dropna(), geometry="geometry", crs=result.parcels.crs
        ),
        "replacement_places": result.replacement_places,
    }


def layers_beside(result: Result) -> dict[str, gpd.GeoDataFrame]:
    """Spatial layers of the GIS files beside the parcels, by name."""
    layers = lot_layers(result)
    plan = result.planning
    if plan is not None:
        shapes = (plan.zones, plan.capture_zones, plan.wells)
        layers |= dict(zip(ZONE_LAYERS, shapes, strict=True))
    return layers
