"""Read whatever form the survey comes in, and merge it into the canonical layers."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import geopandas as gpd
import pandas as pd

from data_pipelines.soil_survey import canonical, polygons
from data_pipelines.soil_survey.defects import Defect, defect_frame
from data_pipelines.soil_survey.finding import Piece, find_pieces
from data_pipelines.soil_survey.geodatabase import read_geodatabase
from data_pipelines.soil_survey.merge import join_files, merge_sources
from data_pipelines.soil_survey.needs import check_needs
from data_pipelines.soil_survey.schema import RawSource
from data_pipelines.soil_survey.stores import read_csv, read_reply, read_sqlite
from data_pipelines.soil_survey.tables import read_export
from data_pipelines.vector_files import Box
from riskmap.contract.errors import SourceFormatError

_LOOSE: Final = {".csv": read_csv, ".json": read_reply}


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


def read_soil_survey(paths: Sequence[Path], *, box: Box | None = None) -> SoilSurvey:
    """Read one or several survey areas into the canonical soil layers.

    Parameters
    ----------
    paths
        Folders, zip files, file geodatabases, SQLite or GeoPackage files, CSV or JSON files,
        map-unit shapefiles, in any mixture. Where two hold the same map unit, the first is kept.
    box
        West, south, east and north of the county in degrees: a geodatabase, which may hold a whole
        state, is cut to it.

    Raises
    ------
    riskmap.contract.errors.SourceMissingError
        If a path is not there, or a shapefile lacks its ``.shp``.
    riskmap.contract.errors.SourceFormatError
        If a source cannot be understood, lacks a needed table or column, or none holds components.
    riskmap.contract.errors.CrsError
        If polygons come without their reference system.
    """
    sources: list[RawSource] = []
    units: list[gpd.GeoDataFrame] = []
    defects: list[Defect] = []
    with tempfile.TemporaryDirectory() as folder:
        for piece in find_pieces([Path(path) for path in paths], Path(folder)):
            has_text = any(not source.is_empty for source in sources)
            source, shapes, found = _read(piece, has_text=has_text, box=box)
            sources += [source] if source is not None else []
            units += [shapes] if shapes is not None and len(shapes) else []
            defects += found
    bare = [s for s in sources if s.tables.get("component", pd.DataFrame()).empty]
    elsewhere = {table for source in bare for table in source.tables}
    tables, merging = merge_sources([check_needs(source, elsewhere) for source in sources])
    if tables["component"].empty:
        raise SourceFormatError(
            ", ".join(str(path) for path in paths) or "soil survey",
            "no soil components were found.",
            "Give at least one survey area with its tables.",
        )
    joined, joining = polygons.merge_units(units) if units else (None, [])
    return _assemble(tables, joined, [*defects, *joining, *merging])


def _read(
    piece: Piece, *, has_text: bool, box: Box | None
) -> tuple[RawSource | None, gpd.GeoDataFrame | None, list[Defect]]:
    """Tables, polygons and defects of one piece."""
    path = piece.paths[0]
    if piece.kind == "shapes":
        return None, *polygons.read_shapefile(path)
    if piece.kind == "geodatabase":
        source, (units, found) = read_geodatabase(path, box)
        return replace(source, name=piece.name or source.name), units, found
    if piece.kind == "store beside text" and has_text:
        action = "text tables read instead"
        left = Defect("soil_mapunits", "", "store beside text tables", path.name, "", action)
        return None, None, [left]
    if piece.kind == "export":
        source = read_export(path)
    elif piece.kind == "loose":
        source = join_files([_LOOSE[file.suffix.casefold()](file) for file in piece.paths])
    else:
        source = read_sqlite(path)
    source = replace(source, name=piece.name or source.name)
    layer = polygons.find_store_layer(path) if piece.kind.startswith("store") else None
    return (source, None, []) if layer is None else (source, *polygons.read_store(path, layer))


def _assemble(
    tables: dict[str, pd.DataFrame], units: gpd.GeoDataFrame | None, defects: list[Defect]
) -> SoilSurvey:
    makers: dict[str, Callable[[canonical.Tables], canonical.Made]] = {
        "soil_mapunits": canonical.mapunits,
        "soil_components": canonical.components,
        "soil_horizons": canonical.horizons,
        "soil_restrictions": canonical.restrictions,
        "soil_months": canonical.months,
        "soil_interpretations": canonical.interpretations,
    }
    layers: dict[str, pd.DataFrame] = {}
    hurt: frozenset[str] = frozenset()
    for name, make in makers.items():
        made = make(tables)
        layers[name], keyless, _ = canonical.drop_keyless(made.frame, name)
        defects += [*made.defects, *keyless]
        hurt |= made.hurt
    own = layers["soil_components"]
    layers["soil_components"] = own.assign(
        gaps=own["gaps"].mask(own["gaps"].isna() & own["cokey"].isin(hurt), "unreadable numbers")
    )
    for name in list(makers)[2:]:
        layers[name], found, _ = canonical.drop_orphans(layers[name], name, "cokey", own["cokey"])
        defects += found
    defects += [*canonical.unjoined(tables), *canonical.count_childless(layers, units)]
    return SoilSurvey(soil_units=units, defects=defect_frame(defects), **layers)
