from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS

from riskmap.contract.grid import Grid
from riskmap.inventory.terrain import horn_gradient, wetness_index

UTM = CRS.from_epsg(32616)


class TestPublishedValues:
    """Horn (1981), Proc. IEEE 69(1):14-47; Beven and Kirkby (1979), Hydrol. Sci. Bull. 24(1)."""

    def test_horn_example_of_the_gis_manuals(self):
        # The 3 x 3 example of GIS manuals (cell size 5; printed 75.26 degrees, from memory;
        # recomputed with GDAL 3.6.2: 75.25766 degrees, 380.0329 %, aspect 180.75385 degrees).
        grid = np.array([[50, 45, 50], [30, 30, 30], [8, 10, 10]], dtype=float)
        east, north = horn_gradient(Grid(grid, 0, 15, 5, 5, UTM))
        dx, dy = float(east.values[1, 1]), float(north.values[1, 1])
        slope = np.hypot(dx, dy)
        assert dx == pytest.approx(0.05, abs=1e-6)
        assert dy == pytest.approx(3.8, abs=1e-6)  # rises toward north
        assert 100 * slope == pytest.approx(380.0329, abs=1e-3)
        assert np.degrees(np.arctan(slope)) == pytest.approx(75.25766, abs=1e-3)
        assert np.degrees(np.arctan2(-dx, -dy)) % 360 == pytest.approx(180.75385, abs=1e-3)

    @pytest.mark.parametrize("azimuth_deg", [0, 30, 45, 90, 200, 315])
    def test_plane_of_ten_percent(self, azimuth_deg):
        # z = 0.1 x in any orientation: 10.000 %, 5.7106 degrees, on the grid's edge too.
        y, x = np.mgrid[0:12, 0:9] * 10.0
        turn = np.radians(azimuth_deg)
        z = 0.1 * (x * np.sin(turn) - y * np.cos(turn))
        east, north = horn_gradient(Grid(z, 0, 120, 10, 10, UTM))
        slope = np.hypot(east.values, north.values)
        assert slope == pytest.approx(0.1, abs=1e-6)
        assert np.degrees(np.arctan(slope)) == pytest.approx(5.7106, abs=1e-4)

    def test_wetness_index_of_a_hundred_meters_at_ten_percent(self):
        # ln(100 m / 0.10) = 6.9078: the tenth cell of 10 m down a straight slope.
        z = np.repeat(-np.arange(11.0)[:, None], 3, axis=1)
        slope = np.full(z.shape, 0.1)
        index = wetness_index(Grid(z, 0, 110, 10, 10, UTM), slope).values
        assert index[9, 1] == pytest.approx(6.9078, abs=1e-4)
        assert index[0, 1] == pytest.approx(np.log(10 / 0.1), abs=1e-6)
