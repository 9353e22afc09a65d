"""The UTM zone of a county, where the region file leaves the reference system to us."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyogrio
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info

from data_pipelines.tables import quiet
from riskmap.contract.errors import CrsError, SourceFormatError, SourceMissingError
from riskmap.contract.sources import Source


def utm_of(source: Source) -> CRS:
    """UTM zone (WGS 84) that holds the middle of a vector source's extent.

    Raises
    ------
    SourceMissingError, SourceFormatError, CrsError
        If the file is missing, cannot be read, or says nothing of its reference system.
    """
    path = source.files[0]
    (x, y), known = _middle(source.layer, path, source.table)
    crs_text = source.crs or known
    if crs_text is None:
        raise CrsError(
            source.layer,
            f"{path.name} has no coordinate reference system.",
            'Add crs = "EPSG:..." to this layer in the region file.',
        )
    to_degrees = Transformer.from_crs(CRS.from_user_input(crs_text), 4326, always_xy=True)
    lon, lat = to_degrees.transform(x, y)
    zones = query_utm_crs_info("WGS 84", AreaOfInterest(lon, lat, lon, lat))
    if not zones:
        raise CrsError(
            source.layer,
            f"the middle of {path.name} lies at {lon:.4f}, {lat:.4f}, in no UTM zone.",
            'Check the reference system, or give [county] crs = "EPSG:...".',
        )
    return CRS.from_authority(zones[0].auth_name, zones[0].code)


def _middle(layer: str, path: Path, table: str | None) -> tuple[tuple[float, float], str | None]:
    """Median place of the shapes, which a few astray do not move, and the reference system."""
    if not path.exists():
        raise SourceMissingError(layer, f"{path} is not there.", "Check the path.")
    try:
        with quiet():
            known = pyogrio.read_info(path, layer=table)["crs"]
            west, south, east, north = pyogrio.read_bounds(path, layer=table)[1]
    except pyogrio.errors.DataSourceError as error:
        raise SourceFormatError(
            layer, f"{path.name} cannot be read as a map layer.", "Give a vector file."
        ) from error
    middle = (float(np.nanmedian(west + east)) / 2, float(np.nanmedian(south + north)) / 2)
    return middle, known
