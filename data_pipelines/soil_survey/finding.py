"""Find what there is to read in the folders, archives and files of a soil survey."""

from __future__ import annotations

import lzma
import tempfile
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Final, Literal

from data_pipelines.soil_survey.geodatabase import SUFFIX as GEODATABASE
from data_pipelines.soil_survey.polygons import SHAPEFILE_PATTERN, find_shapefiles
from data_pipelines.soil_survey.schema import short_name
from data_pipelines.soil_survey.stores import SQLITE_SUFFIXES
from data_pipelines.soil_survey.tables import is_table_list
from riskmap.contract.errors import SourceFormatError, SourceMissingError

LOOSE_SUFFIXES: Final = (".csv", ".json")
FORMS: Final = "a folder, .zip, .gdb, .sqlite, .gpkg, .db, .csv, .json or the .shp of the map units"
MOST_PIECES: Final = 100
"""A county has one to a few survey areas; each is a piece or two."""
MOST_DEPTH: Final = 3
"""Archives inside archives inside archives."""
MOST_UNPACKED_BYTES: Final = 8 * 10**9
_WANTED_IN_ZIP: Final = (".txt", ".zip", *LOOSE_SUFFIXES, *SQLITE_SUFFIXES)
_ZIP_FAULTS: Final = (
    zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, NotImplementedError, RuntimeError,
    OSError, ValueError,
)  # fmt: skip
"""What unpacking a damaged, locked or unusual archive raises."""


@dataclass(frozen=True)
class Piece:
    """One thing to read.

    ``kind`` says how: a folder of text tables, loose CSV and JSON files that belong together, a
    SQLite file, the shapefile of the map units, a store left unread beside text tables, or a file
    geodatabase.
    ``name`` is what reports call it: the archive it came in, or nothing special.
    """

    kind: Literal["export", "loose", "store", "shapes", "store beside text", "geodatabase"]
    paths: tuple[Path, ...]
    name: str = ""


def find_pieces(paths: Sequence[Path], unpack_to: Path) -> list[Piece]:
    """List what `paths` hold, in order; archives are unpacked below `unpack_to`.

    Raises
    ------
    riskmap.contract.errors.SourceMissingError
        If a path is not there, or a shapefile lacks its ``.shp``.
    riskmap.contract.errors.SourceFormatError
        If a path holds no survey, an archive cannot be unpacked, or there are too many pieces.
    """
    pieces = list(islice(_pieces(paths, unpack_to, 0), MOST_PIECES + 1))
    if len(pieces) > MOST_PIECES:
        raise SourceFormatError(
            "soil survey",
            f"the paths hold more than {MOST_PIECES} survey areas or parts of them.",
            "Name the survey areas of the county only.",
        )
    return pieces


def _pieces(paths: Sequence[Path], unpack_to: Path, depth: int) -> Iterator[Piece]:
    """Pieces of `paths`; loose CSV and JSON files among them make up one piece together."""
    loose = [path for path in paths if path.suffix.casefold() in LOOSE_SUFFIXES and path.is_file()]
    for path in paths:
        if path not in loose:
            yield from _pieces_of(path, unpack_to, depth)
    if loose:
        yield Piece("loose", tuple(loose))


def _pieces_of(path: Path, unpack_to: Path, depth: int) -> Iterator[Piece]:
    suffix = path.suffix.casefold()
    if not path.exists():
        raise SourceMissingError(
            short_name(path), "is not there.", "Check the path in the region file."
        )
    if path.is_dir() and suffix == GEODATABASE:
        yield Piece("geodatabase", (path,))
    elif path.is_dir():
        yield from _pieces_in(path, unpack_to, depth)
    elif not path.is_file():
        raise SourceFormatError(short_name(path), "is no file and no folder.", f"Give {FORMS}.")
    elif suffix == ".zip":
        folder = _unpacked(path, unpack_to, depth)
        for piece in _pieces_in(folder, unpack_to, depth + 1):
            yield replace(piece, name=piece.name or path.name)
    elif suffix in SQLITE_SUFFIXES:
        yield Piece("store", (path,))
    elif suffix == ".shp":
        yield Piece("shapes", (path,))
    else:
        raise SourceFormatError(
            short_name(path), "is no known form of a soil survey.", f"Give {FORMS}."
        )


def _pieces_in(folder: Path, unpack_to: Path, depth: int) -> Iterator[Piece]:
    found = sorted(folder.rglob("*"))
    bases = [place for place in found if place.is_dir() and place.suffix.casefold() == GEODATABASE]
    files = [file for file in found if file.is_file() and not set(bases) & set(file.parents)]
    exports = sorted({file.parent for file in files if is_table_list(file)})
    stores = [file for file in files if file.suffix.casefold() in SQLITE_SUFFIXES]
    inner = [file for file in files if file.suffix.casefold() in (*LOOSE_SUFFIXES, ".zip")]
    shapes = find_shapefiles(files)
    if not (exports or stores or inner or shapes or bases):
        raise SourceFormatError(short_name(folder), "holds no soil survey.", f"Give {FORMS}.")
    for export in exports:
        yield Piece("export", (export,))
    for store in stores:
        yield Piece("store beside text" if exports else "store", (store,))
    yield from _pieces([*bases, *inner, *shapes], unpack_to, depth)


def _unpacked(path: Path, unpack_to: Path, depth: int) -> Path:
    """Unpack the wanted members of an archive into a folder of its own."""
    if depth >= MOST_DEPTH:
        raise SourceFormatError(
            short_name(path),
            f"lies {depth} archives deep.",
            "Unpack it and name the folders of the county's survey areas.",
        )
    folder = Path(tempfile.mkdtemp(dir=unpack_to))
    try:
        with zipfile.ZipFile(path) as archive:
            wanted = [part for part in archive.infolist() if _is_wanted(part.filename)]
            size = sum(part.file_size for part in wanted)
            if size <= MOST_UNPACKED_BYTES:
                archive.extractall(folder, members=wanted)
    except _ZIP_FAULTS as error:
        raise SourceFormatError(
            short_name(path), f"is not a whole zip file ({error}).", "Download it again."
        ) from error
    if size > MOST_UNPACKED_BYTES:
        raise SourceFormatError(
            short_name(path),
            f"would unpack to {size / 1e9:.0f} GB, more than {MOST_UNPACKED_BYTES / 1e9:.0f} GB.",
            "Give the county's survey areas only.",
        )
    return folder


def _is_wanted(name: str) -> bool:
    file = Path(name)
    if any(part.casefold().endswith(GEODATABASE) for part in file.parts[:-1]):
        return True
    return file.suffix.casefold() in _WANTED_IN_ZIP or file.match(SHAPEFILE_PATTERN)
