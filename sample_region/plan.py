"""The county's plan: how large it is, and where its villages and lakes lie.

Inside the generator, points are meters east and north of the county's south-west corner. The corner
is put into the middle of a great lake (see the README): no one lives on an invented parcel.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from sample_region.dice import dice

Floats = NDArray[np.floating[Any]]
Shapes = NDArray[Any]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

QUARTER_M: Final = 800.0
TILE_M: Final = 400.0
MARGIN_M: Final = 600.0
CENTER_EASTING_M: Final = 500_000.0
CENTER_NORTHING_M: Final = 4_830_000.0
CRS: Final = "EPSG:32616"
YEAR: Final = 2026
PARCELS_PER_BLOCK: Final = 3000
QUARTERS_PER_PARCEL: Final = 156 / 3000


@dataclass(frozen=True)
class Lake:
    """A lake whose shore is a smooth closed curve around its middle."""

    x_m: float
    y_m: float
    radius_m: float
    swings: Floats
    phases: Floats

    def shore_m(self, angle: Floats) -> Floats:
        """Distance from the middle to the shore in each direction (radians)."""
        orders = np.arange(2, 2 + len(self.swings))
        waves = np.cos(np.multiply.outer(angle, orders) + self.phases)
        return np.asarray(self.radius_m * (1 + waves @ self.swings), dtype=np.float64)

    def beyond_shore_m(self, x: Floats, y: Floats) -> Floats:
        """Radial distance beyond the shore; negative in the lake."""
        angle = np.arctan2(y - self.y_m, x - self.x_m)
        away = np.hypot(x - self.x_m, y - self.y_m)
        return np.asarray(away - self.shore_m(angle), dtype=np.float64)


@dataclass(frozen=True)
class Plan:
    """Size and skeleton of one county."""

    parcels: int
    seed: int
    quarters_x: int
    quarters_y: int
    cell_m: float
    villages: Floats
    lakes: tuple[Lake, ...]

    @property
    def width_m(self) -> float:
        """East-west size of the settled rectangle."""
        return self.quarters_x * QUARTER_M

    @property
    def height_m(self) -> float:
        """North-south size of the settled rectangle."""
        return self.quarters_y * QUARTER_M

    @property
    def east_m(self) -> float:
        """Easting of the local origin."""
        return CENTER_EASTING_M - QUARTER_M * (self.quarters_x // 2)

    @property
    def north_m(self) -> float:
        """Northing of the local origin."""
        return CENTER_NORTHING_M - QUARTER_M * (self.quarters_y // 2)


def make_plan(parcels: int, *, seed: int) -> Plan:
    """Lay out a county for about `parcels` onsite systems.

    >>> plan = make_plan(3000, seed=1)
    >>> plan.quarters_x * plan.quarters_y
    156
    """
    blocks = max(1, round(parcels / PARCELS_PER_BLOCK))
    blocks_x = max(1, round(blocks**0.5))
    blocks_y = -(-blocks // blocks_x)
    quarters = parcels * QUARTERS_PER_PARCEL / (blocks_x * blocks_y)
    deep = max(4, round((quarters / 1.08) ** 0.5))
    wide = max(4, round(quarters / deep))
    rng = dice(seed, "plan")
    corners = np.array([(i, j) for j in range(blocks_y) for i in range(blocks_x)], dtype=float)
    corners *= np.array([wide, deep]) * QUARTER_M
    size = np.array([wide, deep]) * QUARTER_M
    village = corners + size * (np.array([0.62, 0.42]) + rng.uniform(-0.05, 0.05, corners.shape))
    village = np.round(village / QUARTER_M) * QUARTER_M
    middle = corners + size * (np.array([0.27, 0.66]) + rng.uniform(-0.03, 0.03, corners.shape))
    radius = float(np.clip(0.11 * parcels / len(corners) * 12.0 / (2 * np.pi), 200.0, 640.0))
    lakes = tuple(_lake(x, y, radius * rng.uniform(0.9, 1.1), rng) for x, y in middle)
    return Plan(
        parcels=parcels,
        seed=seed,
        quarters_x=wide * blocks_x,
        quarters_y=deep * blocks_y,
        cell_m=10.0 if parcels <= 30_000 else 20.0,
        villages=village,
        lakes=lakes,
    )


def _lake(x: float, y: float, radius_m: float, rng: np.random.Generator) -> Lake:
    swings = rng.uniform(0.5, 1.0, 5) * np.array([0.20, 0.13, 0.08, 0.05, 0.03])
    return Lake(float(x), float(y), float(radius_m), swings, rng.uniform(0, 2 * np.pi, 5))
