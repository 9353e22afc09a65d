"""Where would a plume go? A water table from a few levels, a path from a lot, wells on its way.

``python docs/gallery/where_a_plume_goes.py`` prints the wells that the plume reaches. Screening: a
predicted number never proves that a well is contaminated; a laboratory sample does.
"""

# ruff: noqa: T201
from __future__ import annotations

import numpy as np
import pandas as pd

from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.groundwater.assess import assess_groundwater
from riskmap.groundwater.levels import water_levels
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings
from riskmap.groundwater.water_table import fit_water_table, surface_from_levels


def invented_land(cells: int) -> Grid:
    """Land that falls to the south-east, 1.5 km across."""
    grid = grid_from_bounds(
        west_m=0, north_m=1500, cell_m=1500 / cells, values=np.zeros((cells, cells))
    )
    x, y = grid.centers()
    return grid.with_values(100 - 0.006 * x + 0.004 * y)


def main(cells: int = 60) -> pd.DataFrame:
    """Follow one system's plume to the wells around it."""
    rng = np.random.default_rng(11)
    land = invented_land(cells)
    x, y = rng.uniform(50, 1450, 24), rng.uniform(50, 1450, 24)
    ground = land.bilinear(x, y)
    levels = water_levels(x, y, depth_m=5 + rng.normal(0, 0.4, 24), land_m=ground)
    surface = surface_from_levels(fit_water_table(levels), land)
    systems = pd.DataFrame({"x_m": [300.0], "y_m": [1150.0], "persons": [4.0], "kind": ["trench"]})
    wells = pd.DataFrame(
        {
            "x_m": [420.0, 600.0, 450.0, 150.0],
            "y_m": [1070.0, 950.0, 1250.0, 1250.0],
            "depth_m": 10.0,
            "casing_m": 5.0,
            "static_level_m": 5.0,
        },
        index=["next door", "down the road", "across the flow", "up-gradient"],
    )
    settings = GroundwaterSettings(conductivity_m_d=15.0, porosity_frac=0.2)
    found = assess_groundwater(systems, wells, surface.head, settings, WellSettings())
    columns = ["nitrate_added_mg_l", "shortest_travel_time_d", "chance_above_limit_frac"]
    print(found.wells[columns].round(2).to_string())
    return found.wells


if __name__ == "__main__":
    main()
