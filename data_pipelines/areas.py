"""Reads plain areas: sewered, wellhead protection and public areas, building footprints."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from pyproj import CRS

from data_pipelines.vector import Bounds, read_shapes
from riskmap.contract.layers import BUILDINGS, PUBLIC_AREAS, SEWER_AREA, WELLHEAD_AREAS
from riskmap.contract.sources import Reading, Source

_NAMES: Final[Mapping[str, Sequence[str]]] = {"name": ("NAME", "DISTRICT", "SYSTEM_NAME")}
_BUILDINGS: Final[Mapping[str, Sequence[str]]] = {"building_id": ("BUILD_ID", "BLDG_ID", "UUID")}


def read_sewer_area(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read the area served by public sewer.

    Parameters
    ----------
    source, crs, bounds
        As in :func:`data_pipelines.registry.read_layer`.
    """
    return read_shapes(source, SEWER_AREA, crs, defaults=_NAMES, bounds=bounds)


def read_wellhead_areas(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read the delineated protection areas of public wells.

    Parameters
    ----------
    source, crs, bounds
        As in :func:`data_pipelines.registry.read_layer`.
    """
    return read_shapes(source, WELLHEAD_AREAS, crs, defaults=_NAMES, bounds=bounds)


def read_public_areas(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read the areas that the public edition counts by.

    Parameters
    ----------
    source, crs, bounds
        As in :func:`data_pipelines.registry.read_layer`.
    """
    return read_shapes(source, PUBLIC_AREAS, crs, defaults=_NAMES, bounds=bounds)


def read_buildings(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read building footprints.

    Parameters
    ----------
    source, crs, bounds
        As in :func:`data_pipelines.registry.read_layer`.
    """
    return read_shapes(source, BUILDINGS, crs, defaults=_BUILDINGS, bounds=bounds)
