"""Farm country: quarter sections, farms, and house lots cut out of them along the roads."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
import shapely

from sample_region.bend import Bend
from sample_region.dice import dice
from sample_region.districts import SHORE_STRIP_M, Tiles
from sample_region.lots import EASEMENT_M, ROAD_HALF_M, Lots, frames, lake_strips
from sample_region.plan import QUARTER_M, TILE_M, Flags, Floats, Ints, Plan, Shapes

SLOTS: Final = 5
SLOT_M: Final = 114.0
FIRST_SLOT_M: Final = 115.0
MIDDLE_SLOT: Final = 2
FARM_POINTS_M: Final = 45.0
SMALLEST_M2: Final = 4000.0


def farm_lots(plan: Plan, tiles: Tiles, bend: Bend) -> Lots:
    """Farms of 16 to 64 hectares and the house lots split off them.

    Parameters
    ----------
    plan
        Size, seed and lakes of the county.
    tiles
        Use of each tile; quarter sections without a built-up tile are farmed whole.
    bend
        Moves the lots to where they lie on the ground.
    """
    rng = dice(plan.seed, "farms")
    whole = _whole_quarters(tiles)
    fields, field_quarter = _fields(whole, plan, rng)
    quads, slot_quarter, is_farmstead = _slots(whole, plan, rng)
    cut = _minus(fields, field_quarter, quads[~is_farmstead], slot_quarter[~is_farmstead])
    single = _single_tiles(tiles, whole)
    ground = _bent(np.concatenate([cut, single]), bend)
    yards = _yards(ground, quads[is_farmstead], bend)
    houses = _house_lots(quads[~is_farmstead], bend)
    table = pd.concat([yards, houses.table], ignore_index=True)
    shapes = np.concatenate([ground, houses.shapes])
    return _clear_of_lakes(Lots(shapes, table), plan)


def _whole_quarters(tiles: Tiles) -> Ints:
    """Quarter sections in which no tile is built up."""
    built = np.bincount(tiles.quarter, tiles.style >= 0)
    return np.flatnonzero(built == 0)


def _corner(quarter: Ints, plan: Plan) -> tuple[Floats, Floats]:
    return (quarter % plan.quarters_x) * QUARTER_M, (quarter // plan.quarters_x) * QUARTER_M


def _fields(whole: Ints, plan: Plan, rng: np.random.Generator) -> tuple[Shapes, Ints]:
    """Rectangles of farmland: the quarter whole, in halves, or in four."""
    x, y = _corner(whole, plan)
    parts = rng.choice([1, 2, 4], len(whole), p=[0.3, 0.45, 0.25])
    boxes, owner = [], []
    low, high, half = ROAD_HALF_M, QUARTER_M - ROAD_HALF_M, QUARTER_M / 2
    for count, cuts in (
        (1, [(low, low, high, high)]),
        (2, [(low, low, half - 2, high), (half + 2, low, high, high)]),
        (
            4,
            [
                (low, low, half - 2, half - 2),
                (half + 2, low, high, half - 2),
                (low, half + 2, half - 2, high),
                (half + 2, half + 2, high, high),
            ],
        ),
    ):
        chosen = parts == count
        for west, south, east, north in cuts:
            boxes.append(
                shapely.box(
                    x[chosen] + west, y[chosen] + south, x[chosen] + east, y[chosen] + north
                )
            )
            owner.append(whole[chosen])
    return np.concatenate(boxes), np.concatenate(owner)


def _slots(whole: Ints, plan: Plan, rng: np.random.Generator) -> tuple[Floats, Ints, Flags]:
    """House sites along the four roads of each quarter: corners, quarter, stays with the farm."""
    x, y = _corner(whole, plan)
    quads, owner, stays = [], [], []
    built_frac = 0.19 * plan.parcels / (len(whole) * 4 * (SLOTS - 1))
    for side in range(4):
        for slot in (s for s in range(SLOTS) if s != MIDDLE_SLOT):
            draw = rng.random(len(whole))
            yard = draw > 1 - 0.11 * plan.parcels / (len(whole) * 4 * (SLOTS - 1))
            built = (draw < built_frac) | yard
            width = rng.uniform(42, 95, len(whole))
            depth = rng.uniform(55, 105, len(whole))
            start = FIRST_SLOT_M + slot * SLOT_M + rng.uniform(4, SLOT_M - 4 - width)
            quad = _roadside_quad(side, start, width, depth)[built]
            quads.append(quad + np.column_stack([x, y])[built][:, None, :])
            owner.append(whole[built])
            stays.append(yard[built])
    return np.concatenate(quads), np.concatenate(owner), np.concatenate(stays)


def _roadside_quad(side: int, start: Floats, width: Floats, depth: Floats) -> Floats:
    """Corners front left, front right, back right, back left; the road is at the quarter's edge."""
    front = np.full_like(start, ROAD_HALF_M)
    back = ROAD_HALF_M + depth
    along = np.stack([start, start + width, start + width, start], axis=1)
    inward = np.stack([front, front, back, back], axis=1)
    if side in (1, 3):
        inward = QUARTER_M - inward
    pair = (along, inward) if side in (0, 1) else (inward, along)
    return np.stack(pair, axis=-1)


def _minus(fields: Shapes, field_quarter: Ints, quads: Floats, slot_quarter: Ints) -> Shapes:
    """Cut the house lots of each quarter out of its fields."""
    order = np.argsort(slot_quarter, kind="stable")
    quarters, group = np.unique(slot_quarter[order], return_inverse=True)
    squares = np.asarray(shapely.polygons(quads[order]))
    lots = np.asarray(shapely.multipolygons(squares, indices=group))
    where = np.searchsorted(quarters, field_quarter)
    safe = np.minimum(where, len(quarters) - 1)
    has = quarters[safe] == field_quarter
    return np.where(has, shapely.difference(fields, lots[safe]), fields)


def _single_tiles(tiles: Tiles, whole: Ints) -> Shapes:
    """Unbuilt tiles next to built ones: 16-hectare fields and woodlots."""
    pick = (tiles.style < 0) & ~np.isin(tiles.quarter, whole)
    x, y = tiles.x_m[pick], tiles.y_m[pick]
    west = np.where(x % QUARTER_M > 0, EASEMENT_M, ROAD_HALF_M)
    south = np.where(y % QUARTER_M > 0, EASEMENT_M, ROAD_HALF_M)
    east = TILE_M - np.where(x % QUARTER_M > 0, ROAD_HALF_M, EASEMENT_M)
    north = TILE_M - np.where(y % QUARTER_M > 0, ROAD_HALF_M, EASEMENT_M)
    return np.asarray(shapely.box(x + west, y + south, x + east, y + north))


def _bent(shapes: Shapes, bend: Bend) -> Shapes:
    dense = shapely.segmentize(shapes, FARM_POINTS_M)
    return np.asarray(
        shapely.transform(dense, lambda xy: np.column_stack(bend(xy[:, 0], xy[:, 1])))
    )


def _house_lots(quads: Floats, bend: Bend) -> Lots:
    shapes = _bent(np.asarray(shapely.polygons(quads)), bend)
    table = _bent_frames(quads, bend)
    table.insert(0, "kind", "roadside")
    table.insert(1, "style", 0)
    table.insert(2, "place", -1)
    return Lots(shapes, table)


def _bent_frames(quads: Floats, bend: Bend) -> pd.DataFrame:
    ends = np.stack(bend(quads[..., 0], quads[..., 1]), axis=-1)
    return frames(ends[:, 0], ends[:, 1], ends[:, 3], ends[:, 2])


def _yards(ground: Shapes, quads: Floats, bend: Bend) -> pd.DataFrame:
    """Make a row per farm; those with a house site have its frame, the others none."""
    table = pd.DataFrame({"kind": "farm", "style": 0, "place": -1}, index=range(len(ground)))
    sites = _bent_frames(quads, bend)
    middle = shapely.points(
        sites.front_x + sites.in_x * sites.depth_m / 2,
        sites.front_y + sites.in_y * sites.depth_m / 2,
    )
    site, farm = shapely.STRtree(ground).query(middle, predicate="within")
    first = pd.DataFrame({"farm": farm, "site": site}).drop_duplicates("farm")
    chosen = sites.iloc[first.site.to_numpy()].set_index(pd.Index(first.farm))
    return table.join(chosen)


def _clear_of_lakes(lots: Lots, plan: Plan) -> Lots:
    """Take the lakes' shore strips out of the farms; drop house lots that reach into them."""
    strips = lake_strips(plan, SHORE_STRIP_M)
    shapes, table = lots.shapes.copy(), lots.table.copy()
    drop = np.zeros(len(shapes), dtype=bool)
    lake_index, touched = shapely.STRtree(shapes).query(strips, predicate="intersects")
    rest = shapely.difference(shapes[touched], strips[lake_index])
    rest = np.array([max(shapely.get_parts(r), key=shapely.area, default=r) for r in rest])
    is_farm = (table.kind == "farm").to_numpy()[touched]
    shapes[touched] = rest
    drop[touched] = ~is_farm | (shapely.area(rest) < SMALLEST_M2)
    frame = ["front_x", "front_y", "in_x", "in_y", "depth_m", "width_m"]
    house = shapely.points(table.front_x + table.in_x * 40, table.front_y + table.in_y * 40)
    lost = ~shapely.contains(shapes, house) & (table.kind == "farm").to_numpy()
    table.loc[lost, frame] = np.nan
    return Lots(shapes[~drop], table[~drop].reset_index(drop=True))
