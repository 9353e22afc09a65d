"""How much of the parcels each layer covers, in percent and square by square."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from riskmap.contract.arrays import Floats
from riskmap.contract.grid import Grid

NEAR_M: Final = 1000.0
"""A point or a line covers the parcels this near to it."""
SQUARES: Final = 24
"""Squares of the small map along its longer side."""
OUTLINED: Final = ("sewer_area", "wellhead_areas", "waterbodies", "floodplain", "streams")
"""Layers that need not be everywhere: where they are not, something is said too."""

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Coverage:
    """Parcels that a layer covers.

    ``squares`` is the covered share of each square of the county, north first; NaN where no parcel
    is.
    """

    layer: str
    parcels: int
    share: float
    squares: Floats


def covered(layer: Any, lots: gpd.GeoDataFrame) -> Bools:
    """Flag the lots that a layer covers.

    Parameters
    ----------
    layer
        Polygons: lots whose middle they hold. Lines and points: lots within 1 km. A grid: lots on
        a cell with a value. A table with ``parcel_id``: lots that a row names.
    lots
        Shapes, index ``parcel_id``.
    """
    points = shapely.point_on_surface(lots.geometry.to_numpy())
    x, y = shapely.get_x(points), shapely.get_y(points)
    if isinstance(layer, Grid):
        return np.isfinite(layer.sample(x, y))
    if not isinstance(layer, gpd.GeoDataFrame) or layer.geometry.isna().all():
        return np.asarray(lots.index.isin(layer["parcel_id"])) if "parcel_id" in layer else (
            np.zeros(len(lots), bool)
        )  # fmt: skip
    shapes = layer.geometry.dropna()
    found = np.zeros(len(lots), bool)
    usable = np.isfinite(x) & np.isfinite(y)
    if set(shapes.geom_type) <= {"Polygon", "MultiPolygon"}:
        hits, _ = shapes.sindex.query(points[usable], predicate="intersects")
        found[np.flatnonzero(usable)[np.unique(hits)]] = True
        return found
    if set(shapes.geom_type) <= {"Point"}:
        away, _ = cKDTree(np.column_stack([shapes.x, shapes.y])).query(
            np.column_stack([x[usable], y[usable]])
        )
        found[usable] = away <= NEAR_M
        return found
    hits, _ = shapes.sindex.query(points[usable], predicate="dwithin", distance=NEAR_M)
    found[np.flatnonzero(usable)[np.unique(hits)]] = True
    return found


def coverage_of(name: str, layer: Any, lots: gpd.GeoDataFrame) -> Coverage:
    """Count the lots that a layer covers, and lay them out in squares."""
    flags = covered(layer, lots)
    return Coverage(name, int(flags.sum()), float(flags.mean()), squares_of(flags, lots))


def squares_of(flags: Bools, lots: gpd.GeoDataFrame) -> Floats:
    """Share of flagged lots in each square of the county's box, north first; NaN without lots."""
    bounds = lots.geometry.bounds.to_numpy()
    x, y = (bounds[:, 0] + bounds[:, 2]) / 2, (bounds[:, 1] + bounds[:, 3]) / 2
    good = np.isfinite(x) & np.isfinite(y)
    x, y, flags = x[good], y[good], flags[good]
    side = max(np.ptp(x), np.ptp(y), 1.0) / SQUARES
    column = np.minimum(((x - x.min()) / side).astype(int), SQUARES - 1)
    row = np.minimum(((y.max() - y) / side).astype(int), SQUARES - 1)
    place = pd.DataFrame({"row": row, "column": column, "flag": flags.astype(float)})
    table = place.pivot_table(index="row", columns="column", values="flag", aggfunc="mean")
    table = table.reindex(index=range(row.max() + 1), columns=range(column.max() + 1))
    return np.asarray(table.to_numpy(float))
