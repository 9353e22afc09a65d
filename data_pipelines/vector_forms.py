"""Which form a vector file has, told by its first bytes, and whether it is whole.

All of this is looked at before the library that reads vector files sees anything, so that a file
that only points elsewhere, or asks for the network, is never followed.
"""

from __future__ import annotations

import re
import sqlite3
import tempfile
import time
import zipfile
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from glob import escape
from pathlib import Path, PurePosixPath
from typing import Final, NamedTuple

from data_pipelines.files import (
    FETCH_AGAIN,
    HEAD_BYTES,
    LARGEST_BYTES,
    MOST_COLUMNS,
    TEXT_SUFFIXES,
    WORKBOOKS,
    check_workbook,
    head_of,
    innermost_archive,
    read_bytes,
    read_member,
    refuse_disguise,
    refuse_pointer,
    zip_members,
)
from data_pipelines.json_features import check_features, count_elements
from data_pipelines.shapefile_parts import Part, check_parts, check_table
from riskmap.contract.errors import SourceFormatError

DRIVERS: Final[Mapping[str, tuple[str, ...]]] = {
    "shapefile": ("ESRI Shapefile",),
    "dbf": ("ESRI Shapefile",),
    "database": ("GPKG", "SQLite"),
    "json": ("GeoJSON", "GeoJSONSeq", "ESRIJSON", "TopoJSON"),
    "flatgeobuf": ("FlatGeobuf",),
    "geodatabase": ("OpenFileGDB",),
    "workbook": ("XLSX", "ODS"),
    "roads extract": ("OSM",),
}
"""Form of a file -> drivers of the library that may read it."""

LONGEST_VIEW_S: Final = 5.0
"""A view of a database that gives no last row within this time is refused."""

_FORM_NAMES: Final = (
    "shapefile, GeoPackage, GeoJSON, TopoJSON, FlatGeobuf, file geodatabase, workbook, "
    "OpenStreetMap extract"
)
_DBF_MARKS: Final = b"\x02\x03\x04\x05\x30\x31\x32\x43\x63\x83\x8b\x8e\xcb\xf5\xfb"
_JSON_START: Final = re.compile(rb"(?:\xef\xbb\xbf)?[\x1e\s]*\{")
_EXTRACT_START: Final = re.compile(rb"\s*(?:<\?xml[^>]*>\s*)?<osm\b|\0\0\0.\x0a\x09OSMHeader", re.S)
_KEYS: Final = re.compile(rb'"([^"\\]{1,200})"\s*:')
_KEYS_BYTES: Final = 4_000_000
_STEPS: Final = 100_000


@dataclass(frozen=True)
class DataSet:
    """One data set of a path: the path itself, or the member of the zip file that it is."""

    path: Path
    layer: str
    member: str | None = None

    @property
    def name(self) -> str:
        """What to call it in a message."""
        return self.path.name if self.member is None else PurePosixPath(self.member).name

    @property
    def suffix(self) -> str:
        """Ending of its name, in lower case."""
        return PurePosixPath(self.name).suffix.lower()

    @property
    def address(self) -> str:
        """Name that the library opens it by: never relative, so never a connection string."""
        place = self.path.absolute()
        return str(place) if self.member is None else f"/vsizip/{{{place}}}/{self.member}"

    def read(self, size: int | None = None) -> bytes:
        """First `size` bytes, or all."""
        if self.member is not None:
            return read_member(self.path, self.member, self.layer, size=size or LARGEST_BYTES)
        return head_of(self.path) if size else read_bytes(self.path, self.layer)

    def part(self, suffix: str) -> Part | None:
        """Find the file beside it of the same stem and another suffix."""
        if self.member is None:
            for path in self.path.parent.glob(f"{escape(self.path.stem)}.*"):
                if path.suffix.lower() == suffix and path.is_file():
                    return Part(head_of(path), path.stat().st_size)
            return None
        stem = self.member[: -len(self.suffix)]
        with zipfile.ZipFile(self.path) as archive:
            for entry in archive.infolist():
                if entry.filename.lower() == (stem + suffix).lower():
                    head = read_member(self.path, entry.filename, self.layer, size=HEAD_BYTES)
                    return Part(head, entry.file_size)
        return None


class Form(NamedTuple):
    """Form of a data set, and how many records it declares, where that is known beforehand."""

    name: str
    records: int | None = None


def data_sets(path: Path, layer: str) -> list[tuple[DataSet, Form]]:
    """Give the data sets of a path that has been through ``demand_file``, each with its form.

    Raises
    ------
    SourceFormatError, CrsError
        If one of them is none of the forms of :data:`DRIVERS`, is damaged, or points elsewhere.
    """
    if path.is_dir():
        if not any(part.suffix.lower() == ".gdbtable" for part in path.iterdir()):
            raise SourceFormatError(layer, f"{path.name} is no file geodatabase.", FETCH_AGAIN)
        return [(DataSet(path, layer), Form("geodatabase"))]
    if path.suffix.lower() in WORKBOOKS:
        check_workbook(path, layer)
        return [(DataSet(path, layer), Form("workbook"))]
    if head_of(path).startswith(b"PK"):
        path = innermost_archive(path, layer)
        found = [DataSet(path, layer, member) for member in zip_members(path, layer)]
        if found[0].suffix in TEXT_SUFFIXES:
            raise SourceFormatError(
                layer,
                f"{path.name} holds several tables: {', '.join(data.name for data in found)}.",
                "Unpack it and name one of them.",
            )
    else:
        found = [DataSet(path, layer)]
    return [(d, Form("geodatabase") if d.suffix == ".gdb" else _form(d)) for d in found]


def _form(data: DataSet) -> Form:
    """Form of a data set, after all checks of that form."""
    head = data.read(HEAD_BYTES)
    refuse_disguise(head, data.name, data.layer)
    refuse_pointer(head, data.name, data.layer)
    if data.suffix == ".shp":
        return Form("shapefile", check_parts(data.part, data.name[:-4], data.layer))
    if data.suffix == ".dbf" and head[:1] in _DBF_MARKS:
        return Form("dbf", check_table(data.part(".dbf"), data.name, data.layer))
    if head.startswith(b"SQLite format 3\0"):
        return Form("database")
    if head.startswith(b"fgb\x03"):
        return Form("flatgeobuf")
    if _EXTRACT_START.match(head):
        return Form("roads extract")
    if _JSON_START.match(head):
        return Form("json", _check_json(data))
    raise SourceFormatError(
        data.layer,
        f"{data.name} cannot be read as a map layer or table: its content is none of the forms "
        f"known ({_FORM_NAMES}).",
        "Name the right file, or save it as GeoPackage or CSV.",
    )


def _check_json(data: DataSet) -> int | None:
    """Count the features that JSON declares, after all checks of JSON."""
    content = data.read()
    check_features(content, data.name, data.layer)
    names = len(set(_KEYS.findall(content[:_KEYS_BYTES])))
    if names > MOST_COLUMNS:
        raise SourceFormatError(
            data.layer,
            f"{data.name} has over {MOST_COLUMNS} columns.",
            "Save only the columns that are needed.",
        )
    return count_elements(content)


def refuse_endless_view(data: DataSet, table: str) -> None:
    """Refuse a view of a database whose rows do not come to an end in time.

    Raises
    ------
    SourceFormatError
        If counting its rows takes longer than :data:`LONGEST_VIEW_S`, or the file is damaged.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = data.path.absolute()
        if data.member is not None:
            path = Path(folder) / data.name
            path.write_bytes(data.read())
        try:
            _count_view(path, table)
        except sqlite3.OperationalError as error:
            if "interrupted" not in str(error):
                raise _unreadable(data, error) from error
            raise SourceFormatError(
                data.layer,
                f"{table} in {data.name} is a view whose rows do not end within "
                f"{LONGEST_VIEW_S:g} s.",
                "Save the view as a table.",
            ) from error
        except sqlite3.DatabaseError as error:
            raise _unreadable(data, error) from error


def _unreadable(data: DataSet, error: Exception) -> SourceFormatError:
    return SourceFormatError(
        data.layer, f"{data.name} cannot be read as a database ({error}).", FETCH_AGAIN
    )


def _count_view(path: Path, table: str) -> None:
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as database:
        latest = time.monotonic() + LONGEST_VIEW_S
        database.set_progress_handler(lambda: time.monotonic() > latest, _STEPS)
        kinds = database.execute("select type from sqlite_master where name = ?", (table,))
        if kinds.fetchone() == ("view",):
            quoted = '"' + table.replace('"', '""') + '"'
            database.execute(f"select count(*) from {quoted}").fetchone()
