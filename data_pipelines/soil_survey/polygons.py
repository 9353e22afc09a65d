"""Read map-unit polygons: shapefiles of an export, or the polygon layer of a GeoPackage.

The reference system is read from the file and never assumed. Invalid polygons are repaired and each
repair is reported.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError

from data_pipelines.defect_log import DefectLog
from data_pipelines.shapes import find_invalid, shapes_of
from data_pipelines.soil_survey.defects import Defect
from data_pipelines.values import as_text
from data_pipelines.vector_files import Box, list_tables, open_table, read_rows
from riskmap.contract.errors import CrsError, SourceFormatError, SourceMissingError

LAYER: Final = "soil_units"
SHAPEFILE_PATTERN: Final = "soilmu_a_*"
STORE_LAYERS: Final = ("mupolygon", "soilmu_a")
FARTHEST_M: Final = 1e8
"""Coordinates of a projected system beyond this are no place on the globe."""
_COLUMNS: Final = {"mukey": "mukey", "areasymbol": "area_symbol", "musym": "musym"}

Polygons = tuple[gpd.GeoDataFrame, list[Defect]]


def find_shapefiles(files: Iterable[Path]) -> list[Path]:
    """Return the map-unit polygon shapefiles among `files`.

    Raises
    ------
    riskmap.contract.errors.SourceMissingError
        If parts of such a shapefile are there without its ``.shp``.
    """
    stems: dict[Path, dict[str, Path]] = {}
    for file in sorted(file for file in files if file.match(SHAPEFILE_PATTERN)):
        stems.setdefault(file.with_suffix(""), {})[file.suffix.casefold()] = file
    for stem, by_suffix in stems.items():
        if ".shp" not in by_suffix and by_suffix.keys() & {".dbf", ".shx"}:
            raise SourceMissingError(
                LAYER,
                f"{stem.name} has its {' and '.join(sorted(by_suffix))} but no .shp.",
                "Without the .shp there are no shapes; download the survey area again, whole.",
            )
    return [by_suffix[".shp"] for by_suffix in stems.values() if ".shp" in by_suffix]


def read_shapefile(path: Path) -> Polygons:
    """Read one map-unit polygon shapefile in its own reference system."""
    _require_crs_file(path)
    return _canonical(_read(path), path.name)


def find_store_layer(path: Path) -> str | None:
    """Return the name of the map-unit polygon layer in a GeoPackage or SQLite file, if any."""
    try:
        names = [name for name, _ in list_tables(path, layer=LAYER)]
    except SourceFormatError:
        return None
    for name in names:
        if name.casefold() == STORE_LAYERS[0] or name.casefold().startswith(STORE_LAYERS[1]):
            return name
    return None


def read_store(path: Path, layer: str, box: Box | None = None) -> Polygons:
    """Read the map-unit polygons of a store, those that meet a `box` in degrees if one is given."""
    return _canonical(_read(path, layer, box), f"{path.name} ({layer})")


def _require_crs_file(path: Path) -> None:
    beside = {file.suffix.casefold() for file in path.parent.glob(f"{path.stem}.*")}
    if ".prj" not in beside:
        raise CrsError(
            LAYER,
            f"{path.name} has no .prj, so its coordinates have no known meaning.",
            "Download the survey area again, whole.",
        )


def _read(path: Path, table: str | None = None, box: Box | None = None) -> Polygons:
    """Shapes as they stand, through the door that all map layers come through."""
    log = DefectLog(LAYER)
    opened = open_table(path, layer=LAYER, table=table, log=log)
    if opened.geometry_type is None:
        raise SourceFormatError(LAYER, f"{path.name} holds no shapes.", "Check the file.")
    wanted = [name for name in opened.columns if name.casefold() in _COLUMNS]
    system = _usable(opened.crs, path.name)
    rows = read_rows(opened, columns=wanted, box=_moved(box, system), log=log)
    shapes = np.empty(0, dtype=object) if rows.shapes is None else shapes_of(rows.shapes)
    frame = gpd.GeoDataFrame(rows.values, geometry=shapes, crs=system)
    return frame, [Defect(*map(str, row)) for row in log.table().to_numpy().tolist()]


def _moved(box: Box | None, system: CRS) -> Box | None:
    """Move a box in degrees to another system; None where that has no place for it."""
    if box is None:
        return None
    west, south, east, north = Transformer.from_crs(
        "EPSG:4326", system, always_xy=True
    ).transform_bounds(*box)
    return (west, south, east, north) if np.isfinite([west, south, east, north]).all() else None


def _usable(crs: str | None, name: str) -> CRS:
    """Understand a reference system from which places can be moved to longitude and latitude."""
    try:
        system = CRS.from_user_input(crs)
        Transformer.from_crs(system, "EPSG:4326")
    except ProjError:  # of which CRSError is one
        system = None
    if system is None or not (system.is_geographic or system.is_projected):
        raise CrsError(
            LAYER,
            f"{name} has no reference system that can be used.",
            "Download the survey area again, whole, or supply its .prj.",
        )
    return system


def _canonical(read: Polygons, name: str) -> Polygons:
    frame, defects = read
    renamed = frame.rename(columns={c: _COLUMNS.get(c.casefold(), c) for c in frame.columns})
    renamed = renamed.loc[:, ~renamed.columns.duplicated()]
    if "mukey" not in renamed:
        raise SourceFormatError(
            LAYER,
            f"{name} has no column MUKEY.",
            "Give the soil map as distributed; download it again.",
        )
    data = {column: _text(renamed, column) for column in _COLUMNS.values()}
    units = gpd.GeoDataFrame(data, geometry=frame.geometry.to_numpy(), crs=frame.crs)
    units, without = _drop_unusable(units)
    if len(frame) and units.empty:
        raise SourceFormatError(
            LAYER, f"none of the {len(frame)} polygons of {name} can be used.", "Download it again."
        )
    units, repairs = repair(units)
    return units, [*defects, *without, *repairs]


def _text(frame: pd.DataFrame, column: str) -> pd.Series:
    if column not in frame:
        return pd.Series(pd.NA, index=range(len(frame)), dtype="string")
    return as_text(frame[column]).reset_index(drop=True)


def _drop_unusable(units: gpd.GeoDataFrame) -> Polygons:
    shapes = units.geometry.to_numpy()
    no_shape = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    flat = ~no_shape & (shapely.get_dimensions(shapes) != 2)
    off = ~no_shape & ~flat & ~_possible_places(shapely.bounds(shapes), units.crs)
    no_key = units["mukey"].isna().to_numpy() & ~no_shape & ~flat & ~off
    defects = [
        Defect(LAYER, column, check, str(row), "", "polygon left out")
        for column, check, marks in (
            ("geometry", "shape empty", no_shape),
            ("geometry", "no polygon", flat),
            ("geometry", "impossible place", off),
            ("mukey", "key blank", no_key),
        )
        for row in units.index[marks]
    ]
    return units[~(no_shape | flat | off | no_key)].reset_index(drop=True), defects


def _possible_places(bounds: NDArray[np.float64], crs: CRS) -> NDArray[np.bool_]:
    """Whether each box (west, south, east, north) is finite and, in degrees, on the globe."""
    most = np.array([361.0, 91.0] * 2) if crs.is_geographic else np.full(4, FARTHEST_M)
    with np.errstate(invalid="ignore"):
        return np.asarray((np.abs(bounds) <= most).all(axis=1))


def repair(units: gpd.GeoDataFrame) -> Polygons:
    """Make invalid polygons valid and keep their polygonal part, leave noise out; report each."""
    shapes = units.geometry.to_numpy()
    bad, tangled = find_invalid(shapes)
    if not (bad | tangled).any():
        return units, []
    reasons = shapely.is_valid_reason(shapes[bad])
    fixed = [_polygonal(shape) for shape in shapely.make_valid(shapes[bad])]
    shapes = shapes.copy()
    shapes[bad] = fixed
    defects = [
        Defect(LAYER, "geometry", "shape invalid", f"{mukey} (polygon {row})", reason, "repaired")
        for row, mukey, reason in zip(
            units.index[bad], units.loc[bad, "mukey"], reasons, strict=True
        )
    ]
    defects += [
        Defect(LAYER, "geometry", "tangled_polygon", f"{mukey} (polygon {row})", "", "left out")
        for row, mukey in units.loc[tangled, "mukey"].items()
    ]
    repaired = units.set_geometry(gpd.GeoSeries(shapes, index=units.index, crs=units.crs))
    return repaired[~tangled].reset_index(drop=True), defects


def _polygonal(shape: shapely.Geometry) -> shapely.Geometry:
    areas = [part for part in shapely.get_parts(shape) if shapely.get_dimensions(part) == 2]
    return shapely.union_all(areas) if areas else shapely.Polygon()


def merge_units(parts: Sequence[gpd.GeoDataFrame]) -> Polygons:
    """Join the polygons of several areas in the reference system of the first.

    A polygon that comes twice with the same key and the same shape is kept once and reported.
    """
    defects: list[Defect] = []
    frames = []
    for part in parts:
        if part.crs != parts[0].crs:
            defects.append(
                Defect(LAYER, "geometry", "other system", "", str(part.crs), "reprojected")
            )
            part = part.to_crs(parts[0].crs)
        frames.append(part)
    joined = gpd.GeoDataFrame(pd.concat(frames, ignore_index=True), crs=parts[0].crs)
    shapes = shapely.to_wkb(shapely.normalize(joined.geometry.to_numpy()))
    twice = pd.DataFrame({"mukey": joined["mukey"], "shape": shapes}).duplicated()
    defects += [
        Defect(LAYER, "geometry", "polygon twice", str(mukey), "", "kept once")
        for mukey in joined.loc[twice, "mukey"]
    ]
    return joined[~twice].reset_index(drop=True), defects
