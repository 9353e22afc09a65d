"""Pack outlines small: whole pixels, shared corners once, each side predicted from the one before.

Shapes are whole numbers in Web-Mercator pixels of zoom 19 (about 0.2 m on the ground at middle
latitudes). A corner that several lots share is written once: each ring is a list of steps through
the corners, 0 for the next new one, else a step from the corner before. A new corner is coded by
how its side turns from the side before (straight on, left, right, back), how far it goes, and how
far it strays from that line, because lots have many straight and square corners.
"""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from riskmap.contract.arrays import Whole
from riskmap.contract.compiled import compiled
from riskmap.publish.map.entropy import (
    NUMBER_PLACES,
    begin,
    code_bit,
    code_number,
    code_tree,
    finish,
    letters_of,
    room_for,
)
from riskmap.publish.map.packing import Package

ZOOM: Final = 19
WORLD: Final = 256 * 2**ZOOM
"""Width of the world in the pixels that shapes are counted in."""

MERCATOR_HALF_M: Final = 20037508.342789244
"""Half the width of the Web-Mercator plane (EPSG:3857), m."""

LONGEST_SIDE: Final = 32_768
"""From a longer side (pixels) no turn is coded."""

FAR_AT: Final = 66
ASTRAY_AT: Final = FAR_AT + 128
CORNER_CONTEXTS: Final = ASTRAY_AT + 128
"""Contexts: two plain groups of 33, then how far and how astray, each by turn and length."""

LINK_KINDS: Final = 3


def zigzag(values: NDArray[np.integer]) -> Whole:
    """Signed to unsigned so that small sizes stay small: 0, -1, 1, -2 -> 0, 1, 2, 3.

    >>> zigzag(np.array([0, -1, 1, -2])).tolist()
    [0, 1, 2, 3]
    """
    signed = np.asarray(values, dtype=np.int64)
    return (signed << 1) ^ (signed >> 63)


def pixels(shapes: gpd.GeoSeries) -> tuple[Whole, Whole]:
    """Whole Web-Mercator pixels (east, south) of every vertex of `shapes`."""
    plane = shapely.get_coordinates(shapes.to_crs(3857).values)
    east = np.rint((plane[:, 0] + MERCATOR_HALF_M) / (2 * MERCATOR_HALF_M) * WORLD)
    south = np.rint((MERCATOR_HALF_M - plane[:, 1]) / (2 * MERCATOR_HALF_M) * WORLD)
    return east.astype(np.int64), south.astype(np.int64)


def pack_shapes(package: Package, shapes: gpd.GeoSeries, *, name: str = "shapes") -> None:
    """Add shapes to a package.

    Parameters
    ----------
    package
        Gets the streams, and a description in its header.
    shapes
        Polygons, lines or points (one kind), none missing; their order is kept.
    name
        Name in the header.
    """
    x, y, starts, parts, solid = _rings(shapes)
    keep = _kept(x, y, starts, solid=solid)
    sizes = np.diff(np.concatenate([[0], np.cumsum(keep)])[starts])
    x, y = x[keep], y[keep]
    corner, new = _corners(x, y)
    links = np.where(new, 0, zigzag(np.diff(corner, prepend=-1)) + 1)
    place = np.arange(len(x)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    out = room_for(len(x), 160)
    package.header[name] = {
        "count": len(shapes),
        "parts": package.add_numbers(parts),
        "sizes": package.add_numbers(sizes),
        "links": package.add(letters_of(out, _links(links, place, out))),
        "corners": package.add(letters_of(out, _told(x, y, links, place, out))),
        "rings": len(sizes),
        "vertices": len(x),
    }


@compiled
def _links(links: Whole, place: Whole, out: NDArray[np.uint8]) -> int:
    """Each link by the kinds of the two before it: a new corner, one step back, any other."""
    contexts = 2 * LINK_KINDS * LINK_KINDS
    kinds_at = contexts * NUMBER_PLACES
    state, model = begin(kinds_at + 2 * contexts)
    before, last = 0, 0
    for v in range(len(links)):
        first = 1 if place[v] == 0 else 0
        context = (first * LINK_KINDS + last) * LINK_KINDS + before
        kind = 0 if links[v] == 0 else 1 if links[v] == 2 else 2
        code_bit(state, out, model, kinds_at + 2 * context, min(kind, 1))
        if kind:
            code_bit(state, out, model, kinds_at + 2 * context + 1, kind - 1)
        if kind == 2:
            code_number(state, out, model, context * NUMBER_PLACES, links[v])
        before, last = last, kind
    return finish(state, out)


@compiled
def _length(value: int) -> int:
    """Bits of a whole number plus one, less one."""
    length = 0
    while (value + 1) >> (length + 1):
        length += 1
    return length


@compiled
def _direction(turn: int, ex: int, ey: int) -> tuple[int, int]:
    """Straight on, right, left or back from the side before."""
    if turn == 0:
        return ex, ey
    if turn == 1:
        return -ey, ex
    if turn == 2:
        return ey, -ex
    return -ex, -ey


@compiled
def _turn(dx: int, dy: int, ex: int, ey: int) -> int:
    """Which direction lies nearest to the new side."""
    along, across = dx * ex + dy * ey, dy * ex - dx * ey
    if abs(along) >= abs(across):
        return 0 if along >= 0 else 3
    return 1 if across >= 0 else 2


@compiled
def _told(x: Whole, y: Whole, links: Whole, place: Whole, out: NDArray[np.uint8]) -> int:
    """Code the new corners: plain steps at a ring's start, then turn, how far, how far astray."""
    turns_at = CORNER_CONTEXTS * NUMBER_PLACES
    state, model = begin(turns_at + 16 * 4)
    last_x, last_y, history = 0, 0, 0
    for v in range(len(x)):
        at = place[v]
        ex = x[v - 1] - x[v - 2] if at >= 2 else 0
        ey = y[v - 1] - y[v - 2] if at >= 2 else 0
        turning = at >= 2 and (ex != 0 or ey != 0) and max(abs(ex), abs(ey)) < LONGEST_SIDE
        from_x = x[v - 1] if at else last_x
        from_y = y[v - 1] if at else last_y
        dx, dy = x[v] - from_x, y[v] - from_y
        if links[v]:
            if turning:
                history = (history * 4 + _turn(dx, dy, ex, ey)) & 15
            continue
        last_x, last_y = x[v], y[v]
        if not turning:
            base = 33 if at else 0
            coded = (dx << 1) ^ (dx >> 63)
            length = code_number(state, out, model, base * NUMBER_PLACES, coded)
            coded = (dy << 1) ^ (dy >> 63)
            code_number(state, out, model, (base + 1 + length) * NUMBER_PLACES, coded)
            continue
        turn = _turn(dx, dy, ex, ey)
        code_tree(state, out, model, turns_at + history * 4, turn, 2)
        history = (history * 4 + turn) & 15
        a, b = _direction(turn, ex, ey)
        level = abs(a) >= abs(b)
        if not level:
            a, b, dx, dy = b, a, dy, dx
        far = dx if a > 0 else -dx
        size = max(abs(ex), abs(ey))
        if turn and at >= 3:
            size = max(abs(x[v - 2] - x[v - 3]), abs(y[v - 2] - y[v - 3]))
        context = FAR_AT + turn * 32 + _length(size)
        length = code_number(state, out, model, context * NUMBER_PLACES, far)
        line = (2 * far * abs(b) + abs(a)) // (2 * abs(a))
        astray = dy - (line if b > 0 else -line)
        coded = (astray << 1) ^ (astray >> 63)
        context = ASTRAY_AT + turn * 32 + length
        code_number(state, out, model, context * NUMBER_PLACES, coded)
    return finish(state, out)


def _rings(shapes: gpd.GeoSeries) -> tuple[Whole, Whole, Whole, Whole, bool]:
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


def _corners(x: Whole, y: Whole) -> tuple[Whole, NDArray[np.bool_]]:
    """Return each vertex's corner, numbered by first appearance, and whether it is the first."""
    place = x * (2 * WORLD) + y
    _, first, group = np.unique(place, return_index=True, return_inverse=True)
    new = np.zeros(len(place), dtype=bool)
    new[first] = True
    order = np.empty(len(first), dtype=np.int64)
    order[np.argsort(first, kind="stable")] = np.arange(len(first))
    return order[group], new


def _kept(x: Whole, y: Whole, starts: Whole, *, solid: bool) -> NDArray[np.bool_]:
    """Vertices to keep: no repeats, no closing vertex of a ring, always the first."""
    keep = np.ones(len(x), dtype=bool)
    keep[1:] = (np.diff(x) != 0) | (np.diff(y) != 0)
    first, last = starts[:-1], starts[1:] - 1
    closed = (x[first] == x[last]) & (y[first] == y[last]) & (last > first) & solid
    keep[last[closed]] = False
    keep[first] = True
    return keep
