"""The UTM zone of a county, where the region file leaves the reference system to us."""

from __future__ import annotations

import numpy as np
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info

from data_pipelines.shapes import source_crs
from data_pipelines.tables import demand_files
from data_pipelines.vector_files import boxes, open_table
from riskmap.contract.errors import CrsError, SourceFormatError
from riskmap.contract.sources import Source


def utm_of(source: Source) -> CRS:
    """UTM zone (WGS 84) that holds the middle of a vector source's shapes.

    The middle is the median of theirs, so that a few shapes far off do not move it; on both sides
    of the 180th meridian longitudes are counted on past 180.

    Raises
    ------
    SourceMissingError, SourceFormatError, CrsError
        If the file is missing, cannot be read, holds no shapes, or says nothing of its reference
        system.
    """
    path = demand_files(source)[0]
    opened = open_table(path, layer=source.layer, table=source.table)
    system = source_crs(source.crs, opened.crs, name=path.name, layer=source.layer)
    west, south, east, north = boxes(opened)
    to_degrees = Transformer.from_crs(system, 4326, always_xy=True)
    lons, lats = to_degrees.transform((west + east) / 2, (south + north) / 2)
    if not len(lons):
        raise SourceFormatError(source.layer, f"{path.name} holds no rows.", "Check the file.")
    known = np.isfinite(lons) & np.isfinite(lats)
    if not known.any():
        raise SourceFormatError(
            source.layer,
            f"no shape of {path.name} has a place that its reference system can hold.",
            "Check the file, its table and its crs.",
        )
    lons, lats = lons[known], lats[known]
    if np.ptp(lons) > 180:
        lons = np.where(lons < 0, lons + 360, lons)
    lon, lat = (float(np.median(lons)) + 180) % 360 - 180, float(np.median(lats))
    zones = query_utm_crs_info("WGS 84", AreaOfInterest(lon, lat, lon, lat))
    if not zones:
        raise CrsError(
            source.layer,
            f"the middle of {path.name} lies at {lon:.4f}, {lat:.4f}, in no UTM zone.",
            'Check the reference system, or give [county] crs = "EPSG:...".',
        )
    return CRS.from_authority(zones[0].auth_name, zones[0].code)
