"""Pack shapes and columns small, for a page that opens from disk.

A packed file is a JSON header followed by byte blocks, compressed with gzip (no time stamp, so that
the same county gives the same bytes) and written as base64 into a script. Shapes are whole numbers
in Web-Mercator pixels of zoom 19 (about 0.2 m on the ground at middle latitudes), as differences,
zigzag-coded, in variable-length bytes. A corner that several lots share is written once: each ring
is a list of steps through the corners, 0 for the next new one, else a step from the corner before.
Columns are scaled whole numbers, codes or lines of text. A column that is empty outside a package's
common set of rows (the scored parcels, say) is written for these rows only; where neighbours are
alike a column is written as differences; blocks with the same bytes are written once.
"""

from __future__ import annotations

import gzip
import json
import zlib
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from riskmap.publish.text_safety import plain_text, script_json

ZOOM: Final = 19
WORLD: Final = 256 * 2**ZOOM
"""Width of the world in the pixels that shapes are counted in."""

STEPS_WORTH: Final = 0.92
"""A column is written as differences where they take less than this share: they read slower."""

MERCATOR_HALF_M: Final = 20037508.342789244
"""Half the width of the Web-Mercator plane (EPSG:3857), m."""


@dataclass
class Package:
    """A packed file in the making: `header` is JSON, `blocks` follow it in order.

    `among` flags the rows that most columns are empty outside of, if there are such.
    """

    among: NDArray[np.bool_] | None = None
    header: dict[str, Any] = field(default_factory=dict)
    blocks: list[bytes] = field(default_factory=list)
    size: int = 0
    places: dict[bytes, list[int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.among is not None:
            bits = np.packbits(self.among, bitorder="little").tobytes()
            self.header["among"] = self.add(bits)

    def add(self, block: bytes) -> list[int]:
        """Append `block` if it is new; its place and length go into the header."""
        if block not in self.places:
            self.places[block] = [self.size, len(block)]
            self.blocks.append(block)
            self.size += len(block)
        return self.places[block]

    def to_bytes(self) -> bytes:
        """Compressed bytes: header length (4 bytes, little-endian), header, blocks."""
        text = json.dumps(self.header, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
        head = text.encode("ascii")
        raw = len(head).to_bytes(4, "little") + head + b"".join(self.blocks)
        return gzip.compress(raw, compresslevel=9, mtime=0)

    def to_script(self, name: str) -> str:
        """Return a script that hands the packed text to the page."""
        text = b64encode(self.to_bytes()).decode("ascii")
        return f'county.packed[{script_json(name)}]="{text}";\n'


def varints(values: NDArray[np.integer]) -> bytes:
    """Whole numbers >= 0 in seven bits a byte, low first, high bit set when more follow.

    >>> varints(np.array([1, 300])).hex()
    '01ac02'
    """
    rest = np.asarray(values, dtype=np.uint64)
    if not len(rest):
        return b""
    length = np.ones(len(rest), dtype=np.int64)
    for bits in (7, 14, 21, 28, 35, 42, 49, 56):
        length += rest >= np.uint64(1 << bits)
    ends = np.cumsum(length)
    out = np.zeros(int(ends[-1]), dtype=np.uint8)
    for byte in range(int(length.max())):
        live = length > byte
        chunk = (rest[live] >> np.uint64(7 * byte)) & np.uint64(127)
        more = (length[live] > byte + 1).astype(np.uint64) << np.uint64(7)
        out[(ends - length)[live] + byte] = (chunk | more).astype(np.uint8)
    return out.tobytes()


def zigzag(values: NDArray[np.integer]) -> NDArray[np.uint64]:
    """Signed to unsigned so that small sizes stay small: 0, -1, 1, -2 -> 0, 1, 2, 3.

    >>> zigzag(np.array([0, -1, 1, -2])).tolist()
    [0, 1, 2, 3]
    """
    signed = np.asarray(values, dtype=np.int64)
    return ((signed << 1) ^ (signed >> 63)).astype(np.uint64)


def pack_shapes(package: Package, shapes: gpd.GeoSeries, *, name: str = "shapes") -> None:
    """Add `shapes` (one kind: polygons, lines or points; none missing) in the order given."""
    x, y, starts, parts, solid = _rings(shapes)
    keep = _kept(x, y, starts, solid=solid)
    sizes = np.diff(np.concatenate([[0], np.cumsum(keep)])[starts])
    corner, new = _corners(x[keep], y[keep])
    step = np.diff(corner, prepend=-1)
    links = np.where(new, 0, zigzag(step) + np.uint64(1))
    package.header[name] = {
        "count": len(shapes),
        "parts": package.add(varints(parts)),
        "sizes": package.add(varints(sizes)),
        "links": package.add(varints(links)),
        "x": package.add(varints(zigzag(np.diff(x[keep][new], prepend=0)))),
        "y": package.add(varints(zigzag(np.diff(y[keep][new], prepend=0)))),
        "rings": len(sizes),
        "vertices": len(corner),
        "corners": int(new.sum()),
    }


def pixels(shapes: gpd.GeoSeries) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Whole Web-Mercator pixels (east, south) of every vertex of `shapes`."""
    plane = shapely.get_coordinates(shapes.to_crs(3857).values)
    east = np.rint((plane[:, 0] + MERCATOR_HALF_M) / (2 * MERCATOR_HALF_M) * WORLD)
    south = np.rint((MERCATOR_HALF_M - plane[:, 1]) / (2 * MERCATOR_HALF_M) * WORLD)
    return east.astype(np.int64), south.astype(np.int64)


def pack_numbers(
    package: Package, values: pd.Series | NDArray[Any], *, decimals: int = 0
) -> dict[str, Any]:
    """Add a numeric column; missing is kept apart from every number. Returns its description."""
    column = pd.to_numeric(pd.Series(values), errors="coerce")
    number = column.to_numpy(dtype=float, na_value=np.nan)
    known = np.isfinite(number)
    whole = np.zeros(len(number), dtype=np.int64)
    whole[known] = np.rint(number[known] * 10**decimals).astype(np.int64)
    low = int(whole[known].min()) if known.any() else 0
    distinct = np.unique(whole[known])
    about: dict[str, Any] = {"kind": "number", "decimals": decimals, "low": low}
    if len(distinct) < 256 <= (int(distinct[-1]) - low if len(distinct) else 0):
        codes = np.searchsorted(distinct, whole) + 1
        about["values"] = distinct.tolist()
    else:
        codes = whole - low + 1
    codes[~known] = 0
    return about | _planes(package, codes)


def pack_codes(package: Package, values: pd.Series, words: Sequence[str] = ()) -> dict[str, Any]:
    """Add a text column as codes into its sorted list of words; 0 is missing.

    `words` fixes the order of the first codes.
    """
    rows, distinct = pd.factorize(values.astype(object))
    plain = [plain_text(word) for word in distinct]
    order = [*words, *sorted(set(plain) - set(words) - {""})]
    number = {word: code + 1 for code, word in enumerate(order)} | {"": 0}
    codes = np.array([number[word] for word in plain] + [0], dtype=np.int64)[rows]
    return {"kind": "code", "words": order} | _planes(package, codes)


def pack_text(package: Package, values: pd.Series) -> dict[str, Any]:
    """Add a text column whose values rarely repeat, one line a row."""
    rows, distinct = pd.factorize(values.astype(object))
    plain = np.array([*(plain_text(word) for word in distinct), ""], dtype=object)
    return {"kind": "text", "place": package.add("\n".join(plain[rows]).encode("utf-8"))}


def pack_words(package: Package, values: pd.Series) -> dict[str, Any]:
    """Add a text column as codes or lines, whichever suits how often its values repeat."""
    distinct = values.nunique()
    if distinct <= 255 or (distinct < 65_535 and distinct * 4 < len(values)):
        return pack_codes(package, values)
    return pack_text(package, values)


def _planes(package: Package, codes: NDArray[np.int64]) -> dict[str, Any]:
    """Write low bytes of all rows, then the next bytes: like stands beside like."""
    about: dict[str, Any] = {}
    if package.among is not None and not codes[~package.among].any():
        codes, about["among"] = codes[package.among], True
    if len(codes) and int(codes.max()) >= 2**32:
        raise ValueError("a packed column spans more than 32 bits")
    plain, width = _bytes_by_plane(codes)
    first = int(codes[0]) if len(codes) else 0
    steps, step_width = _bytes_by_plane(zigzag(np.diff(codes, prepend=first)).astype(np.int64))
    if step_width < 8 and len(zlib.compress(steps, 1)) < STEPS_WORTH * len(zlib.compress(plain, 1)):
        plain, width, about["steps_from"] = steps, step_width, first
    return about | {"place": package.add(plain), "width": width}


def _bytes_by_plane(codes: NDArray[np.int64]) -> tuple[bytes, int]:
    top = int(codes.max()) if len(codes) else 0
    width = next(size for size in (1, 2, 4, 8) if top < 2 ** (8 * size - (size == 8)))
    rows = codes.astype(f"<u{width}").view(np.uint8).reshape(-1, width)
    return np.ascontiguousarray(rows.T).tobytes(), width


def _rings(
    shapes: gpd.GeoSeries,
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], bool]:
    """Vertices, start of each ring (or line, or point), rings per shape, whether polygons."""
    bare = shapely.force_2d(np.asarray(shapes.values))
    solid = bool(np.isin(shapely.get_type_id(bare), (3, 6)).all())
    parts, owner = shapely.get_parts(bare, return_index=True)
    if solid:
        parts, ring_owner = shapely.get_rings(parts, return_index=True)
        owner = owner[ring_owner]
    lengths = shapely.get_num_coordinates(parts)
    east, south = pixels(gpd.GeoSeries(parts, crs=shapes.crs))
    starts = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    counts = np.bincount(owner, minlength=len(shapes)).astype(np.int64)
    return east, south, starts, counts, solid


def _corners(
    x: NDArray[np.int64], y: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return each vertex's corner, numbered by first appearance, and whether it is the first."""
    place = x * (2 * WORLD) + y
    _, first, group = np.unique(place, return_index=True, return_inverse=True)
    new = np.zeros(len(place), dtype=bool)
    new[first] = True
    order = np.empty(len(first), dtype=np.int64)
    order[np.argsort(first, kind="stable")] = np.arange(len(first))
    return order[group], new


def _kept(
    x: NDArray[np.int64], y: NDArray[np.int64], starts: NDArray[np.int64], *, solid: bool
) -> NDArray[np.bool_]:
    """Vertices to keep: no repeats, no closing vertex of a ring, always the first."""
    keep = np.ones(len(x), dtype=bool)
    keep[1:] = (np.diff(x) != 0) | (np.diff(y) != 0)
    first, last = starts[:-1], starts[1:] - 1
    closed = (x[first] == x[last]) & (y[first] == y[last]) & (last > first) & solid
    keep[last[closed]] = False
    keep[first] = True
    return keep
