from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image
from pyproj import CRS

from riskmap.contract.grid import Grid
from riskmap.publish.map.relief import DARKEST, draw_relief, hillshade


def _plane(east: float, north: float, size: int = 7, cell: float = 10.0) -> np.ndarray:
    x, y = np.meshgrid(np.arange(size) * cell, -np.arange(size) * cell)
    return np.asarray(east * x + north * y)


class TestAgainstEnumeration:
    @pytest.mark.parametrize(("east", "north"), [(0.3, 0.0), (-0.2, 0.5), (0.0, -1.0), (0.1, 0.1)])
    def test_a_plane_has_the_cosine_of_its_normal_with_the_sun(
        self, east: float, north: float
    ) -> None:
        normal = np.array([-east, -north, 1.0]) / np.sqrt(east**2 + north**2 + 1)
        sun = np.array([-0.5, 0.5, np.sqrt(0.5)])  # north-west, 45 degrees up
        shade = hillshade(_plane(east, north), cell_x_m=10, cell_y_m=10)
        assert shade[3, 3] == pytest.approx(max(0.0, float(normal @ sun)), abs=1e-12)

    def test_a_slope_towards_the_sun_is_brighter_than_one_away(self) -> None:
        toward = hillshade(_plane(0.3, -0.3), cell_x_m=10, cell_y_m=10)[3, 3]
        away = hillshade(_plane(-0.3, 0.3), cell_x_m=10, cell_y_m=10)[3, 3]
        assert toward > away

    def test_unknown_stays_unknown(self) -> None:
        height = _plane(0.1, 0.0)
        height[3, 3] = np.nan
        assert np.isnan(hillshade(height, cell_x_m=10, cell_y_m=10)[3, 3])


class TestPicture:
    def test_is_a_readable_palette_picture_with_clear_unknowns(self) -> None:
        height = 100 + 20 * np.sin(np.arange(60)[:, None] / 5) + np.arange(80)[None, :] * 0.2
        height[:10, :10] = np.nan
        grid = Grid(height, 500_000, 4_600_000, 30, 30, CRS.from_epsg(32616))
        relief = draw_relief(grid)
        assert relief is not None
        picture = Image.open(io.BytesIO(relief.png)).convert("RGBA")
        pixels = np.asarray(picture)
        assert pixels.shape[0] > 40
        assert pixels[2, 2, 3] == 0
        seen = pixels[..., 3] > 0
        assert pixels[seen][:, 0].min() >= DARKEST
        west, south, east, north = relief.bounds
        assert -87.01 < west < east < -86.9
        assert 41.5 < south < north < 41.6
        assert relief.png == draw_relief(grid).png  # type: ignore[union-attr]

    def test_nothing_known_gives_no_picture(self) -> None:
        grid = Grid(np.full((4, 4), np.nan), 0, 0, 10, 10, CRS.from_epsg(32616))
        assert draw_relief(grid) is None
