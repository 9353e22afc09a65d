"""The door that every source file comes through: there, readable, and what its name says.

What people save by mistake in place of data (the error page of a download, a workbook, an archive
inside an archive) is called by its name. Limits stand here; ``docs/layers/sources.md`` lists them.
"""

from __future__ import annotations

import json
import re
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from glob import escape
from pathlib import Path, PurePosixPath
from typing import IO, Final

from data_pipelines.defect_log import DefectLog
from riskmap.contract.errors import SourceFormatError, SourceMissingError

HEAD_BYTES: Final = 65_536
LARGEST_BYTES: Final = 2 * 1024**3
"""Text, JSON and whatever an archive unpacks to may be this large, 2 GB."""

MOST_COLUMNS: Final = 5_000
MOST_MEMBERS: Final = 10_000
LARGEST_WORKBOOK: Final = 300 * 1024**2
"""What a workbook unpacks to: about two million rows of ten cells."""

WORKBOOKS: Final = {".xlsx": "xl/workbook.xml", ".ods": "content.xml"}
"""Ending of a workbook -> the file in it that makes it one."""

_TABLES: Final = (".csv", ".tsv", ".tab", ".rdb", ".dat")
TEXT_SUFFIXES: Final = (*_TABLES, ".txt")
_LIKELIEST_FIRST: Final = (
    (".gdb", ".shp", ".gpkg", ".geojson", ".topojson", ".fgb", ".sqlite"),
    (".json",),
    _TABLES,
    (".txt",),
)
"""What is looked for in a zip file: a read-me or metadata beside the data is passed over."""
_DATA_SUFFIXES: Final = tuple(
    suffix for group in _LIKELIEST_FIRST for suffix in group if suffix not in (".txt", ".json")
)
MOST_DEPTH: Final = 3
"""Archives inside archives inside archives."""

NO_NETWORK: Final = {
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": "none",
    "GDAL_HTTP_PROXY": "127.0.0.1:9",
    "GDAL_HTTPS_PROXY": "127.0.0.1:9",
    "GDAL_HTTP_MAX_RETRY": "0",
}
"""Settings that leave the GDAL library no network: no address may be opened as a file, and
requests go to a port (9, discard) where nobody answers."""

FETCH_AGAIN: Final = "Fetch it again."
_DISGUISES: Final = (
    (rb"\s*(?:<!doctype html|<html)", "a web page, likely the error page of a download",
     "Open it in a browser to see what the server said, and fetch the data again."),
    (rb"%PDF", "a PDF document", "Ask for the data as a table or map layer."),
    (rb"\x1f\x8b|7z\xbc\xaf|Rar!|BZh|\xfd7zXZ", "a packed archive of another kind than zip",
     "Unpack it and name the file in it."),
    (rb"\xd0\xcf\x11\xe0", "an old office document",
     "Name it .xls if it is a workbook, else ask for a table."),
    (rb"version https://git-lfs", "a note that stands for a file kept elsewhere",
     "Fetch the file itself."),
)  # fmt: skip
PIECE_BYTES: Final = 1024**2
_ZIP_ERRORS: Final = (zipfile.BadZipFile, zlib.error, OSError, ValueError, RuntimeError)
_POINTERS: Final = re.compile(
    rb"<(?:OGR\w*DataSource|VRTDataset|GDAL_WMS|GDAL_WMTS|\w+TiledBandDataset)|gdal_streamed_alg|"
    rb"<WCS_GDAL|<WFS|<WMS",
    re.IGNORECASE,
)


def demand_file(path: Path, layer: str) -> None:
    """Refuse what is no regular file (or file geodatabase), is empty, or may not be read."""
    try:
        status = path.stat()
        if not stat.S_ISDIR(status.st_mode):
            _demand_regular(path, layer, status.st_mode)
            path.open("rb").close()
        elif path.suffix.lower() != ".gdb":
            raise SourceFormatError(layer, f"{path.name} is a folder.", "Name the file in it.")
    except (FileNotFoundError, NotADirectoryError, ValueError) as error:
        raise _missing(path, layer) from error
    except OSError as error:
        raise SourceFormatError(
            layer,
            f"{path.name} may not be opened ({error.strerror}).",
            "Ask for the right to read it.",
        ) from error
    if not stat.S_ISDIR(status.st_mode) and not status.st_size:
        raise SourceFormatError(layer, f"{path.name} is empty (0 bytes).", FETCH_AGAIN)


def _missing(path: Path, layer: str) -> SourceMissingError:
    problem = f"the file {path.name} is not there"
    if path.suffix.lower() == ".shp" and path.parent.is_dir():
        parts = sorted(part.name for part in path.parent.glob(f"{escape(path.stem)}.*"))
        problem += f", only {', '.join(parts[:5])}" if parts else ""
    return SourceMissingError(layer, f"{problem}.", "Correct its path in the region file.")


def _demand_regular(path: Path, layer: str, mode: int) -> None:
    if not stat.S_ISREG(mode):
        raise SourceFormatError(
            layer, f"{path.name} is a pipe or a device, no file.", "Name a file on a disk."
        )


def refuse_disguise(head: bytes, name: str, layer: str) -> None:
    """Refuse by its first bytes what people mistake for data."""
    for mark, what, cure in _DISGUISES:
        if re.match(mark, head, re.IGNORECASE):
            raise SourceFormatError(layer, f"{name} is {what}.", cure)
    if re.match(rb'\s*\{\s*"error"', head):
        raise SourceFormatError(
            layer, f"{name} is an error reply of a service: {_message(head)}", FETCH_AGAIN
        )


def refuse_pointer(head: bytes, name: str, layer: str) -> None:
    """Refuse by its first bytes what only points to data elsewhere: virtual files, services."""
    if _POINTERS.search(head):
        raise SourceFormatError(
            layer,
            f"{name} holds no data but points to other files or to a web service.",
            "Give the file that it points to.",
        )


def _message(head: bytes) -> str:
    try:
        error = json.loads(head)["error"]
        text = error.get("message", error) if isinstance(error, dict) else error
    except (ValueError, RecursionError):
        text = head[:200].decode("utf-8", errors="replace")
    return f"{str(text)[:200]!r}."


def head_of(path: Path) -> bytes:
    """First bytes of a file."""
    with path.open("rb") as file:
        return file.read(HEAD_BYTES)


def read_bytes(path: Path, layer: str) -> bytes:
    """Whole content of a file that has been through :func:`demand_file`."""
    if path.stat().st_size > LARGEST_BYTES:
        raise _too_large(path.name, layer)
    return path.read_bytes()


def _too_large(name: str, layer: str) -> SourceFormatError:
    return SourceFormatError(
        layer,
        f"{name} is larger than {LARGEST_BYTES / 1024**3:g} GB.",
        "Cut it to the county, or give it in several files.",
    )


def zip_members(path: Path, layer: str) -> list[str]:
    """Names of the data sets in a zip file, all of the likeliest kind that is in it.

    Raises
    ------
    SourceFormatError
        If the archive is damaged, would unpack to more than :data:`LARGEST_BYTES`, is a workbook,
        or holds nothing that can be read (perhaps only another archive).
    """
    entries = _entries(path, layer)
    if len(entries) > MOST_MEMBERS:
        raise SourceFormatError(
            layer, f"{path.name} holds {len(entries)} files.", f"At most {MOST_MEMBERS} are read."
        )
    if sum(entry.file_size for entry in entries) > LARGEST_BYTES:
        raise _too_large(f"what {path.name} unpacks to", layer)
    return _data_sets([entry.filename for entry in entries], path.name, layer)


def innermost_archive(path: Path, layer: str) -> Path:
    """Find the archive that holds the data: `path`, or the only archive in it, unpacked.

    Raises
    ------
    SourceFormatError
        If an archive is damaged or holds several, or they lie more than :data:`MOST_DEPTH` deep.
    """
    for _ in range(MOST_DEPTH):
        if path.is_dir() or not zipfile.is_zipfile(path):
            return path
        names = [entry.filename for entry in _entries(path, layer)]
        inner = [name for name in names if name.lower().endswith(".zip")]
        if not inner or any(name.lower().endswith(_DATA_SUFFIXES) for name in names):
            return path
        if len(inner) > 1:
            raise SourceFormatError(
                layer,
                f"{path.name} holds several archives: {', '.join(inner[:8])}.",
                "Unpack it and name one of them.",
            )
        path = _unpacked(path, inner[0], layer, path.stat().st_mtime_ns)
    raise SourceFormatError(
        layer, f"{path.name} lies more than {MOST_DEPTH} archives deep.", "Unpack the outer ones."
    )


@cache
def _unpacked(path: Path, member: str, layer: str, _changed: int) -> Path:
    """Write a member of an archive to a file of its own, there until the program ends."""
    folder = tempfile.TemporaryDirectory(prefix="riskmap_")
    _UNPACKED.append(folder)
    inner, left = Path(folder.name) / PurePosixPath(member).name, LARGEST_BYTES
    with _member(path, member, layer) as source, inner.open("wb") as copy:
        while piece := source.read(PIECE_BYTES):
            left -= copy.write(piece)
            if left < 0:
                raise _too_large(f"{member} in {path.name}", layer)
    return inner


_UNPACKED: Final[list[tempfile.TemporaryDirectory[str]]] = []


def tell_inner(log: DefectLog | None, path: Path, inner: Path) -> None:
    """Tell that the data lie in an archive inside an archive."""
    if log is not None and inner != path:
        log.note("", "archive_in_archive", inner.name, "unpacked", row=path.name)


def check_workbook(path: Path, layer: str) -> None:
    """Refuse a workbook that is damaged, or unpacks to more than :data:`LARGEST_WORKBOOK`."""
    entries = _entries(path, layer)
    if WORKBOOKS[path.suffix.lower()] not in [entry.filename for entry in entries]:
        raise SourceFormatError(layer, f"{path.name} is no workbook.", FETCH_AGAIN)
    if sum(entry.file_size for entry in entries) > LARGEST_WORKBOOK:
        raise SourceFormatError(
            layer,
            f"{path.name} unpacks to more than {LARGEST_WORKBOOK // 1024**2} MB.",
            "Save its sheet as CSV in UTF-8.",
        )


def _entries(path: Path, layer: str) -> list[zipfile.ZipInfo]:
    try:
        with zipfile.ZipFile(path) as archive:
            return archive.infolist()
    except _ZIP_ERRORS as error:
        raise SourceFormatError(
            layer, f"{path.name} is not a whole zip file ({error}).", FETCH_AGAIN
        ) from error


def _data_sets(names: list[str], name: str, layer: str) -> list[str]:
    if "[Content_Types].xml" in names:
        raise SourceFormatError(
            layer,
            f"{name} is an office document.",
            "Name a workbook as .xlsx or .ods, or save its sheet as CSV in UTF-8.",
        )
    folders = {part.group() for found in names if (part := re.match(r".*?\.gdb(?=/)", found, re.I))}
    files = [found for found in names if not found.startswith((*folders, "__MACOSX"))]
    for suffixes in _LIKELIEST_FIRST:
        found = [name for name in files if name.lower().endswith(suffixes)]
        found += folders if ".gdb" in suffixes else []
        if found:
            return sorted(found)
    inner = [found for found in names if found.lower().endswith((".gz", ".7z", ".rar", ".tar"))]
    if inner:
        raise SourceFormatError(
            layer,
            f"{name} holds only another archive, {inner[0]}, of another kind than zip.",
            "Unpack it and name the file in it.",
        )
    listed = ", ".join(names[:8]) or "nothing"
    raise SourceFormatError(
        layer, f"{name} holds no table and no map layer, but {listed}.", "Name another file."
    )


def read_member(path: Path, member: str, layer: str, *, size: int = LARGEST_BYTES) -> bytes:
    """First `size` bytes of one file of a zip archive."""
    with _member(path, member, layer) as file:
        return file.read(size)


@contextmanager
def _member(path: Path, member: str, layer: str) -> Iterator[IO[bytes]]:
    """Open one file of a zip archive; damage, found then or while it is read, is told."""
    try:
        with zipfile.ZipFile(path) as archive, archive.open(member) as file:
            yield file
    except (*_ZIP_ERRORS, KeyError, EOFError) as error:
        raise SourceFormatError(
            layer, f"{member} in {path.name} cannot be unpacked ({error}).", FETCH_AGAIN
        ) from error
