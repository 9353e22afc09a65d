"""Whether the parts of a shapefile are whole and belong together, by their headers.

The library that reads shapefiles fills up what is missing: rows of a cut table come without
values, shapes of a cut file without a place. Published form of .shp and .shx: ESRI Shapefile
Technical Description (1998); the header of .dbf is that of dBASE III (from memory).
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from typing import Final, NamedTuple

from riskmap.contract.errors import SourceFormatError

_MAGIC: Final = b"\x00\x00\x27\x0a"
_HEADER: Final = 100
_INDEX_ENTRY: Final = 8
_ALL_PARTS: Final = "Fetch all parts of the file again (.shp, .shx, .dbf, .prj)."


class Part(NamedTuple):
    """First bytes and size of one part."""

    head: bytes
    size: int


def check_parts(part: Callable[[str], Part | None], stem: str, layer: str) -> int:
    """Check the parts of one shapefile and return how many records it declares.

    Parameters
    ----------
    part
        Gives the part with a suffix (``.shp``), or None where there is none.

    Raises
    ------
    SourceFormatError
        If a needed part is missing or cut off, or the parts do not belong together.
    """
    for suffix in (".shp", ".shx", ".dbf"):
        if part(suffix) is None:
            raise _fault(layer, f"{stem}{suffix} is missing beside the other parts.")
    _check_length(part(".shp"), f"{stem}.shp", layer)
    shapes = (_check_length(part(".shx"), f"{stem}.shx", layer) - _HEADER) // _INDEX_ENTRY
    rows = check_table(part(".dbf"), f"{stem}.dbf", layer)
    if rows != shapes:
        raise _fault(layer, f"{stem}.dbf has {rows} rows, but {stem}.shx {shapes} shapes.")
    return rows


def _check_length(part: Part | None, name: str, layer: str) -> int:
    """Length in bytes that the header of a .shp or .shx declares."""
    if part is None or len(part.head) < _HEADER or part.head[:4] != _MAGIC:
        raise _fault(layer, f"{name} does not begin like a part of a shapefile.")
    length = 2 * int(struct.unpack(">i", part.head[24:28])[0])
    if not _HEADER <= length <= part.size:
        raise _fault(layer, f"{name} says it has {length} bytes, but has {part.size}: it is cut.")
    return length


def check_table(part: Part | None, name: str, layer: str) -> int:
    """Check the header of a .dbf against its size; return how many records it declares."""
    if part is None or len(part.head) < 33:
        raise _fault(layer, f"{name} is too short for a table.")
    rows, header, width = struct.unpack("<IHH", part.head[4:12])
    fields = [part.head[at : at + 32] for at in range(32, header - 1, 32)]
    fields = fields[: next((n for n, f in enumerate(fields) if f[:1] == b"\r"), len(fields))]
    if not fields or any(len(field) < 32 for field in fields):
        raise _fault(layer, f"{name} does not begin like a table.")
    wide = 1 + sum(field[16] + (256 * field[17] if field[11:12] == b"C" else 0) for field in fields)
    if wide != width:
        raise _fault(layer, f"the columns of {name} add up to {wide} bytes, its rows to {width}.")
    if header + rows * width > part.size:
        there = max(part.size - header, 0) // width
        raise _fault(layer, f"{name} says it has {rows} rows, but {there} are there: it is cut.")
    return int(rows)


def _fault(layer: str, problem: str) -> SourceFormatError:
    return SourceFormatError(layer, problem, _ALL_PARTS)
