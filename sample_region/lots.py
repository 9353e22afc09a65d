"""Lots as polygons: village and subdivision lattices, roadside cut-outs, farms, lake shore."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import shapely

from sample_region.bend import Bend, ripple
from sample_region.dice import dice
from sample_region.districts import SHORE_STRIP_M, STYLES, Style, Tiles
from sample_region.plan import QUARTER_M, TILE_M, Floats, Ints, Lake, Plan, Shapes

ROAD_HALF_M: Final = 10.0
STREET_M: Final = 16.0
EASEMENT_M: Final = 3.0
"""Unowned strip along a tile's inner edges, so that bent neighbors never touch."""


@dataclass(frozen=True)
class Lots:
    """Polygons with a frame each: where the road is and how far the lot reaches back.

    `table` has: kind, style, place (number of the subdivision or lake), front_x, front_y, in_x,
    in_y (unit vector from the road inwards), depth_m, width_m.
    """

    shapes: Shapes
    table: pd.DataFrame


def frames(
    front_left: Floats, front_right: Floats, back_left: Floats, back_right: Floats
) -> pd.DataFrame:
    """Describe lots by their four ground corners, (n, 2) each.

    Parameters
    ----------
    front_left, front_right, back_left, back_right
        Corners in local m; the front is on the road, left and right as seen from it.

    Returns
    -------
    DataFrame
        The columns of :class:`Lots` from ``front_x`` to ``width_m``.
    """
    front, back = (front_left + front_right) / 2, (back_left + back_right) / 2
    inward = back - front
    depth = np.hypot(*inward.T)
    across = front_right - front_left
    return pd.DataFrame(
        {
            "front_x": front[:, 0],
            "front_y": front[:, 1],
            "in_x": inward[:, 0] / depth,
            "in_y": inward[:, 1] / depth,
            "depth_m": depth,
            "width_m": np.hypot(*across.T),
        }
    )


def _edge(start: Floats, end: Floats, parts: int) -> Floats:
    share = np.arange(parts) / parts
    return start[:, None, :] * (1 - share)[:, None] + end[:, None, :] * share[:, None]


def outline(corners: Floats) -> Floats:
    """Put extra points on quadrilaterals (n, 4, 2) so that bending curves their edges."""
    parts = (3, 2, 3, 2)
    edges = [_edge(corners[:, k], corners[:, (k + 1) % 4], parts[k]) for k in range(4)]
    return np.concatenate(edges, axis=1)


# --- villages and subdivisions -----------------------------------------------------------------


def lattice_lots(plan: Plan, tiles: Tiles, bend: Bend) -> Lots:
    """Cut every built-up tile into lots along its streets.

    Parameters
    ----------
    plan
        Gives the seed.
    tiles
        Style of each tile; -1: not built up.
    bend
        Moves the lots to where they lie on the ground.
    """
    rng = dice(plan.seed, "lattice")
    corners, owner = [], []
    for tile in np.flatnonzero(tiles.style >= 0):
        quads = _tile_quads(STYLES[tiles.style[tile]], rng)
        corners.append(quads)
        owner.append(np.full(len(quads), tile))
    quads = np.concatenate(corners)
    of_tile: Ints = np.concatenate(owner)
    ground = _on_ground(outline(quads), tiles, of_tile, bend)
    ends = _on_ground(quads, tiles, of_tile, bend)
    table = frames(ends[:, 0], ends[:, 1], ends[:, 3], ends[:, 2])
    style = tiles.style[of_tile]
    table.insert(0, "kind", np.choose(np.minimum(style, 2), ["core", "fringe", "subdivision"]))
    table.insert(1, "style", style)
    table.insert(2, "place", tiles.subdivision[of_tile])
    return Lots(np.asarray(shapely.polygons(ground)), table)


def _tile_quads(style: Style, rng: np.random.Generator) -> Floats:
    """Corners (front left, front right, back right, back left) of one tile's lots, tile meters."""
    low, high = ROAD_HALF_M, TILE_M - EASEMENT_M
    step = (high - low) / style.streets
    depth = (step - STREET_M) / 2
    cross = rng.uniform(0.3, 0.7) * (high - low) + low
    quads = []
    back = _breaks(style.lot_m, low, high, cross, rng)
    for street in range(style.streets):
        base = low + street * step
        quads.append(_row(back, base + depth, base, rng))
        back = _breaks(style.lot_m, low, high, cross, rng)
        quads.append(_row(back, base + depth + STREET_M, base + step, rng))
    return np.concatenate(quads)


def _breaks(
    lot_m: float, low: float, high: float, cross: float, rng: np.random.Generator
) -> Floats:
    """Lot lines along a row, left and right of the cross street, (n, 2) starts and ends."""
    parts = []
    for start, end in ((low, cross - STREET_M / 2), (cross + STREET_M / 2, high)):
        count = max(1, round((end - start) / lot_m))
        width = rng.uniform(0.85, 1.15, count)
        line = start + (end - start) * np.concatenate([[0], np.cumsum(width) / width.sum()])
        line[-1] = end
        parts.append(np.column_stack([line[:-1], line[1:]]))
    return np.concatenate(parts)


def _row(back: Floats, front_v: float, back_v: float, rng: np.random.Generator) -> Floats:
    """One row of lots; lines at the street are a little off those at the back."""
    lines = np.unique(back)
    shift = np.clip(rng.normal(0, 0.8, len(lines)), -1.6, 1.6)
    ends = np.isin(lines, [back[:, 0].min(), back[:, 1].max()])
    joins = np.isin(lines, back[:, 0]) & np.isin(lines, back[:, 1])
    shift[ends | ~joins] = 0
    front = lines + shift
    left, right = np.searchsorted(lines, back[:, 0]), np.searchsorted(lines, back[:, 1])
    flat = np.full(len(back), 1.0)
    corners = [
        (front[left], front_v * flat),
        (front[right], front_v * flat),
        (back[:, 1], back_v * flat),
        (back[:, 0], back_v * flat),
    ]
    return np.stack([np.column_stack(corner) for corner in corners], axis=1)


def _on_ground(points: Floats, tiles: Tiles, tile: Ints, bend: Bend) -> Floats:
    """Tile meters -> ground meters, by each tile's corner, turn and ripple."""
    u, v = ripple(points[..., 0], points[..., 1], tiles.ripples[tile][:, None, :])
    turned = tiles.turned[tile][:, None]
    u, v = np.where(turned, v, u), np.where(turned, u, v)
    east = (tiles.x_m[tile] % QUARTER_M > 0)[:, None]
    north = (tiles.y_m[tile] % QUARTER_M > 0)[:, None]
    u, v = np.where(east, TILE_M - u, u), np.where(north, TILE_M - v, v)
    x, y = bend(tiles.x_m[tile][:, None] + u, tiles.y_m[tile][:, None] + v)
    return np.stack([x, y], axis=-1)


# --- along a lake shore ------------------------------------------------------------------------


def shore_lots(plan: Plan) -> Lots:
    """Two tiers of small lots around each lake: on the water, and across the shore road."""
    rng = dice(plan.seed, "shore")
    shapes, tables = [], []
    for number, lake in enumerate(plan.lakes):
        needed = 0.12 * plan.parcels / len(plan.lakes)
        for inner, outer, share, front_is_outer in (
            (5.0, 52.0, 0.6, True),
            (66.0, SHORE_STRIP_M - 4, 0.4, False),
        ):
            around = 2 * np.pi * (lake.radius_m + inner)
            count = int(around / 21.0)
            width = rng.uniform(0.75, 1.25, count)
            line = np.concatenate([[0], np.cumsum(width) / width.sum()]) * 2 * np.pi
            start, end = line[:-1], line[1:].copy()
            end[-1] = 0.0
            quads = _shore_quads(lake, start, end, inner, outer, front_is_outer)
            wild = np.cos(start * 2 + rng.uniform(0, 6)) + 0.4 * rng.standard_normal(count)
            keep = np.sort(np.argsort(wild, kind="stable")[: int(needed * share)])
            quads = quads[keep]
            shapes.append(np.asarray(shapely.polygons(outline(quads))))
            table = frames(quads[:, 0], quads[:, 1], quads[:, 3], quads[:, 2])
            table.insert(0, "kind", "shore")
            table.insert(1, "style", 1 if front_is_outer else 2)
            table.insert(2, "place", number)
            tables.append(table)
    return Lots(np.concatenate(shapes), pd.concat(tables, ignore_index=True))


def _shore_quads(
    lake: Lake, start: Floats, end: Floats, inner: float, outer: float, front_is_outer: bool
) -> Floats:
    near, far = (outer, inner) if front_is_outer else (inner, outer)
    points = [
        _around(lake, a, s) for a, s in ((start, near), (end, near), (end, far), (start, far))
    ]
    return np.stack(points, axis=1)


def _around(lake: Lake, angle: Floats, beyond: float) -> Floats:
    radius = lake.shore_m(angle) + beyond
    return np.column_stack([lake.x_m + radius * np.cos(angle), lake.y_m + radius * np.sin(angle)])


def lake_strips(plan: Plan, beyond_m: float) -> Shapes:
    """Lakes as polygons, widened by so much."""
    angle = np.linspace(0, 2 * np.pi, 181)[:-1]
    rings = []
    for lake in plan.lakes:
        radius = lake.shore_m(angle) + beyond_m
        rings.append(
            np.column_stack([lake.x_m + radius * np.cos(angle), lake.y_m + radius * np.sin(angle)])
        )
    return np.asarray(shapely.polygons(rings))
