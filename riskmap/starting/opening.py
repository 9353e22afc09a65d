"""Opens every file, layer and sheet that somebody has, whatever it is, and says what it holds."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from data_pipelines.defect_log import DefectLog
from data_pipelines.raster_files import open_raster
from data_pipelines.shapes import shapes_of
from data_pipelines.sheets import is_workbook, list_sheets, read_sheet
from data_pipelines.tables import is_text_table, parse_table
from data_pipelines.vector_files import boxes, list_tables, open_table, read_rows
from riskmap.contract.errors import RiskmapError

Bounds = tuple[float, float, float, float]

MOST_ROWS: Final = 200_000
"""Rows of a table that are looked at."""
RASTERS: Final = (".tif", ".tiff", ".img", ".asc", ".vrt", ".bil", ".flt")
SIDE_FILES: Final = (
    ".shx", ".prj", ".cpg", ".sbn", ".sbx", ".qix", ".aux", ".ovr", ".tfw", ".lock", ".qpj",
    ".toml", ".md", ".pdf", ".html", ".lyr",
)  # fmt: skip
"""Files that hold no layer of their own."""
_KINDS: Final = (("Point", "point"), ("LineString", "line"), ("Polygon", "polygon"))
_UNNAMED: Final = re.compile(r"(?i)field_?\d+|unnamed.*|column_?\d+|f\d+")


@dataclass(frozen=True)
class Sheet:
    """One table, map layer, raster or soil survey that was found.

    ``kind`` is a shape, ``table``, ``raster``, ``survey``, or empty where it cannot be read
    (``trouble`` says why). ``table`` is its name inside the file, where the file holds several.
    ``frame`` holds its columns as they stand, without shapes. ``bounds`` is in its own system, that
    of a soil survey in degrees; ``area`` is the median of its polygons in the square of its unit.
    """

    path: Path
    kind: str
    table: str | None = None
    frame: pd.DataFrame = field(default_factory=pd.DataFrame)
    rows: int = 0
    crs: str | None = None
    bounds: Bounds | None = None
    area: float | None = None
    trouble: str = ""

    @property
    def degrees(self) -> Bounds | None:
        """Extent in degrees; None where its system is not known."""
        return self.bounds if self.kind == "survey" else in_degrees(self.bounds, self.crs)

    @property
    def label(self) -> str:
        """Name for people."""
        return self.path.name + (f", {self.table}" if self.table else "")


def open_all(paths: Sequence[Path]) -> list[Sheet]:
    """Open files and folders; what cannot be read is in the list with its trouble."""
    found: list[Sheet] = []
    for path in paths:
        for place in _places(path):
            found += _open(place)
    return found


def _places(path: Path) -> Iterator[Path]:
    """Files of a folder; a soil survey and a file geodatabase are folders that count as one."""
    if not path.is_dir() or path.suffix.lower() == ".gdb" or is_survey(path):
        yield path
        return
    for inside in sorted(path.iterdir()):
        if inside.name.startswith("."):
            continue
        if inside.is_dir():
            yield from _places(inside)
        elif inside.suffix.lower() not in SIDE_FILES and not _is_side_table(inside):
            yield inside


def _is_side_table(path: Path) -> bool:
    return path.name.lower().endswith(".aux.xml") or (
        path.suffix.lower() == ".dbf" and path.with_suffix(".shp").exists()
    )


def is_survey(path: Path) -> bool:
    """Whether a folder holds the tables of a soil survey as distributed."""
    tables = [path / "tabular" / "mapunit.txt", path / "mapunit.txt"]
    return any(table.exists() for table in tables)


def is_packed_survey(path: Path) -> bool:
    """Whether a zip file holds the tables of a soil survey as distributed."""
    if path.suffix.lower() != ".zip" or not zipfile.is_zipfile(path):
        return False
    with zipfile.ZipFile(path) as archive:
        return any(name.lower().endswith("tabular/mapunit.txt") for name in archive.namelist())


def _open(path: Path) -> list[Sheet]:
    try:
        if not path.exists():
            return [Sheet(path, "", trouble="there is no such file")]
        if is_packed_survey(path) or (path.is_dir() and is_survey(path)):
            return [Sheet(path, "survey", bounds=_survey_bounds(path))]
        if path.suffix.lower() in RASTERS:
            return [_raster(path)]
        if is_text_table(path):
            return [
                _plain(path, None, parse_table(path, layer=path.name, log=DefectLog(path.name)))
            ]
        return list(_sheets(path) if is_workbook(path) else _layers(path))
    except (RiskmapError, OSError, ValueError, RuntimeError) as error:
        return [Sheet(path, "", trouble=" ".join(str(error).split())[:200])]


def _survey_bounds(path: Path) -> Bounds | None:
    """Extent of the survey's map units in degrees."""
    places: list[tuple[Path, str | None]]
    if path.is_dir():
        places = [(place, None) for place in sorted(path.rglob("*mu_a_*.shp"))]
    else:
        names = [name for name, _ in list_tables(path, layer=path.name)]
        places = [(path, name) for name in names if "mu_a_" in name.lower()]
    for place, table in places:
        opened = open_table(place, layer=place.name, table=table)
        return in_degrees(_extent(boxes(opened)), opened.crs)
    return None


def in_degrees(bounds: Any, crs: str | None) -> Bounds | None:
    """Move a box to degrees; None where its system is not known."""
    if crs is None or bounds is None or not np.isfinite(bounds).all():
        return None
    mover = Transformer.from_crs(CRS.from_user_input(crs), 4326, always_xy=True)
    west, south, east, north = map(float, bounds)
    return mover.transform_bounds(west, south, east, north)


def _box(bounds: Any) -> Bounds:
    west, south, east, north = map(float, bounds)
    return west, south, east, north


def _raster(path: Path) -> Sheet:
    with open_raster(path, path.name) as raster:
        shrink = max(1, max(raster.width, raster.height) // 400)
        shape = (max(1, raster.height // shrink), max(1, raster.width // shrink))
        values = raster.read(1, out_shape=shape, masked=True).astype(float).filled(np.nan)
        good = values[np.isfinite(values) & (np.abs(values) < 1e5) & (values > -9000)]
        crs = None if raster.crs is None else raster.crs.to_string()
        return Sheet(
            path,
            "raster",
            frame=pd.DataFrame({"value": good.ravel()}),
            rows=raster.width * raster.height,
            crs=crs,
            bounds=_box(raster.bounds),
        )


def _layers(path: Path) -> Iterator[Sheet]:
    listed = list_tables(path, layer=path.name)
    if {"mapunit", "component"} <= {name.lower() for name, _ in listed}:
        yield Sheet(path, "survey")
        return
    for name, _ in listed:
        table = name if len(listed) > 1 else None
        try:
            yield _layer(path, table)
        except (RiskmapError, OSError, ValueError, RuntimeError) as error:
            yield Sheet(path, "", table, trouble=" ".join(str(error).split())[:200])


def _sheets(path: Path) -> Iterator[Sheet]:
    for name in list_sheets(path, layer=path.name):
        try:
            yield _plain(path, name, read_sheet(path, layer=path.name, table=name))
        except (RiskmapError, ValueError) as error:
            yield Sheet(path, "", name, trouble=" ".join(str(error).split())[:200])


def _layer(path: Path, table: str | None) -> Sheet:
    opened = open_table(path, layer=path.name, table=table)
    rows = read_rows(opened, shapes=opened.geometry_type is not None, most=MOST_ROWS)
    frame = pd.DataFrame(rows.values)
    if rows.shapes is None:
        return _plain(path, table, frame)
    shapes = shapes_of(rows.shapes)
    names = pd.Series([shape.geom_type for shape in shapes if shape is not None], dtype=object)
    usual = str(names.mode().iloc[0]) if len(names) else str(opened.geometry_type)
    kind = next((word for part, word in _KINDS if part in usual), "")
    return Sheet(
        path,
        kind,
        table,
        frame=frame,
        rows=opened.records,
        crs=opened.crs,
        bounds=_extent(boxes(opened)),
        area=float(np.nanmedian(shapely.area(shapes))) if kind == "polygon" else None,
        trouble="" if kind else "its shapes are of no kind that a layer takes",
    )


def _extent(found: NDArray[np.float64]) -> Bounds | None:
    """Box around the boxes of all shapes (4 x shapes); None where there is none."""
    if not np.isfinite(found).any():
        return None
    west, south, east, north = found
    return (
        float(np.nanmin(west)),
        float(np.nanmin(south)),
        float(np.nanmax(east)),
        float(np.nanmax(north)),
    )


def _plain(path: Path, table: str | None, frame: pd.DataFrame) -> Sheet:
    """Make a plain table; one without column names is told."""
    named = [name for name in map(str, frame.columns) if name and not _UNNAMED.fullmatch(name)]
    if len(named) <= len(frame.columns) / 2:
        said = "its first row holds no column names, nor does one of the rows below it"
        return Sheet(path, "", table, frame=frame, rows=len(frame), trouble=said)
    return Sheet(path, "table", table, frame=frame.head(MOST_ROWS), rows=len(frame))
