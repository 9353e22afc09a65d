"""Where each soil map unit lies: by parent material, slope and height above the stream."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from sample_region.coverage import class_polygons
from sample_region.dice import dice
from sample_region.noise import fractal_field
from sample_region.plan import Floats, Ints, Plan, Shapes
from sample_region.soil_units import UNIT_NUMBER, UNITS
from sample_region.terrain import RIVER_KM2, Terrain

STEP_M = 20.0
SMALLEST_CELLS = 30
"""Smallest area mapped: 30 cells of 400 m2, about three acres."""


@dataclass(frozen=True)
class SoilMap:
    """Map unit polygons (local meters) and the number of each one's unit."""

    shapes: Shapes
    unit: Ints

    def unit_at(self, x: Floats, y: Floats) -> Ints:
        """Return the map unit number under each point."""
        point, polygon = shapely.STRtree(self.shapes).query(
            shapely.points(x, y), predicate="intersects"
        )
        first, where = np.unique(point, return_index=True)
        result = np.full(len(x), UNIT_NUMBER["W"])
        result[first] = self.unit[polygon[where]]
        return result


def make_soil_map(plan: Plan, terrain: Terrain) -> SoilMap:
    """Classify the land and draw the polygons."""
    grids = _soil_grids(plan, terrain)
    classes = _classes(plan, terrain, grids)
    shapes, unit = class_polygons(
        _without_specks(classes),
        x_min_m=terrain.x_min_m,
        y_max_m=terrain.y_max_m,
        cell_m=STEP_M,
        simplify_m=2.0,
    )
    return SoilMap(shapes, unit)


def _resampled(grid: NDArray[Any], terrain: Terrain, shape: tuple[int, int]) -> NDArray[Any]:
    x = terrain.x_min_m + STEP_M * (np.arange(shape[1]) + 0.5)
    y = terrain.y_max_m - STEP_M * (np.arange(shape[0]) + 0.5)
    return terrain.sample(grid, x[None, :], y[:, None])


def _soil_grids(plan: Plan, terrain: Terrain) -> dict[str, Floats]:
    shape = (
        round(terrain.elevation_m.shape[0] * terrain.cell_m / STEP_M),
        round(terrain.elevation_m.shape[1] * terrain.cell_m / STEP_M),
    )
    fine: dict[str, Any] = {
        "slope": ndimage.gaussian_filter(terrain.slope_pct, 4.0),
        "height": ndimage.gaussian_filter(terrain.above_stream_m, 2.0),
        "position": terrain.elevation_m - ndimage.gaussian_filter(terrain.elevation_m, 25.0),
        "upstream": ndimage.maximum_filter(terrain.upstream_km2, 9),
        "lake": terrain.lake,
        "sandy": ndimage.zoom(terrain.sandy, 2, order=1),
        "rocky": ndimage.zoom(terrain.rocky, 2, order=1),
    }
    grids: dict[str, Floats] = {n: _resampled(g, terrain, shape) for n, g in fine.items()}
    for name in ("whim", "drift"):
        grids[name] = fractal_field(
            shape, cell_m=STEP_M, longest_m=700, slope=3.2, rng=dice(plan.seed, f"soil {name}")
        )
    return grids


def _classes(plan: Plan, terrain: Terrain, g: dict[str, Floats]) -> Ints:
    """First rule that applies wins."""
    u = UNIT_NUMBER
    slope = g["slope"] * (1 + 0.15 * g["whim"])
    height = g["height"] + 0.5 * g["whim"]
    sandy = g["sandy"] + 0.15 * g["drift"]
    rocky = g["rocky"] + 0.15 * g["drift"] + 0.02 * g["position"]
    low = (g["position"] < -1.2 + 0.6 * g["whim"]) & (slope < 3.5)
    river = g["upstream"] > RIVER_KM2 * (1 + 0.2 * g["drift"])
    beach = _near_lake(plan, terrain, g["slope"].shape, 260 + 90 * g["drift"])
    rules = (
        (g["lake"] > 0, u["W"]),
        (_village_core(plan, terrain, g["slope"].shape, g["drift"]), u["UhB"]),
        ((sandy > 1.5) & (g["whim"] > 2.3) & (height > 5), u["Pg"]),
        (beach & (height < 1.0), u["Ot"]),
        (beach, u["DuA"]),
        (river & (height < 1.3), u["Qu"]),
        (river & (height < 2.6), u["Ed"]),
        ((height < 1.6) & (g["drift"] > 0.9), u["So"]),
        ((sandy > 0.8) & ((height < 1.6) | low), u["Ot"]),
        ((sandy > 0.8) & (slope > 7.5), u["SpC"]),
        ((sandy > 1.4), u["GoB"]),
        ((sandy > 0.8), u["SpB"]),
        ((sandy > 0.45) & (slope < 4.0) & (height > 1.6), u["FeA"]),
        ((rocky > 1.0) & (slope > 11.0), u["FrF"]),
        ((rocky > 0.9) & (slope > 5.5), u["FlD"]),
        ((sandy < -0.9) & ((height < 1.4) | (low & (g["drift"] > 0.3))), u["Br"]),
        ((sandy < -0.9) & (slope < 3.0), u["ClA"]),
        ((sandy < -0.9), u["MaB"]),
        ((height < 1.6) | (low & (slope < 1.8)), u["Mu"]),
        ((height < 4.0) | low, u["WeA"]),
        (slope > 11.0, u["HtD"]),
        (slope > 6.0, u["HoC"]),
        (g["drift"] > 0.35, u["TaB"]),
    )
    return np.select([rule for rule, _ in rules], [unit for _, unit in rules], u["HoB"])


def _near_lake(
    plan: Plan, terrain: Terrain, shape: tuple[int, ...], reach: Floats
) -> NDArray[np.bool_]:
    x, y = _centers(terrain, shape)
    near = np.zeros(shape, dtype=bool)
    for lake in plan.lakes:
        window = _window(terrain, shape, lake.x_m, lake.y_m, lake.radius_m * 1.5 + 900)
        beyond = lake.beyond_shore_m(x[None, window[1]], y[window[0], None])
        near[window] |= beyond < reach[window]
    return near


def _village_core(
    plan: Plan, terrain: Terrain, shape: tuple[int, ...], whim: Floats
) -> NDArray[np.bool_]:
    x, y = _centers(terrain, shape)
    radius = 330 * min(1.0, (plan.parcels / 3000) ** 0.5)
    core = np.zeros(shape, dtype=bool)
    for place_x, place_y in plan.villages:
        window = _window(terrain, shape, place_x, place_y, 900.0)
        distance = np.hypot(x[None, window[1]] - place_x, y[window[0], None] - place_y)
        core[window] |= distance < radius * (1 + 0.2 * whim[window])
    return core


def _centers(terrain: Terrain, shape: tuple[int, ...]) -> tuple[Floats, Floats]:
    x = terrain.x_min_m + STEP_M * (np.arange(shape[1]) + 0.5)
    y = terrain.y_max_m - STEP_M * (np.arange(shape[0]) + 0.5)
    return x, y


def _window(
    terrain: Terrain, shape: tuple[int, ...], x: float, y: float, reach: float
) -> tuple[slice, slice]:
    top = max(int((terrain.y_max_m - y - reach) / STEP_M), 0)
    left = max(int((x - reach - terrain.x_min_m) / STEP_M), 0)
    bottom = min(int((terrain.y_max_m - y + reach) / STEP_M) + 1, shape[0])
    right = min(int((x + reach - terrain.x_min_m) / STEP_M) + 1, shape[1])
    return slice(top, bottom), slice(left, right)


def _without_specks(classes: Ints) -> Ints:
    """Give patches below the smallest mapped area to the nearest larger patch."""
    small = np.zeros(classes.shape, dtype=bool)
    for unit in range(len(UNITS)):
        patches, count = ndimage.label(classes == unit)
        size = np.bincount(patches.ravel(), minlength=count + 1)
        small |= (patches > 0) & (size[patches] < SMALLEST_CELLS)
    nearest = ndimage.distance_transform_edt(small, return_distances=False, return_indices=True)
    return np.asarray(classes[tuple(nearest)], dtype=np.int64)
