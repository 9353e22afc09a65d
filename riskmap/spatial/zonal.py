"""Means of a raster over polygons, with the exact share of every cell."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.contract.grid import Grid
from riskmap.spatial.coverage_kernel import coverage_means
from riskmap.spatial.edges import polygon_edges


def raster_means(areas: gpd.GeoSeries, raster: Grid) -> pd.DataFrame:
    """Mean of a raster over each polygon, every cell weighted by the share inside the polygon.

    Unknown (NaN) cells do not count; the mean is that of the known part. Equal to exactextract's
    ``mean`` up to that library's single-precision cell shares (about 1e-7 of the range of values).

    Parameters
    ----------
    areas
        Polygons in the raster's reference system.
    raster
        The grid.

    Returns
    -------
    DataFrame
        Index of `areas`; ``mean`` (NaN where no known cell is touched) and ``covered_frac`` (share
        of the polygon on known cells).

    Examples
    --------
    Half a cell of 1 and a whole cell of 4 give (0.5 * 1 + 1 * 4) / 1.5:

    >>> from pyproj import CRS
    >>> from shapely import box
    >>> grid = Grid(np.array([[1.0, 4.0]]), 0.0, 10.0, 10.0, 10.0, CRS.from_epsg(32616))
    >>> raster_means(gpd.GeoSeries([box(5, 0, 20, 10)]), grid)["mean"].tolist()
    [3.0]
    """
    edges = polygon_edges(areas.to_numpy())
    mean, known_m2 = coverage_means(edges, raster)
    frac = np.full(len(areas), np.nan)
    np.divide(known_m2, edges.area_m2, out=frac, where=edges.area_m2 > 0)
    return pd.DataFrame({"mean": mean, "covered_frac": np.clip(frac, 0, 1)}, index=areas.index)
