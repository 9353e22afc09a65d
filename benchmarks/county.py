"""Invent the county of the benchmark: files of stated sizes, from a seed.

Lots, soil polygons and cells grow together, so that each size is the same county cut larger:
100,000 lots lie on 11,886 soil polygons of about 306 corners and a grid of 4500 x 4500 cells.
"""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from rasterio.transform import from_origin

CRS = 32616
CELL_M = 10.0
FULL_LOTS = 100_000
FULL_CELLS = 4500
FULL_SOILS = 11_886
SIDE_CORNERS = 76
WEST_M, SOUTH_M = 500_000.0, 4_100_000.0
CORNER_M = np.array([WEST_M, SOUTH_M])


def make_county(folder: Path, lots: int, *, seed: int = 1) -> None:
    """Write lots, soils, wells (GeoPackage) and two rasters (GeoTIFF) for `lots` parcels."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(seed)
    cells = round(FULL_CELLS * (lots / FULL_LOTS) ** 0.5)
    extent_m = cells * CELL_M
    soils = soil_polygons(rng, extent_m, round(FULL_SOILS * lots / FULL_LOTS))
    _write(folder / "soils.gpkg", soils, mukey=np.arange(len(soils)) % 400)
    shapes = lot_polygons(rng, extent_m, lots)
    _write(folder / "lots.gpkg", shapes, parcel_id=[f"L{n:06d}" for n in range(lots)])
    wells = rng.uniform(0, extent_m, (max(lots // 5, 1), 2)) + CORNER_M
    _write(folder / "wells.gpkg", shapely.points(wells), use=["domestic"] * len(wells))
    for name, mean in (("slope", 6.0), ("water_table", 4.0)):
        _write_grid(folder / f"{name}.tif", rng, cells, mean)


def lot_polygons(rng: np.random.Generator, extent_m: float, count: int) -> np.ndarray:
    """Irregular lots of 5 to 9 corners, 20 to 70 m from their middle."""
    middle = rng.uniform(80, extent_m - 80, (count, 2)) + CORNER_M
    corners = rng.integers(5, 10, count)
    owner = np.repeat(np.arange(count), corners)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(corners) - corners, corners)
    turn = (place + rng.uniform(0.1, 0.9, len(owner))) * 2 * np.pi / corners[owner]
    reach = rng.uniform(20, 70, len(owner))
    xy = middle[owner] + (reach * np.array([np.cos(turn), np.sin(turn)])).T
    return shapely.polygons(shapely.linearrings(xy, indices=owner))


def soil_polygons(rng: np.random.Generator, extent_m: float, count: int) -> np.ndarray:
    """Tile the county with `count` polygons whose common sides wind."""
    side = int(count**0.5)
    step = extent_m / side
    nodes = np.stack(np.meshgrid(np.arange(side + 1), np.arange(side + 1), indexing="ij"), -1)
    nodes = nodes * step + rng.uniform(-0.15, 0.15, nodes.shape) * step + CORNER_M
    nodes[[0, -1], :, 0] = [[WEST_M], [WEST_M + extent_m]]
    nodes[:, [0, -1], 1] = [SOUTH_M, SOUTH_M + extent_m]
    east = _winding(rng, nodes[:-1], nodes[1:], step)
    north = _winding(rng, nodes[:, :-1], nodes[:, 1:], step)
    rings = np.concatenate(
        [east[:, :-1], north[1:], east[:, 1:, ::-1], north[:-1, :, ::-1]], axis=2
    ).reshape(-1, 4 * SIDE_CORNERS, 2)
    rings = np.concatenate([rings, rings[:, :1]], axis=1)
    tiles = shapely.polygons(rings)
    missing = count - len(tiles)
    west, south, far_east, far_north = shapely.bounds(tiles[:missing]).T
    middle = (west + far_east) / 2
    halves = [
        shapely.intersection(tiles[:missing], shapely.box(west, south, middle, far_north)),
        shapely.intersection(tiles[:missing], shapely.box(middle, south, far_east, far_north)),
    ]
    return np.concatenate([*halves, tiles[missing:]])


def _winding(
    rng: np.random.Generator, first: np.ndarray, last: np.ndarray, step: float
) -> np.ndarray:
    """Lines from nodes to nodes, (..., SIDE_CORNERS, 2), that wander off the straight and back."""
    t = np.linspace(0, 1, SIDE_CORNERS + 1)[:-1]
    waves = np.sin(np.pi * np.arange(1, 9)[:, None] * t)
    size = rng.normal(size=(*first.shape[:2], 8)) / np.arange(1, 9) ** 1.5
    away = 0.04 * step * size @ waves
    chord = last - first
    normal = np.stack([-chord[..., 1], chord[..., 0]], -1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    straight = first[..., None, :] + t[:, None] * chord[..., None, :]
    return straight + away[..., None] * normal[..., None, :]


def _write(path: Path, shapes: np.ndarray, **columns: object) -> None:
    gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS).to_file(path, driver="GPKG")


def _write_grid(path: Path, rng: np.random.Generator, cells: int, mean: float) -> None:
    values = rng.gamma(4.0, mean / 4.0, (cells, cells)).astype(np.float32)
    profile = {
        "driver": "GTiff",
        "height": cells,
        "width": cells,
        "count": 1,
        "dtype": "float32",
        "crs": f"EPSG:{CRS}",
        "transform": from_origin(WEST_M, SOUTH_M + cells * CELL_M, CELL_M, CELL_M),
        "nodata": -9999.0,
    }
    with rasterio.open(path, "w", **profile) as target:
        target.write(values, 1)
