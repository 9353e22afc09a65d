"""What each 16-hectare tile is used for: village, subdivision of some decade, or farm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sample_region.bend import Bend
from sample_region.dice import dice
from sample_region.plan import QUARTER_M, TILE_M, Flags, Floats, Ints, Plan
from sample_region.terrain import Terrain

FARM, CORE, FRINGE, SUBDIVISION = 0, 1, 2, 3
SHORE_STRIP_M: Final = 118.0
"""Lots along a lake reach this far from the shore."""


@dataclass(frozen=True)
class Style:
    """How a tile is cut: double rows of lots, width of a lot, when it was built up."""

    name: str
    streets: int
    lot_m: float
    first_year: int
    last_year: int
    share: float


STYLES: Final = (
    Style("core", 4, 21.0, 1890, 1995, 0.30),
    Style("fringe", 3, 25.0, 1925, 1972, 0.15),
    Style("1950s", 3, 27.0, 1950, 1960, 0.05),
    Style("1960s", 3, 31.0, 1959, 1970, 0.08),
    Style("1970s", 2, 36.0, 1969, 1980, 0.12),
    Style("1980s", 2, 44.0, 1979, 1990, 0.09),
    Style("1990s", 2, 52.0, 1989, 2000, 0.09),
    Style("2000s", 1, 60.0, 1999, 2009, 0.06),
    Style("2010s", 1, 68.0, 2010, 2020, 0.03),
    Style("2020s", 2, 50.0, 2018, 2026, 0.02),
)
"""Share: lots of this style per onsite parcel of the county."""


@dataclass(frozen=True)
class Tiles:
    """Every tile of the county; `style` is -1 on farmland."""

    x_m: Floats
    y_m: Floats
    quarter: Ints
    style: Ints
    subdivision: Ints
    near_lake: Flags
    turned: Flags
    ripples: Floats


def lots_per_tile(style: Style) -> float:
    """About how many lots one tile of `style` holds."""
    return 2 * style.streets * (TILE_M - 34.0) / style.lot_m


def make_tiles(plan: Plan, terrain: Terrain, bend: Bend) -> Tiles:
    """Choose the use of each tile: villages first, then subdivisions by decade, the rest farms.

    Parameters
    ----------
    plan
        Size, seed, villages and lakes of the county.
    terrain
        Wet ground, which building avoids.
    bend
        Where a tile's middle lies on the ground.
    """
    wide, deep = plan.quarters_x * 2, plan.quarters_y * 2
    column, row = (axis.ravel() for axis in np.meshgrid(np.arange(wide), np.arange(deep)))
    x, y = column * TILE_M, row * TILE_M
    quarter = (row // 2) * plan.quarters_x + column // 2
    center_x, center_y = bend(x + TILE_M / 2, y + TILE_M / 2)
    lake = _lake_distance(plan, center_x, center_y)
    wet = _wet_share(terrain, center_x, center_y)
    village = _village_distance(plan, x + TILE_M / 2, y + TILE_M / 2)
    rng = dice(plan.seed, "districts")
    style = np.full(len(x), -1)
    for index, one in enumerate(STYLES):
        free = (style < 0) & (lake > SHORE_STRIP_M + 330)
        score = _fitness(one, village, wet, quarter, rng)
        count = _tiles_needed(plan, index)
        picked = np.lexsort((np.arange(len(x)), np.where(free, score, np.inf)))[:count]
        style[picked[free[picked]]] = index
    ripples = np.column_stack(
        [
            rng.uniform(8, 22, len(x)),
            rng.uniform(0, 2 * np.pi, len(x)),
            rng.uniform(8, 22, len(x)),
            rng.uniform(0, 2 * np.pi, len(x)),
        ]
    )
    ripples[style <= 1] *= np.array([0.35, 1, 0.35, 1])
    turned = rng.random(plan.quarters_x * plan.quarters_y)[quarter] < 0.5
    return Tiles(
        x, y, quarter, style, quarter * 16 + style, lake < SHORE_STRIP_M + 420, turned, ripples
    )


def _tiles_needed(plan: Plan, index: int) -> int:
    """Tiles of one style; rounding is carried from style to style so that the sum is right."""
    needed = [s.share * plan.parcels / lots_per_tile(s) for s in STYLES]
    before = round(sum(needed[2:index])) if index > 2 else 0
    if index < 2:
        return max(1, round(needed[index]))
    return round(sum(needed[2 : index + 1])) - before


def _lake_distance(plan: Plan, x: Floats, y: Floats) -> Floats:
    distance = np.full(len(x), np.inf)
    for lake in plan.lakes:
        distance = np.minimum(distance, lake.beyond_shore_m(x, y))
    return distance


def _village_distance(plan: Plan, x: Floats, y: Floats) -> Floats:
    distance = np.full(len(x), np.inf)
    for place_x, place_y in plan.villages:
        distance = np.minimum(distance, np.hypot(x - place_x, y - place_y))
    return distance


def _wet_share(terrain: Terrain, x: Floats, y: Floats) -> Floats:
    """Share of a tile that lies less than a meter above its stream."""
    offsets = np.linspace(-0.4, 0.4, 7) * TILE_M
    low = [
        terrain.sample(terrain.above_stream_m, x + dx, y + dy) < 1.0
        for dx in offsets
        for dy in offsets
    ]
    return np.asarray(np.mean(low, axis=0), dtype=np.float64)


def _fitness(
    style: Style, village: Floats, wet: Floats, quarter: Ints, rng: np.random.Generator
) -> Floats:
    """Lower is chosen first. Old places hug the village; few build in the swamp knowingly."""
    if style.name in ("core", "fringe"):
        return village + 300 * wet
    chance = rng.random(int(quarter.max()) + 1)[quarter] * 5 * QUARTER_M
    lure = {"1950s": 1.2, "1960s": 0.8, "1970s": 0.4, "1980s": 0.25}.get(style.name, 0.12)
    return lure * village + chance + 6000 * wet
