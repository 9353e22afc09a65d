"""Distance from points to the nearest of many lines or polygons, in bulk."""

from __future__ import annotations

import numpy as np
import shapely

from riskmap.contract.arrays import Floats
from riskmap.spatial.edges import GeometryArray


def nearest_distance_m(points_m: Floats, shapes: GeometryArray) -> Floats:
    """Distance from each point to the nearest shape; 0 inside a polygon.

    Shapes are cut into their straight pieces first, so long streams cost no more than short ones.

    Parameters
    ----------
    points_m
        (n, 2) easting and northing; rows with NaN give NaN.
    shapes
        Points, lines and polygons; NaN everywhere if there are none.

    >>> stream = shapely.LineString([(0, 0), (100, 0)])
    >>> nearest_distance_m(np.array([[50.0, 30.0]]), np.array([stream])).tolist()
    [30.0]
    """
    result = np.full(len(points_m), np.nan)
    known = np.isfinite(points_m).all(axis=1)
    pieces = straight_pieces(shapes)
    if not len(pieces) or not known.any():
        return result
    points = np.asarray(shapely.points(points_m[known]))
    (row, _), distance = shapely.STRtree(pieces).query_nearest(
        points, return_distance=True, all_matches=False
    )
    found = np.full(len(points), np.nan)
    found[row] = distance
    solid = shapes[shapely.get_dimensions(shapes) == 2]
    inside, _ = shapely.STRtree(solid).query(points, predicate="intersects")
    found[inside] = 0.0
    result[known] = found
    return result


def straight_pieces(shapes: GeometryArray) -> GeometryArray:
    """Every straight piece of lines and of polygons' rings, and every point.

    >>> straight_pieces(np.array([shapely.box(0, 0, 1, 1), shapely.Point(5, 5)]))[-1]
    <POINT (5 5)>
    """
    parts = shapely.get_parts(shapely.get_parts(shapes))
    dimension = shapely.get_dimensions(parts)
    rings = shapely.get_rings(parts[dimension == 2])
    lines = np.concatenate([parts[dimension == 1], rings])
    points, line = shapely.get_coordinates(lines, return_index=True)
    joined = line[1:] == line[:-1]
    ends = np.stack([points[:-1][joined], points[1:][joined]], axis=1)
    return np.concatenate([np.asarray(shapely.linestrings(ends)), parts[dimension == 0]])
