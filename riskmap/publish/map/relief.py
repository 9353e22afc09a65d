"""The county's own terrain as a shaded picture beneath the map: no tiles, no network.

Shading after Horn (1981), Proceedings of the IEEE 69(1):14-47: slope from the eight neighbors,
brightness as the cosine between the surface's normal and the sun.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from rasterio.enums import Resampling
from rasterio.transform import Affine
from rasterio.warp import reproject, transform_bounds

from riskmap.contract.grid import Grid

SUN_AZIMUTH_DEG: Final = 315.0
SUN_HEIGHT_DEG: Final = 45.0
LONGEST_SIDE: Final = 1400
GRAYS: Final = 20
DARKEST: Final = 196
MERCATOR: Final = CRS.from_epsg(3857)
GEOGRAPHIC: Final = CRS.from_epsg(4326)


@dataclass(frozen=True)
class Relief:
    """A picture (PNG bytes) and where it lies: west, south, east, north in degrees."""

    png: bytes
    bounds: tuple[float, float, float, float]


def draw_relief(terrain: Grid) -> Relief | None:
    """Shade `terrain`; None when it holds no height at all."""
    if not np.isfinite(terrain.values).any():
        return None
    height, bounds = _in_mercator(terrain)
    west, south, east, north = bounds
    to_degrees = Transformer.from_crs(MERCATOR, GEOGRAPHIC, always_xy=True)
    (west_deg, east_deg), (south_deg, north_deg) = to_degrees.transform(
        [west, east], [south, north]
    )
    rows, columns = height.shape
    shrink = np.cos(np.radians((south_deg + north_deg) / 2))
    shade = hillshade(
        height,
        cell_x_m=(east - west) / columns * shrink,
        cell_y_m=(north - south) / rows * shrink,
        exaggeration=_exaggeration(height),
    )
    edges = tuple(round(float(v), 7) for v in (west_deg, south_deg, east_deg, north_deg))
    return Relief(_png(shade), (edges[0], edges[1], edges[2], edges[3]))


def hillshade(
    height_m: NDArray[np.floating],
    *,
    cell_x_m: float,
    cell_y_m: float,
    exaggeration: float = 1.0,
) -> NDArray[np.float64]:
    """Brightness of each cell, sun in the north-west at 45 degrees.

    Slopes by the third-order finite difference of Horn (1981, Proc. IEEE 69:14-47).

    Parameters
    ----------
    height_m
        Heights (rows, columns), m, the northernmost row first.
    cell_x_m, cell_y_m
        Sides of a cell on the ground, m.
    exaggeration
        Factor on the heights.

    Returns
    -------
    ndarray
        0..1; NaN where the height is unknown.

    Examples
    --------
    >>> flat = hillshade(np.zeros((3, 3)), cell_x_m=10, cell_y_m=10)
    >>> bool(np.allclose(flat, np.sin(np.radians(45))))
    True
    """
    z = np.pad(np.asarray(height_m, dtype=float) * exaggeration, 1, mode="edge")
    up = z[:-2, :-2] + 2 * z[:-2, 1:-1] + z[:-2, 2:]
    down = z[2:, :-2] + 2 * z[2:, 1:-1] + z[2:, 2:]
    left = z[:-2, :-2] + 2 * z[1:-1, :-2] + z[2:, :-2]
    right = z[:-2, 2:] + 2 * z[1:-1, 2:] + z[2:, 2:]
    east_slope = (right - left) / (8 * cell_x_m)
    north_slope = (up - down) / (8 * cell_y_m)
    azimuth, altitude = np.radians(SUN_AZIMUTH_DEG), np.radians(SUN_HEIGHT_DEG)
    sun_east = np.sin(azimuth) * np.cos(altitude)
    sun_north = np.cos(azimuth) * np.cos(altitude)
    lit = np.sin(altitude) - east_slope * sun_east - north_slope * sun_north
    cosine: NDArray[np.float64] = lit / np.sqrt(1 + east_slope**2 + north_slope**2)
    return np.where(np.isfinite(height_m), np.clip(cosine, 0.0, 1.0), np.nan)


def _in_mercator(
    terrain: Grid,
) -> tuple[NDArray[np.float64], tuple[float, float, float, float]]:
    west, south, east, north = transform_bounds(terrain.crs, MERCATOR, *terrain.bounds)
    longest = max(east - west, north - south)
    source_longest = max(terrain.values.shape)
    cells = min(LONGEST_SIDE, source_longest)
    columns = max(1, round((east - west) / longest * cells))
    rows = max(1, round((north - south) / longest * cells))
    height = np.full((rows, columns), np.nan)
    reproject(
        np.asarray(terrain.values, dtype=float),
        height,
        src_transform=Affine(
            terrain.cell_x_m, 0, terrain.west_m, 0, -terrain.cell_y_m, terrain.north_m
        ),
        src_crs=terrain.crs,
        src_nodata=np.nan,
        dst_transform=Affine((east - west) / columns, 0, west, 0, -(north - south) / rows, north),
        dst_crs=MERCATOR,
        dst_nodata=np.nan,
        resampling=Resampling.average if source_longest > 2 * cells else Resampling.bilinear,
    )
    return height, (west, south, east, north)


def _exaggeration(height: NDArray[np.float64]) -> float:
    """Lift flat country so that its forms can be seen: low relief up to sixfold."""
    spread = float(np.nanpercentile(height, 98) - np.nanpercentile(height, 2))
    return float(np.clip(150.0 / max(spread, 1.0), 1.0, 6.0))


def _png(shade: NDArray[np.float64]) -> bytes:
    """Palette PNG (ISO/IEC 15948): color 0 is clear, the rest run from gray to white."""
    known = np.isfinite(shade)
    low, high = np.percentile(shade[known], [1, 99]) if known.any() else (0.0, 1.0)
    share = np.clip((np.where(known, shade, 0.0) - low) / max(high - low, 1e-9), 0, 1)
    index = np.where(known, 1 + np.rint(share * (GRAYS - 1)), 0).astype(np.uint8)
    grays = np.linspace(DARKEST, 255, GRAYS).astype(np.uint8)
    palette = bytes(3) + np.repeat(grays, 3).tobytes()
    rows, columns = index.shape
    lines = np.hstack([np.zeros((rows, 1), dtype=np.uint8), index]).tobytes()
    head = struct.pack(">IIBBBBB", columns, rows, 8, 3, 0, 0, 0)
    chunks = (
        (b"IHDR", head),
        (b"PLTE", palette),
        (b"tRNS", b"\x00"),
        (b"IDAT", zlib.compress(lines, 9)),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(name, body) for name, body in chunks)


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
