"""Read map-unit polygons: shapefiles of an export, or the polygon layer of a GeoPackage.

The reference system is read from the file and never assumed. Invalid polygons are repaired and each
repair is reported.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyogrio.errors
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError

from data_pipelines.soil_survey.defects import Defect, shown
from data_pipelines.values import as_text
from riskmap.contract.errors import CrsError, SourceFormatError, SourceMissingError

LAYER: Final = "soil_units"
SHAPEFILE_PATTERN: Final = "soilmu_a_*"
STORE_LAYERS: Final = ("mupolygon", "soilmu_a")
FARTHEST_M: Final = 1e8
"""Coordinates of a projected system beyond this are no place on the globe."""
_READ_FAULTS: Final = (
    pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.FeatureError,
    pyogrio.errors.FieldError, pyogrio.errors.GeometryError, pyogrio.errors.CRSError, ProjError,
    shapely.GEOSException, ValueError, OSError,
)  # fmt: skip
"""What the libraries raise for a damaged file, wrong letters in its table among it."""
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
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            names = [str(name) for name in pyogrio.list_layers(path)[:, 0]]
    except _READ_FAULTS:
        return None
    for name in names:
        if name.casefold() == STORE_LAYERS[0] or name.casefold().startswith(STORE_LAYERS[1]):
            return name
    return None


def read_store(path: Path, layer: str) -> Polygons:
    """Read the map-unit polygons of a GeoPackage or SQLite file."""
    return _canonical(_read(path, layer=layer), f"{path.name} ({layer})")


def _require_crs_file(path: Path) -> None:
    beside = {file.suffix.casefold() for file in path.parent.glob(f"{path.stem}.*")}
    if ".prj" not in beside:
        raise CrsError(
            LAYER,
            f"{path.name} has no .prj, so its coordinates have no known meaning.",
            "Download the survey area again, whole.",
        )


def _read(path: Path, **options: Any) -> Polygons:
    """Shapes as they stand; what the library warns of becomes a defect."""
    defects: list[Defect] = []
    try:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            try:
                frame = gpd.read_file(path, **options)
            except UnicodeDecodeError:
                frame = gpd.read_file(path, encoding="cp1252", **options)
                defects.append(
                    Defect(LAYER, "", "not UTF-8", path.name, "", "read as Windows-1252")
                )
    except _READ_FAULTS as error:
        raise SourceFormatError(
            LAYER,
            f"{path.name} cannot be read ({_first_line(error)}).",
            "Download the survey area again, whole.",
        ) from error
    if not isinstance(frame, gpd.GeoDataFrame):
        raise SourceFormatError(LAYER, f"{path.name} holds no shapes.", "Check the file.")
    words = dict.fromkeys(_first_line(one.message) for one in caught)
    defects += [Defect(LAYER, "", "file damaged", path.name, word, "read on") for word in words]
    return frame, defects


def _first_line(words: object) -> str:
    return shown(" ".join(str(words).split()))


def _canonical(read: Polygons, name: str) -> Polygons:
    frame, defects = read
    if frame.crs is None or not _usable(frame.crs):
        raise CrsError(
            LAYER,
            f"{name} has no reference system that can be used.",
            "Download the survey area again, whole, or supply its .prj.",
        )
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


def _usable(crs: CRS) -> bool:
    """Whether places in `crs` can be moved to longitude and latitude."""
    try:
        Transformer.from_crs(crs, "EPSG:4326")
    except ProjError:
        return False
    return bool(crs.is_geographic or crs.is_projected)


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
