"""From the files that a region names to canonical layers, with every defect on record."""

from __future__ import annotations

from typing import Any, Final

import geopandas as gpd
import pandas as pd
from pyproj import CRS, Transformer

from data_pipelines.auto_crs import utm_of
from data_pipelines.cross_keys import POINTERS, respell
from data_pipelines.defect_log import DefectLog
from data_pipelines.outcome_log import (
    answered_pump_outs,
    of_county,
    outcome_inspections,
    with_outcomes,
)
from data_pipelines.parcels import read_parcels
from data_pipelines.permits import check_modifications
from data_pipelines.rasters import RasterReading, check_cover
from data_pipelines.registry import read_layer
from data_pipelines.soil_survey import read_soil_survey
from data_pipelines.source_catalog import entries_of
from data_pipelines.vector import Bounds
from data_pipelines.well_checks import check_elevation_unit, check_in_water
from riskmap.contract.check import require
from riskmap.contract.errors import CrsError, SourceFormatError
from riskmap.contract.grid import Grid
from riskmap.contract.layers import ELEVATION, INSPECTIONS, LAYERS
from riskmap.contract.sources import no_defects
from riskmap.inventory.terrain import too_coarse
from riskmap.keeping.inputs import HashMemory
from riskmap.keeping.store import FOLDER, Store
from riskmap.region.layers import SOIL_SURVEY
from riskmap.spatial.scattered import far_from_rest
from riskmap.stages.county import SOIL, County
from riskmap.stages.input_files import hash_inputs

HALO_M: Final = 2000.0
"""Other layers are read this far beyond the parcels' extent."""


def list_inputs(county: County) -> tuple[dict[str, str], list[dict[str, Any]]]:
    """List the files that the region names, by name, with their SHA-256.

    Also what the catalogues of fetched files say of them: origin, license, citation.
    """
    memory = HashMemory(Store(county.region.path.parent / FOLDER))
    files = hash_inputs(county.region, memory)
    fetched = entries_of((file.path, file.sha256) for file in files.values())
    return {name: file.sha256 for name, file in files.items()}, fetched


def read_all_parcels(
    county: County,
) -> tuple[gpd.GeoDataFrame, pd.DataFrame, CRS, Bounds, gpd.GeoDataFrame]:
    """Read the parcels: the layer, its defects, the reference system of all, and their extent.

    Parcels far from all others (:func:`riskmap.spatial.scattered.far_from_rest`) are set apart and
    come last: no layer is read around them, and they move nothing of the others.

    Raises
    ------
    LayerError
        If the layer cannot be used; see ``docs/errors.md``.
    """
    source = county.region.sources["parcels"]
    given = county.region.county.crs
    crs = utm_of(source) if given == "auto" else CRS.from_user_input(given)
    reading = read_parcels(source, crs)
    log = DefectLog("parcels")
    log.extend(reading.defects)
    every: Any = reading.frame
    require(every, LAYERS["parcels"], crs=crs)
    middle = every.geometry.centroid
    far = far_from_rest(middle.x, middle.y)
    parcels, strays = every[~far].reset_index(drop=True), every[far].reset_index(drop=True)
    west, south, east, north = map(float, parcels.total_bounds)
    extent = (west - HALO_M, south - HALO_M, east + HALO_M, north + HALO_M)
    if len(strays):
        gap = parcels.geometry.distance
        away = [float(gap(shape).min()) / 1000 for shape in strays.geometry]
        values = pd.Series([f"{km:,.0f} km away" for km in away], index=strays["parcel_id"])
        log.add("geometry", "far_from_rest", values, "not scored: check its coordinates")
    return parcels, log.table(), crs, extent, strays


def read_alone(
    county: County, crs: CRS, extent: Bounds, *, layer: str
) -> tuple[pd.DataFrame | Grid | None, pd.DataFrame]:
    """Read a layer that comes from a source of its own.

    Parameters
    ----------
    county
        Gives the region's sources.
    crs
        Reference system to read into.
    extent
        West, south, east, north in it, m; what lies outside is not read.
    layer
        Name of the canonical layer.

    Returns
    -------
    tuple
        Layer and defects; None and no defects where the region names no source.

    Raises
    ------
    LayerError
        If the layer cannot be used; see ``docs/errors.md``.
    """
    source = county.region.sources.get(layer)
    if source is None:
        return None, no_defects()
    reading = read_layer(source, crs, bounds=extent)
    if isinstance(reading, RasterReading):
        return reading.raster, reading.defects
    require(reading.frame, LAYERS[layer], crs=crs)
    log = DefectLog(layer)
    log.extend(reading.defects)
    frame = reading.frame
    for pointer in POINTERS:
        known = county.tables.get(pointer.to) if pointer.layer == layer else None
        if known is not None:
            frame = respell(frame, pointer, known[pointer.column], log)
    return frame, log.table()


def read_visits(
    county: County, crs: CRS, extent: Bounds
) -> tuple[pd.DataFrame | None, pd.DataFrame]:
    """Read inspections from the county's files and from the outcome log; None where neither is.

    Raises
    ------
    LayerError
        If the layer cannot be used; see ``docs/errors.md``.
    """
    own: Any
    own, defects = read_alone(county, crs, extent, layer=INSPECTIONS.name)
    own = None if own is None else of_county(own)
    state = county.region.outcomes
    if state is None:
        return own, defects
    log = DefectLog(INSPECTIONS.name)
    log.extend(defects)
    day = county.region.county.date
    told = pd.concat([outcome_inspections(state, day, log), answered_pump_outs(state, day, log)])
    for pointer in POINTERS:
        if pointer.layer == INSPECTIONS.name:
            told = respell(told, pointer, county.tables[pointer.to][pointer.column], log)
    frame = with_outcomes(own, told, log)
    require(frame, INSPECTIONS, crs=crs)
    return frame, log.table()


def read_soils(county: County, crs: CRS, extent: Bounds) -> tuple[pd.DataFrame, ...]:
    """Read the soil survey: its tables in the order of :data:`SOIL`, then its defects.

    Parameters
    ----------
    county, crs, extent
        As in :func:`read_alone`.

    Raises
    ------
    LayerError
        If a table cannot be used, or the survey has no map unit polygons.
    """
    to_degrees = Transformer.from_crs(crs, 4326, always_xy=True)
    survey = read_soil_survey(
        county.region.sources[SOIL_SURVEY].files, box=to_degrees.transform_bounds(*extent)
    )
    if survey.soil_units is None:
        raise SourceFormatError(
            SOIL_SURVEY,
            "the soil survey has tables but no map unit polygons.",
            "Add the folder or file with the soil polygons (soilmu_a_*.shp).",
        )
    west, south, east, north = extent
    tables = {name: getattr(survey, name) for name in SOIL}
    placed = tables["soil_units"].to_crs(crs)
    tables["soil_units"] = placed.cx[west:east, south:north]
    if tables["soil_units"].empty:
        raise CrsError(
            SOIL_SURVEY,
            f"none of its {len(placed):,} map units lies near the parcels. The survey lies around "
            f"{_middle(placed.total_bounds, crs)}, the parcels around {_middle(extent, crs)}.",
            "Give the survey of this county; or, if the parcels lie wrong, their true "
            'crs = "EPSG:...".',
        )
    for name, table in tables.items():
        require(table, LAYERS[name], crs=crs)
    return (*tables.values(), survey.defects)


def _middle(bounds: Any, crs: CRS) -> str:
    """Write the middle of a box in degrees."""
    west, south, east, north = bounds
    to_degrees = Transformer.from_crs(crs, 4326, always_xy=True)
    lon, lat = to_degrees.transform((west + east) / 2, (south + north) / 2)
    return f"latitude {lat:.2f}, longitude {lon:.2f}"


def cross_check(county: County) -> pd.DataFrame:
    """Find what only shows when layers are compared with each other."""
    tables = county.tables
    wells, waters = tables.get("wells"), tables.get("waterbodies")
    permits, terrain = tables.get("permits"), county.rasters.get("elevation")
    found = [no_defects()]
    if terrain is not None and too_coarse(terrain):
        log = DefectLog(ELEVATION.name)
        cells = f"cells of {max(terrain.cell_x_m, terrain.cell_y_m):,.0f} m"
        log.note("", "terrain_coarse", cells, "slope and wetness unknown: name a finer raster")
        found.append(log.table())
    if isinstance(wells, gpd.GeoDataFrame) and terrain is not None:
        found.append(check_elevation_unit(wells, terrain))
    if isinstance(wells, gpd.GeoDataFrame) and isinstance(waters, gpd.GeoDataFrame):
        found.append(check_in_water(wells, waters))
    for name, raster in county.rasters.items():
        found.append(check_cover(raster, tables["parcels"], name))
    if permits is not None:
        found.append(check_modifications(permits, tables["parcels"]))
    return pd.concat(found, ignore_index=True)


def gather_defects(
    county: County, *defects: pd.DataFrame, sources: tuple[str, ...]
) -> pd.DataFrame:
    """Put all defects in one table.

    Parameters
    ----------
    defects
        Of each of `sources`, in their order, then what was found between layers.
    sources
        Names of the sources; in the table they are in the order of the region file, parcels
        first, the soil survey last.
    """
    found = dict(zip(sources, defects, strict=False))
    given = dict.fromkeys((*county.region.sources, INSPECTIONS.name))
    alone = [name for name in given if name not in ("parcels", SOIL_SURVEY)]
    order = ("parcels", *alone, SOIL_SURVEY)
    return pd.concat([*(found[name] for name in order), defects[-1]], ignore_index=True)
