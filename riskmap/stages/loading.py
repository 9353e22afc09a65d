"""From the files that a region names to canonical layers, with every defect on record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from data_pipelines.auto_crs import utm_of
from data_pipelines.parcels import read_parcels
from data_pipelines.permits import check_modifications
from data_pipelines.rasters import RasterReading
from data_pipelines.registry import read_layer
from data_pipelines.soil_survey import read_soil_survey
from data_pipelines.well_checks import check_elevation_unit, check_in_water
from riskmap.contract.check import require
from riskmap.contract.errors import CrsError
from riskmap.contract.grid import Grid
from riskmap.contract.layers import LAYERS
from riskmap.contract.sources import no_defects
from riskmap.region.layers import SOIL_SURVEY
from riskmap.region.sections import Region
from riskmap.stages.input_files import InputFile, hash_inputs, require_unchanged
from riskmap.stages.progress import Progress

HALO_M: Final = 2000.0
"""Other layers are read this far beyond the parcels' extent."""

SOIL_TABLES: Final = (
    "soil_units",
    "soil_mapunits",
    "soil_components",
    "soil_horizons",
    "soil_restrictions",
    "soil_months",
)


@dataclass(frozen=True)
class County:
    """A county's canonical layers, all in one reference system.

    ``tables`` holds shapes and plain tables, ``rasters`` the grids, both by layer name; a layer
    that the region does not give is not in them. ``files`` are the files read, as they were.
    """

    region: Region
    crs: CRS
    tables: Mapping[str, pd.DataFrame]
    rasters: Mapping[str, Grid]
    defects: pd.DataFrame
    files: Mapping[str, InputFile]

    @property
    def inputs(self) -> dict[str, str]:
        """Each file read with its SHA-256."""
        return {name: file.sha256 for name, file in self.files.items()}


def load_county(region: Region, progress: Progress | None = None) -> County:
    """Read every layer that the region file names and hold it against its contract.

    Raises
    ------
    LayerError
        Of the first layer that cannot be used, or the first file that changed or vanished while
        it was read; see ``docs/errors.md``.
    """
    progress = progress or Progress()
    with progress.stage("hash the files"):
        files = hash_inputs(region)
    try:
        county = _read(region, files, progress)
    except Exception:
        require_unchanged(files)  # a file that changed under its reader is the cause to name
        raise
    require_unchanged(files)
    return county


def _read(region: Region, files: Mapping[str, InputFile], progress: Progress) -> County:
    given = region.county.crs
    crs = utm_of(region.sources["parcels"]) if given == "auto" else CRS.from_user_input(given)
    tables: dict[str, pd.DataFrame] = {}
    rasters: dict[str, Grid] = {}
    defects: list[pd.DataFrame] = []
    with progress.stage("read parcels"):
        reading = read_parcels(region.sources["parcels"], crs)
        tables["parcels"] = reading.frame
        defects.append(reading.defects)
    bounds = _bounds(tables["parcels"])
    for name, source in region.sources.items():
        if name in ("parcels", SOIL_SURVEY):
            continue
        with progress.stage(f"read {name.replace('_', ' ')}"):
            found = read_layer(source, crs, bounds=bounds)
        defects.append(found.defects)
        if isinstance(found, RasterReading):
            rasters[name] = found.raster
        else:
            tables[name] = found.frame
    with progress.stage("read soil survey"):
        soil, soil_defects = _soil(region, crs, bounds)
    tables |= soil
    defects.append(soil_defects)
    defects.append(_cross_checks(tables, rasters))
    for name, table in tables.items():
        require(table, LAYERS[name], crs=crs)
    return County(
        region=region,
        crs=crs,
        tables=tables,
        rasters=rasters,
        defects=pd.concat(defects, ignore_index=True),
        files=files,
    )


def _bounds(parcels: gpd.GeoDataFrame) -> tuple[float, float, float, float]:
    west, south, east, north = parcels.total_bounds
    return west - HALO_M, south - HALO_M, east + HALO_M, north + HALO_M


def _cross_checks(tables: Mapping[str, pd.DataFrame], rasters: Mapping[str, Grid]) -> pd.DataFrame:
    """Find what only shows when layers are held against each other."""
    wells, waters = tables.get("wells"), tables.get("waterbodies")
    permits, terrain = tables.get("permits"), rasters.get("elevation")
    found = [no_defects()]
    if isinstance(wells, gpd.GeoDataFrame) and terrain is not None:
        found.append(check_elevation_unit(wells, terrain))
    if isinstance(wells, gpd.GeoDataFrame) and isinstance(waters, gpd.GeoDataFrame):
        found.append(check_in_water(wells, waters))
    if permits is not None:
        found.append(check_modifications(permits, tables["parcels"]))
    return pd.concat(found, ignore_index=True)


def _soil(
    region: Region, crs: CRS, bounds: tuple[float, float, float, float]
) -> tuple[dict[str, pd.DataFrame], pd.DataFrame]:
    survey = read_soil_survey(region.sources[SOIL_SURVEY].files)
    if survey.soil_units is None:
        raise CrsError(
            SOIL_SURVEY,
            "the soil survey has tables but no map unit polygons.",
            "Add the folder or file with the soil polygons (soilmu_a_*.shp).",
        )
    tables = {name: getattr(survey, name) for name in SOIL_TABLES}
    west, south, east, north = bounds
    units = tables["soil_units"].to_crs(crs)
    tables["soil_units"] = units.cx[west:east, south:north]
    return tables, survey.defects
