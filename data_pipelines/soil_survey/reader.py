"""Open whatever form the survey comes in, read it, and merge it into the canonical layers."""

from __future__ import annotations

import tempfile
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import geopandas as gpd
import pandas as pd

from data_pipelines.soil_survey import canonical, polygons
from data_pipelines.soil_survey.defects import Defect, defect_frame
from data_pipelines.soil_survey.merge import join_files, merge_sources
from data_pipelines.soil_survey.schema import RawSource
from data_pipelines.soil_survey.stores import SQLITE_SUFFIXES, read_csv, read_reply, read_sqlite
from data_pipelines.soil_survey.tables import find_exports, read_export
from riskmap.contract.errors import SourceFormatError, SourceMissingError

_FORMS: Final = "a folder, .zip, .sqlite, .gpkg, .db, .csv, .json or the .shp of the map units"
_LOOSE: Final = {".csv": read_csv, ".json": read_reply}
_WANTED_IN_ZIP: Final = (".txt", ".csv", ".json", ".zip", *SQLITE_SUFFIXES)


@dataclass(frozen=True)
class SoilSurvey:
    """The canonical soil layers of one or several survey areas, and what was wrong with them.

    ``soil_units`` is in its own reference system, or None where only tables were given. The columns
    of every layer are declared in ``riskmap.contract.layers``; ``defects`` has the columns
    ``layer, column, check, row, value, action``.
    """

    soil_units: gpd.GeoDataFrame | None
    soil_mapunits: pd.DataFrame
    soil_components: pd.DataFrame
    soil_horizons: pd.DataFrame
    soil_restrictions: pd.DataFrame
    soil_months: pd.DataFrame
    soil_interpretations: pd.DataFrame
    defects: pd.DataFrame


@dataclass(frozen=True)
class _Found:
    """What one path held."""

    sources: tuple[RawSource, ...] = ()
    units: tuple[gpd.GeoDataFrame, ...] = ()
    defects: tuple[Defect, ...] = ()


def read_soil_survey(paths: Sequence[Path]) -> SoilSurvey:
    """Read one or several survey areas into the canonical soil layers.

    Parameters
    ----------
    paths
        Folders, zip files, SQLite or GeoPackage files, CSV or JSON files, map-unit shapefiles, in
        any mixture. Where two hold the same map unit, the first is kept.

    Raises
    ------
    riskmap.contract.errors.SourceMissingError
        If a path is not there, or a shapefile lacks its ``.shp``.
    riskmap.contract.errors.SourceFormatError
        If a source cannot be understood, or none holds map units and components.
    riskmap.contract.errors.CrsError
        If polygons come without their reference system.
    """
    found = _open_all([Path(path) for path in paths])
    sources = [source for part in found for source in part.sources]
    units, defects = _merge_units(found)
    tables, merging = merge_sources(sources)
    opening = [defect for part in found for defect in part.defects]
    if tables["component"].empty:
        raise SourceFormatError(
            ", ".join(str(path) for path in paths) or "soil survey",
            "no soil components were found.",
            "Give at least one survey area with its tables.",
        )
    return _assemble(tables, units, [*opening, *defects, *merging])


def _assemble(
    tables: dict[str, pd.DataFrame], units: gpd.GeoDataFrame | None, defects: list[Defect]
) -> SoilSurvey:
    makers: dict[str, Callable[[canonical.Tables], canonical.Result]] = {
        "soil_mapunits": canonical.mapunits,
        "soil_components": canonical.components,
        "soil_horizons": canonical.horizons,
        "soil_restrictions": canonical.restrictions,
        "soil_months": canonical.months,
        "soil_interpretations": canonical.interpretations,
    }
    layers: dict[str, pd.DataFrame] = {}
    for name, make in makers.items():
        layers[name], found = make(tables)
        defects += found
    cokeys = layers["soil_components"]["cokey"]
    for name in list(makers)[2:]:
        layers[name], found = canonical.drop_orphans(layers[name], name, "cokey", cokeys)
        defects += found
    if units is not None:
        defects += _units_without_tables(units, layers["soil_components"])
    return SoilSurvey(soil_units=units, defects=defect_frame(defects), **layers)


def _units_without_tables(units: gpd.GeoDataFrame, components: pd.DataFrame) -> list[Defect]:
    strange = units.loc[~units["mukey"].isin(set(components["mukey"])), "mukey"]
    return [
        Defect("soil_units", "mukey", "no components", str(mukey), f"{count} polygons", "kept")
        for mukey, count in strange.value_counts(sort=False).items()
    ]


def _merge_units(found: Sequence[_Found]) -> tuple[gpd.GeoDataFrame | None, list[Defect]]:
    units = [frame for part in found for frame in part.units if len(frame)]
    if not units:
        return None, []
    return polygons.merge_units(units)


def _open_all(paths: Sequence[Path]) -> list[_Found]:
    """Open `paths` in order; loose CSV and JSON files among them make up one source together."""
    loose = [path for path in paths if path.suffix.casefold() in _LOOSE and path.is_file()]
    found = [_open(path) for path in paths if path not in loose]
    if loose:
        sources = [_LOOSE[path.suffix.casefold()](path) for path in loose]
        found.append(_Found((join_files(sources),)))
    return found


def _open(path: Path) -> _Found:
    if not path.exists():
        raise SourceMissingError(str(path), "is not there.", "Check the path in the region file.")
    if path.is_dir():
        return _open_folder(path)
    suffix = path.suffix.casefold()
    if suffix == ".zip":
        return _open_zip(path)
    if suffix in SQLITE_SUFFIXES:
        return _open_store(path)
    if suffix == ".shp":
        frame, defects = polygons.read_shapefile(path)
        return _Found((), (frame,), tuple(defects))
    raise SourceFormatError(str(path), "is no known form of a soil survey.", f"Give {_FORMS}.")


def _open_zip(path: Path) -> _Found:
    try:
        with zipfile.ZipFile(path) as archive, tempfile.TemporaryDirectory() as folder:
            wanted = [name for name in archive.namelist() if _is_wanted(name)]
            archive.extractall(folder, members=wanted)
            found = _open_folder(Path(folder))
    except zipfile.BadZipFile as error:
        raise SourceFormatError(
            str(path), f"is not a whole zip file ({error}).", "Download it again."
        ) from error
    renamed = tuple(
        RawSource(f"{path.name}", source.tables, source.defects) for source in found.sources
    )
    return _Found(renamed, found.units, found.defects)


def _is_wanted(name: str) -> bool:
    file = Path(name)
    return file.suffix.casefold() in _WANTED_IN_ZIP or file.match(polygons.SHAPEFILE_PATTERN)


def _open_store(path: Path) -> _Found:
    source = read_sqlite(path)
    layer = None if not path.stat().st_size else polygons.find_store_layer(path)
    if layer is None:
        return _Found((source,))
    frame, defects = polygons.read_store(path, layer)
    return _Found((source,), (frame,), tuple(defects))


def _open_folder(folder: Path) -> _Found:
    parts = [_Found((read_export(export),)) for export in find_exports(folder)]
    has_text = any(not source.is_empty for part in parts for source in part.sources)
    files = sorted(file for file in folder.rglob("*") if file.is_file())
    stores = [file for file in files if file.suffix.casefold() in SQLITE_SUFFIXES]
    if has_text:
        parts += [_Found(defects=(_store_beside_text(file),)) for file in stores]
        stores = []
    inner = [file for file in files if file.suffix.casefold() in (*_LOOSE, ".zip")]
    parts += _open_all([*stores, *inner, *polygons.find_shapefiles(folder)])
    if not parts:
        raise SourceFormatError(str(folder), "holds no soil survey.", f"Give {_FORMS}.")
    return _Found(
        tuple(source for part in parts for source in part.sources),
        tuple(frame for part in parts for frame in part.units),
        tuple(defect for part in parts for defect in part.defects),
    )


def _store_beside_text(file: Path) -> Defect:
    return Defect(
        "soil_mapunits", "", "store beside text tables", file.name, "", "text tables read instead"
    )
