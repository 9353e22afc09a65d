"""Ways over a county's roads: a graph from any lines, and the shortest ways between places.

Lines are cut where they cross, so a bridge counts as a crossing; one-way roads count both ways.
Shortest ways are Dijkstra's (1959, Numerische Mathematik 1:269), by scipy.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from riskmap.contract.arrays import Floats, Whole

AT_ONCE: Final = 256
"""Places from which ways are searched at a time: what is held in memory."""
GRID_M: Final = 0.01
"""Ends of lines closer than this are one crossing."""
_LEAST_M: Final = 1e-6


def road_ways(lines: Any, points: Floats) -> Floats:
    """Shortest ways between places over roads, each place joined to the nearest road.

    Parameters
    ----------
    lines
        (m,) shapely lines, in meters.
    points
        (n, 2) easting and northing of the places.

    Returns
    -------
    (n, n) meters, the way to and from the road included; infinite where roads do not join.

    Examples
    --------
    >>> lines = [shapely.LineString([(0, 0), (100, 0)]), shapely.LineString([(50, 0), (50, 80)])]
    >>> road_ways(lines, np.array([[0.0, 10.0], [60.0, 80.0]])).round(1).tolist()
    [[0.0, 150.0], [150.0, 0.0]]
    """
    edges = _edges(lines)
    ends, length = _ends(edges)
    nearest, access, along = _joined(edges, points)
    graph = _graph(ends, length, nearest, along)
    ways = _between(graph, int(ends.max()) + 1, len(points))
    ways += access[:, None] + access[None, :]
    np.fill_diagonal(ways, 0.0)
    return ways


def nearest_line(lines: Any, points: Floats) -> Whole:
    """Row of the line nearest to each place (n,)."""
    tree = shapely.STRtree(lines)
    return np.asarray(tree.nearest(shapely.points(points)), dtype=np.int64)


def _edges(lines: Any) -> Any:
    """Cut lines where they cross or touch."""
    parts = shapely.get_parts(shapely.get_parts(np.asarray(lines, dtype=object)))
    whole = shapely.set_precision(shapely.multilinestrings(list(parts)), GRID_M)
    found = shapely.get_parts(shapely.node(whole))
    return found[shapely.length(found) > 0]


def _ends(edges: Any) -> tuple[Whole, Floats]:
    """Return the numbers of the crossings at each edge's ends (m, 2), and its length (m,)."""
    both = np.concatenate(
        [shapely.get_coordinates(shapely.get_point(edges, place)) for place in (0, -1)]
    )
    _, number = np.unique(np.rint(both / GRID_M).astype(np.int64), axis=0, return_inverse=True)
    return number.reshape(2, -1).T.astype(np.int64), np.asarray(shapely.length(edges))


def _joined(edges: Any, points: Floats) -> tuple[Whole, Floats, Floats]:
    """Edge nearest to each place, distance to it, and how far along it that is."""
    places = shapely.points(points)
    nearest = np.asarray(shapely.STRtree(edges).nearest(places), dtype=np.int64)
    on = edges[nearest]
    return nearest, np.asarray(shapely.distance(on, places)), np.asarray(
        shapely.line_locate_point(on, places)
    )  # fmt: skip


def _graph(ends: Whole, length: Floats, nearest: Whole, along: Floats) -> Any:
    """Put each place as a crossing of its own on its edge; places follow the crossings."""
    crossings, edges, count = int(ends.max()) + 1, len(ends), len(nearest)
    edge = np.concatenate([np.arange(edges), nearest, np.arange(edges)])
    where = np.concatenate([np.zeros(edges), along, length])
    kind = np.repeat([0, 1, 2], [edges, count, edges])
    node = np.concatenate([ends[:, 0], crossings + np.arange(count), ends[:, 1]])
    order = np.lexsort([kind, where, edge])
    edge, where, node = edge[order], where[order], node[order]
    same = edge[1:] == edge[:-1]
    first, second = node[:-1][same], node[1:][same]
    way = np.maximum(np.diff(where)[same], _LEAST_M)
    low, high = np.minimum(first, second), np.maximum(first, second)
    shortest = np.lexsort([way, high, low])
    low, high, way = low[shortest], high[shortest], way[shortest]
    keep = np.r_[True, (np.diff(low) != 0) | (np.diff(high) != 0)] & (low != high)
    size = crossings + count
    return coo_array((way[keep], (low[keep], high[keep])), shape=(size, size)).tocsr()


def _between(graph: Any, crossings: int, count: int) -> Floats:
    ways = np.empty((count, count))
    for begin in range(0, count, AT_ONCE):
        rows = np.arange(begin, min(begin + AT_ONCE, count))
        found = dijkstra(graph, directed=False, indices=crossings + rows)
        ways[rows] = found[:, crossings:]
    return ways
