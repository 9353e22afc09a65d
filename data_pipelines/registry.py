"""Which reader makes which layer."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from pyproj import CRS

from data_pipelines.areas import (
    read_buildings,
    read_public_areas,
    read_sewer_area,
    read_wellhead_areas,
)
from data_pipelines.floodplain import read_floodplain
from data_pipelines.hydrography import read_streams, read_waterbodies
from data_pipelines.inspections import read_inspections
from data_pipelines.parcels import read_parcels
from data_pipelines.permits import read_permits
from data_pipelines.places import read_places
from data_pipelines.rasters import RasterReading, read_elevation, read_water_table
from data_pipelines.roads import read_roads
from data_pipelines.vector import Bounds
from data_pipelines.water_levels import read_water_levels
from data_pipelines.water_quality import read_well_samples
from data_pipelines.wells import read_wells
from riskmap.contract.errors import LayerError
from riskmap.contract.sources import Reading, Source

Reader = Callable[..., Reading | RasterReading]

READERS: Final[Mapping[str, Reader]] = {
    "parcels": read_parcels,
    "buildings": read_buildings,
    "permits": read_permits,
    "inspections": read_inspections,
    "elevation": read_elevation,
    "water_table": read_water_table,
    "water_levels": read_water_levels,
    "streams": read_streams,
    "waterbodies": read_waterbodies,
    "roads": read_roads,
    "places": read_places,
    "floodplain": read_floodplain,
    "sewer_area": read_sewer_area,
    "wellhead_areas": read_wellhead_areas,
    "public_areas": read_public_areas,
    "wells": read_wells,
    "well_samples": read_well_samples,
}
"""Layer name -> ``reader(source, crs, *, bounds=None)``; the soil survey has its own door."""


def read_layer(
    source: Source, crs: CRS, *, bounds: Bounds | None = None
) -> Reading | RasterReading:
    """Read the layer that `source` names.

    Parameters
    ----------
    crs
        The region's projected reference system; shapes and rasters come back in it.
    bounds
        West, south, east, north in `crs`: only what meets the box is read, where the form of the
        source allows.

    Raises
    ------
    LayerError
        If there is no reader for the layer, or a reader cannot use the source.
    """
    reader = READERS.get(source.layer)
    if reader is None:
        raise LayerError(
            source.layer, "there is no reader for this layer.", f"Known: {', '.join(READERS)}."
        )
    return reader(source, crs, bounds=bounds)
