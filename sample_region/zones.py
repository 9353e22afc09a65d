"""What offices draw: flood zones, the sewer district, section roads, names of villages."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
import shapely
from scipy import ndimage

from sample_region.bend import Bend
from sample_region.coverage import class_polygons
from sample_region.districts import SHORE_STRIP_M
from sample_region.lots import lake_strips
from sample_region.names import street
from sample_region.plan import QUARTER_M, TILE_M, Plan, Shapes
from sample_region.settlement import Settlement
from sample_region.terrain import RIVER_KM2, Terrain

STEP_M: Final = 20.0
ZONES: Final = (
    ("X", "AREA OF MINIMAL FLOOD HAZARD", "F"),
    ("X", "0.2 PCT ANNUAL CHANCE FLOOD HAZARD", "F"),
    ("AE", "", "T"),
    ("AE", "FLOODWAY", "T"),
    ("A", "", "T"),
)


def flood_zones(terrain: Terrain) -> tuple[Shapes, pd.DataFrame]:
    """Polygons over the whole county with the columns of the national flood layer."""
    every = max(1, round(STEP_M / terrain.cell_m))
    height = ndimage.gaussian_filter(terrain.above_stream_m, 20.0 / terrain.cell_m)[
        ::every, ::every
    ]
    upstream = ndimage.maximum_filter(terrain.upstream_km2, round(90 / terrain.cell_m))
    river = upstream[::every, ::every] > RIVER_KM2
    channel = (terrain.upstream_km2 > RIVER_KM2) & ~terrain.lake
    away = ndimage.distance_transform_edt(~channel)[::every, ::every] * terrain.cell_m
    lake = ndimage.binary_dilation(terrain.lake, iterations=round(20 / terrain.cell_m))
    rules = (
        (river & (away < 28), 3),
        (river & (height < 1.1), 2),
        (lake[::every, ::every], 4),
        (river & (height < 1.9), 1),
    )
    classes = np.select([rule for rule, _ in rules], [zone for _, zone in rules], 0)
    classes = ndimage.median_filter(classes, 3)
    shapes, zone = class_polygons(
        classes,
        x_min_m=terrain.x_min_m,
        y_max_m=terrain.y_max_m,
        cell_m=terrain.cell_m * every,
        simplify_m=1.5,
    )
    table = pd.DataFrame([ZONES[k] for k in zone], columns=["FLD_ZONE", "ZONE_SUBTY", "SFHA_TF"])
    table.insert(0, "FLD_AR_ID", [f"ZZ001_{n + 1}" for n in range(len(table))])
    table["STATIC_BFE"] = -9999.0
    return shapes, table


def sewer_district(plan: Plan, settlement: Settlement) -> tuple[Shapes, pd.DataFrame]:
    """Draw the villages' sewered cores with a margin that takes in some unconnected houses."""
    tiles = settlement.tiles
    core = tiles.style == 0
    x, y = tiles.x_m[core], tiles.y_m[core]
    bend = Bend(plan.seed)
    boxes = shapely.segmentize(shapely.box(x, y, x + TILE_M, y + TILE_M), 40.0)
    ground = shapely.transform(boxes, lambda xy: np.column_stack(bend(xy[:, 0], xy[:, 1])))
    shapes = shapely.get_parts(shapely.buffer(shapely.union_all(ground), 14.0, quad_segs=3))
    names = [f"Nowhere Village Sewer District {n + 1}" for n in range(len(shapes))]
    return np.asarray(shapes), pd.DataFrame({"NAME": names})


def section_roads(plan: Plan) -> tuple[Shapes, pd.DataFrame]:
    """Center lines of the half-mile roads, cut at the lakes."""
    bend = Bend(plan.seed)
    lines = []
    for count, far, turn in (
        (plan.quarters_x, plan.height_m, False),
        (plan.quarters_y, plan.width_m, True),
    ):
        along = np.arange(0, far + 1, 40.0)
        for k in range(count + 1):
            across = np.full_like(along, k * QUARTER_M)
            x, y = (along, across) if turn else (across, along)
            lines.append(shapely.linestrings(np.column_stack(bend(x, y))))
    for strip in lake_strips(plan, SHORE_STRIP_M):
        lines = [shapely.difference(line, strip) for line in lines]
    parts, owner = shapely.get_parts(np.array(lines), return_index=True)
    return np.asarray(parts), pd.DataFrame({"NAME": street(owner * 13 + 4)})


def villages(plan: Plan) -> tuple[Shapes, pd.DataFrame]:
    """Mark each village by a point with its name."""
    x, y = Bend(plan.seed)(*plan.villages.T)
    points = [shapely.Point(east, north) for east, north in zip(x, y, strict=True)]
    names = [f"Nowhere Village {n + 1}" for n in range(len(points))]
    return np.array(points, dtype=object), pd.DataFrame({"NAME": names})
