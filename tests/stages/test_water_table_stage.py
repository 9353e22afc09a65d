"""Depth to water from a county's own levels; what a coarse terrain does not tell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from riskmap.contract.grid import Grid
from riskmap.inventory.terrain import COARSEST_M, derive_terrain
from riskmap.stages.inventory import with_depth_by_levels
from riskmap.stages.loading import cross_check
from riskmap.stages.result import Result
from riskmap.stages.water_table import MOST_SD_M, WaterSurface, depth_by_levels, find_water_table


@pytest.fixture(scope="module")
def by_levels(assessed: Result) -> WaterSurface:
    """The same county without its raster of depths."""
    rasters = {"elevation": assessed.county.rasters["elevation"]}
    found = find_water_table(replace(assessed.county, rasters=rasters))
    assert found is not None
    assert found.model is not None
    return found


def test_levels_give_parcels_a_depth_that_its_error_holds(
    assessed: Result, by_levels: WaterSurface
) -> None:
    """Against the county's raster, which the invented levels were drawn from."""
    places = assessed.parcels[["x_m", "y_m"]].astype(float)
    found = depth_by_levels(places, by_levels)
    known = found["water_table_m"].notna()
    assert known.sum() > 100
    assert (found["water_table_sd_m"].notna() == known).all()
    assert found.loc[known, "water_table_sd_m"].max() <= MOST_SD_M
    truth = assessed.county.rasters["water_table"].sample(places["x_m"], places["y_m"])
    missed = (found["water_table_m"] - truth)[known].dropna()
    assert (missed.abs() < 2 * found.loc[missed.index, "water_table_sd_m"]).mean() > 0.85
    assert missed.abs().median() < 2.0


def test_on_land_unlike_that_of_the_levels_the_depth_is_unknown(by_levels: WaterSurface) -> None:
    """Far away and 2 km higher, where the slope that the water has with the land is anybody's."""
    high = Grid(np.full((40, 40), 2200.0), -8e5, 4e5, 1000.0, 1000.0)
    away = replace(by_levels, land=high)
    found = depth_by_levels(pd.DataFrame({"x_m": [-7.9e5], "y_m": [3.9e5]}), away)
    assert found.isna().all(axis=None)


def test_a_map_comes_before_the_levels(assessed: Result, by_levels: WaterSurface) -> None:
    table = assessed.parcels[["x_m", "y_m"]].iloc[:3].astype(float)
    sure = depth_by_levels(assessed.parcels[["x_m", "y_m"]].astype(float), by_levels).dropna()
    table = assessed.parcels.loc[sure.index[:2], ["x_m", "y_m"]].assign(
        water_table_m=[4.0, np.nan], water_table_m_evidence=["mapped", "unknown"]
    )
    found = with_depth_by_levels(table, by_levels)
    assert found["water_table_m"].tolist() == [4.0, sure["water_table_m"].iloc[1]]
    assert found["water_table_m_evidence"].tolist() == ["mapped", "inferred"]
    assert found["water_table_sd_m"].isna().tolist() == [True, False]
    nothing = with_depth_by_levels(table, None)
    assert nothing["water_table_m_evidence"].tolist() == ["mapped", "unknown"]


def test_a_coarse_terrain_is_reported_and_tells_no_wet_ground(assessed: Result) -> None:
    west, south, east, north = assessed.county.tables["parcels"].total_bounds
    for cell_m, told in ((COARSEST_M, True), (1000.0, False)):
        cells = np.arange(3.0 + max(east - west, north - south) // cell_m)
        z = 100.0 + np.add.outer(cells, cells)
        land = Grid(z, west - cell_m, north + cell_m, cell_m, cell_m)
        terrain = derive_terrain(land)
        assert (terrain.wetness is not None) == told
        assert (terrain.slope_pct is not None) == told
        county = replace(assessed.county, rasters={"elevation": land})
        reported = cross_check(county)["check"].eq("terrain_coarse").sum()
        assert reported == (not told)


def test_a_level_of_which_only_the_elevation_is_known_counts(
    assessed: Result, by_levels: WaterSurface
) -> None:
    """The same levels told as elevations give nearly the same surface."""
    assert by_levels.model is not None
    county = assessed.county
    levels = county.tables["water_levels"]
    land = by_levels.land.bilinear(levels.geometry.x, levels.geometry.y)
    told = levels.assign(
        water_elevation_m=land - levels["depth_to_water_m"].astype(float), depth_to_water_m=np.nan,
        vertical_datum="NAVD88",
    )  # fmt: skip
    tables = {"wells": county.tables["wells"], "water_levels": told}
    rasters = {"elevation": county.rasters["elevation"]}
    found = find_water_table(replace(county, tables=tables, rasters=rasters))
    assert found is not None
    assert found.model is not None
    assert len(found.model.report) == len(by_levels.model.report)
    np.testing.assert_allclose(found.table.head.values, by_levels.table.head.values, atol=1e-6)
