from __future__ import annotations

from collections.abc import Callable

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS

from riskmap.contract.grid import Grid
from riskmap.inventory.lots import middles

UTM = CRS.from_epsg(32616)


@pytest.fixture(scope="session")
def same_index() -> Callable[[pd.DataFrame, pd.DataFrame], None]:
    """Shared check of every describe function: one row out for each row in, in order."""

    def check(result: pd.DataFrame, parcels: pd.DataFrame) -> None:
        pd.testing.assert_index_equal(result.index, parcels.index)

    return check


@pytest.fixture(scope="session")
def lots() -> Callable[..., gpd.GeoDataFrame]:
    """Make parcels of given shapes with all canonical columns empty unless given."""

    def make(shapes: list[object], **columns: object) -> gpd.GeoDataFrame:
        index = pd.Index([f"p{n}" for n in range(len(shapes))], name="parcel_id")
        texts = ("address", "neighborhood", "land_use", "service", "improved")
        numbers = ("year_built", "bedrooms", "occupants", "dwellings", "living_area_m2")
        table = {name: [None] * len(shapes) for name in texts}
        table |= {name: [np.nan] * len(shapes) for name in numbers}
        return gpd.GeoDataFrame({**table, **columns}, geometry=shapes, index=index, crs=UTM)

    return make


@pytest.fixture(scope="session")
def areas() -> Callable[..., gpd.GeoDataFrame]:
    """Make treatment areas, as the siting step would, of given shapes."""

    def make(shapes: list[object], evidence: str = "inferred") -> gpd.GeoDataFrame:
        index = pd.Index([f"p{n}" for n in range(len(shapes))], name="parcel_id")
        middle = middles(np.array(shapes, dtype=object))
        return gpd.GeoDataFrame(
            {
                "treatment_m2_evidence": evidence,
                "x_m": middle[:, 0],
                "y_m": middle[:, 1],
            },
            geometry=shapes,
            index=index,
            crs=UTM,
        )

    return make


@pytest.fixture(scope="session")
def grid() -> Callable[..., Grid]:
    """Make a raster of cells of 10 m whose south-west corner is the origin."""

    def make(values: object, cell_m: float = 10.0) -> Grid:
        array = np.array(values, dtype=float)
        return Grid(array, 0.0, array.shape[0] * cell_m, cell_m, cell_m, UTM)

    return make


@pytest.fixture(scope="session")
def star() -> Callable[[int, int, float, float, float], shapely.Polygon]:
    """Make a star-shaped polygon around a point from a seed: not convex, any number of corners."""

    def make(seed: int, corners: int, x: float, y: float, radius: float) -> shapely.Polygon:
        rng = np.random.default_rng(seed)
        turn = (np.arange(corners) + rng.uniform(0.1, 0.9, corners)) * 2 * np.pi / corners
        reach = radius * rng.uniform(0.2, 1.0, corners)
        return shapely.Polygon(
            np.column_stack([x + reach * np.cos(turn), y + reach * np.sin(turn)])
        )

    return make
