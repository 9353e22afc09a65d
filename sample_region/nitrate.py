"""What really reaches the wells: nitrogen from systems uphill and from fields, diluted."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from sample_region.dice import dice
from sample_region.noise import fractal_field
from sample_region.plan import Floats, Ints, Plan
from sample_region.soil_catalog import SOILS
from sample_region.terrain import Terrain
from sample_region.truth import Truth

REACH_M: Final = 320.0
CHUNK: Final = 20_000


def true_nitrate(
    plan: Plan, terrain: Terrain, truth: Truth, parcels: pd.DataFrame, wells: pd.DataFrame
) -> tuple[Floats, Floats]:
    """Return nitrate in each well (mg/L as N) and each system's share in all wells together."""
    rng = dice(plan.seed, "nitrate")
    homes = parcels.iloc[truth.row]
    source = np.column_stack([homes.field_x, homes.field_y])
    target = np.column_stack([wells.x, wells.y])
    persons = np.where(homes.seasonal, 0.45, 1.0) * homes.persons.to_numpy()
    wet = np.array([1.0 if s.wet_cm is None else s.wet_cm / 250 for s in SOILS])[truth.soil]
    strength = persons * (0.35 + 0.65 * wet) * rng.lognormal(0, 0.3, len(homes))
    added = np.zeros(len(wells))
    given = np.zeros(len(homes))
    tree = cKDTree(source)
    direction = (
        terrain.sample(terrain.downhill_x, *target.T),
        terrain.sample(terrain.downhill_y, *target.T),
    )
    shallow = np.exp(-(wells.depth_m.to_numpy() - 8) / 28)
    for start in range(0, len(wells), CHUNK):
        part = slice(start, start + CHUNK)
        pairs = _pairs(tree, target[part])
        weight = _reach(source, target[part], pairs, direction[0][part], direction[1][part])
        amount = weight * strength[pairs[1]] * shallow[part][pairs[0]]
        added[part] = np.bincount(pairs[0], amount, minlength=len(target[part]))
        given += np.bincount(pairs[1], amount, minlength=len(homes))
    fields = _farm_background(plan, terrain, target, shallow)
    noise = rng.lognormal(0, 0.45, len(wells))
    return np.maximum((0.25 + fields + 1.55 * added) * noise, 0.02), given


def _pairs(tree: cKDTree, target: Floats) -> tuple[Ints, Ints]:
    near: Any = tree.query_ball_point(target, REACH_M, return_sorted=True)
    count = np.array([len(one) for one in near])
    flat = np.concatenate([np.asarray(one, dtype=np.int64) for one in near])
    return np.repeat(np.arange(len(target)), count), flat


def _reach(
    source: Floats, target: Floats, pairs: tuple[Ints, Ints], down_x: Floats, down_y: Floats
) -> Floats:
    """Share of a system's nitrogen that a well meets: downhill, widening, thinning."""
    well, system = pairs
    step = target[well] - source[system]
    ahead = step[:, 0] * down_x[well] + step[:, 1] * down_y[well]
    aside = step[:, 1] * down_x[well] - step[:, 0] * down_y[well]
    width = 9 + 0.16 * np.maximum(ahead, 0)
    plume = np.exp(-0.5 * (aside / width) ** 2) * (14 / width) * np.exp(-ahead / 260)
    return np.where(ahead > -6, plume, 0.0)


def _farm_background(plan: Plan, terrain: Terrain, target: Floats, shallow: Floats) -> Floats:
    shape = terrain.sandy.shape
    crops = fractal_field(
        shape, cell_m=40.0, longest_m=1800, slope=2.8, rng=dice(plan.seed, "crops")
    )
    field = np.exp(
        0.45 * terrain.sample(crops, *target.T) + 0.4 * terrain.sample(terrain.sandy, *target.T)
    )
    return np.asarray(2.3 * field * (0.3 + 0.7 * shallow), dtype=np.float64)
