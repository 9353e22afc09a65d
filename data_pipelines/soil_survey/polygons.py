"""Read map-unit polygons: shapefiles of an export, or the polygon layer of a GeoPackage.

The reference system is read from the file and never assumed. Invalid polygons are repaired and each
repair is reported.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely

from data_pipelines.soil_survey.defects import Defect
from riskmap.contract.errors import CrsError, SourceFormatError, SourceMissingError

LAYER: Final = "soil_units"
SHAPEFILE_PATTERN: Final = "soilmu_a_*"
STORE_LAYERS: Final = ("mupolygon", "soilmu_a")
_COLUMNS: Final = {"mukey": "mukey", "areasymbol": "area_symbol", "musym": "musym"}

Polygons = tuple[gpd.GeoDataFrame, list[Defect]]


def find_shapefiles(root: Path) -> list[Path]:
    """Return the map-unit polygon shapefiles at or under `root`.

    Raises
    ------
    riskmap.contract.errors.SourceMissingError
        If parts of such a shapefile are there without its ``.shp``.
    """
    parts = [file for file in root.rglob("*") if file.match(SHAPEFILE_PATTERN) and file.is_file()]
    stems: dict[Path, dict[str, Path]] = {}
    for file in sorted(parts):
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
    return _canonical(_read(path), str(path))


def find_store_layer(path: Path) -> str | None:
    """Return the name of the map-unit polygon layer in a GeoPackage or SQLite file, if any."""
    try:
        names = [str(name) for name in pyogrio.list_layers(path)[:, 0]]
    except pyogrio.errors.DataSourceError:
        return None
    for name in names:
        if name.casefold() == STORE_LAYERS[0] or name.casefold().startswith(STORE_LAYERS[1]):
            return name
    return None


def read_store(path: Path, layer: str) -> Polygons:
    """Read the map-unit polygons of a GeoPackage or SQLite file."""
    return _canonical(_read(path, layer=layer), f"{path} ({layer})")


def _require_crs_file(path: Path) -> None:
    beside = {file.suffix.casefold() for file in path.parent.glob(f"{path.stem}.*")}
    if ".prj" not in beside:
        raise CrsError(
            LAYER,
            f"{path.name} has no .prj, so its coordinates have no known meaning.",
            "Download the survey area again, whole.",
        )


def _read(path: Path, **options: Any) -> gpd.GeoDataFrame:
    try:
        frame = gpd.read_file(path, **options)
    except pyogrio.errors.DataSourceError as error:
        raise SourceFormatError(
            LAYER, f"{path.name} cannot be read ({error}).", "Download the survey area again."
        ) from error
    if not isinstance(frame, gpd.GeoDataFrame):
        raise SourceFormatError(LAYER, f"{path.name} holds no shapes.", "Check the file.")
    return frame


def _canonical(frame: gpd.GeoDataFrame, name: str) -> Polygons:
    if frame.crs is None:
        raise CrsError(LAYER, f"{name} has no reference system.", "Supply one with the file.")
    renamed = frame.rename(columns={c: _COLUMNS.get(c.casefold(), c) for c in frame.columns})
    if "mukey" not in renamed:
        raise SourceFormatError(LAYER, f"{name} has no column MUKEY.", "It is not a soil map.")
    data = {column: _text(renamed, column) for column in _COLUMNS.values()}
    units = gpd.GeoDataFrame(data, geometry=renamed.geometry.to_numpy(), crs=frame.crs)
    units, without = _drop_unusable(units)
    units, repairs = repair(units)
    return units, [*without, *repairs]


def _text(frame: pd.DataFrame, column: str) -> pd.Series:
    if column not in frame:
        return pd.Series(pd.NA, index=range(len(frame)), dtype="string")
    values = frame[column].reset_index(drop=True)
    if pd.api.types.is_numeric_dtype(values):
        values = values.astype("Int64")
    text = pd.Series(values.astype("string").str.strip())
    return text.mask(text == "")


def _drop_unusable(units: gpd.GeoDataFrame) -> Polygons:
    no_shape = units.geometry.isna() | units.geometry.is_empty
    no_key = units["mukey"].isna()
    defects = [
        Defect(LAYER, "geometry", "shape empty", str(row), "", "polygon left out")
        for row in units.index[no_shape]
    ]
    defects += [
        Defect(LAYER, "mukey", "key blank", str(row), "", "polygon left out")
        for row in units.index[no_key & ~no_shape]
    ]
    return units[~(no_shape | no_key)].reset_index(drop=True), defects


def repair(units: gpd.GeoDataFrame) -> Polygons:
    """Make invalid polygons valid and keep their polygonal part; report each."""
    shapes = units.geometry.to_numpy()
    bad = ~shapely.is_valid(shapes)
    if not bad.any():
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
    return units.set_geometry(gpd.GeoSeries(shapes, index=units.index, crs=units.crs)), defects


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
