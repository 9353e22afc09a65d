"""Steady plume and its front against published solutions.

Domenico (1987, J. Hydrol. 91:49-58), values recomputed from the published formula; Ogata and Banks
(1961, USGS Professional Paper 411-A).
"""

from __future__ import annotations

import numpy as np
import pytest

from riskmap.contract.grid import grid_from_bounds
from riskmap.contract.units import YEAR_D
from riskmap.groundwater.arrival import arrived_frac
from riskmap.groundwater.gradient import flow_field
from riskmap.groundwater.paths import trace_paths
from riskmap.groundwater.plume import nitrate_added_mg_l, shape_plumes
from riskmap.groundwater.reach import pairs_in_reach
from riskmap.groundwater.settings import GroundwaterSettings

# v = .2 m/d, dispersivities 10, 1 and .1 m, source 20 m wide and 3 m deep at the water table.
VELOCITY, POROSITY, WIDTH, DEPTH = 0.2, 0.2, 20.0, 3.0


def relative(x_m: list[float], y_m: list[float], z_m: list[float], decay: float) -> object:
    """Concentration over that at the source, through the whole chain of paths and pairs."""
    cells = np.zeros((40, 80))
    grid = grid_from_bounds(west_m=0, north_m=400, cell_m=10, values=cells)
    head = grid.with_values(100 - 0.004 * grid.centers()[0])
    field = flow_field(head, conductivity_m_d=10.0, porosity_frac=POROSITY)
    start_x, start_y = 205.0, 205.0
    paths = trace_paths(field, x_m=[start_x], y_m=[start_y], max_distance_m=400.0)
    chosen = GroundwaterSettings(
        thickness_m=300.0, recharge_m_yr=0.0, decay_1_d=decay, source_width_m=WIDTH,
        source_depth_m=DEPTH, effluent_mg_l=1000.0, direction_sd_deg=0.0, porosity_frac=POROSITY,
        dispersivity_across_m=1.0, dispersivity_down_m=0.1,
    )  # fmt: skip
    plumes = shape_plumes(paths, load_kg_yr=[10.0], settings=chosen)
    pairs = pairs_in_reach(
        paths, plumes.reach_m(paths), x_m=np.array(x_m) + start_x, y_m=np.array(y_m) + start_y
    )
    added = nitrate_added_mg_l(plumes, pairs, screen_top_m=z_m, screen_bottom_m=z_m)
    source = 10.0 * 1000 / YEAR_D / (VELOCITY * POROSITY * WIDTH * DEPTH)
    return added / source


class TestPublishedValues:
    def test_centerline_without_decay(self) -> None:
        found = relative([10, 50, 100], [0, 0, 0], [0, 0, 0], 0.0)
        np.testing.assert_allclose(found, [0.941617, 0.448676, 0.259035], atol=1e-5)

    def test_centerline_with_decay(self) -> None:
        found = relative([10, 50, 100], [0, 0, 0], [0, 0, 0], 0.001)
        np.testing.assert_allclose(found, [0.897736, 0.353431, 0.160732], atol=1e-5)

    def test_before_the_plume_has_arrived(self) -> None:
        # t = 730 d at 50 m and 1825 d at 100 m; the leading term of the front, as published.
        steady = relative([50, 100], [0, 0], [0, 0], 0.0)
        front = arrived_frac(
            [50, 100], np.array([50, 100]) / VELOCITY, [730, 1825], dispersivity_m=10.0,
            second_term=False,
        )  # fmt: skip
        np.testing.assert_allclose(steady * front, [0.431707, 0.258785], atol=1e-5)

    def test_ogata_banks(self) -> None:
        # v = .2 m/d, D = 2 m2/d (dispersivity 10 m), x = 50 m, t = 250 d.
        assert arrived_frac(50, 250, 250, dispersivity_m=10) == pytest.approx(0.616163, abs=1e-6)
        lead = arrived_frac(50, 250, 250, dispersivity_m=10, second_term=False)
        assert lead == pytest.approx(0.5, abs=1e-12)

    def test_off_the_centerline_and_below_the_water_table(self) -> None:
        # The formula written out with math.erf, point by point.
        from math import erf, sqrt

        x, y, z = 80.0, 13.0, 4.0
        across = 0.5 * (erf((y + 10) / (2 * sqrt(x))) - erf((y - 10) / (2 * sqrt(x))))
        down = 0.5 * (erf((z + 3) / (2 * sqrt(0.1 * x))) - erf((z - 3) / (2 * sqrt(0.1 * x))))
        found = relative([x, x], [y, -y], [z, z], 0.0)
        np.testing.assert_allclose(found, across * down, atol=1e-8)
