"""Ways over roads: against sums by hand, another algorithm, and any graph that lines make."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely

from riskmap.spatial.roads import nearest_line, road_ways


def grid(side: int, step: float) -> list[shapely.LineString]:
    """Streets of a town: `side` each way, crossing without a vertex at the crossings."""
    reach = (side - 1) * step
    return [
        line
        for n in range(side)
        for line in (
            shapely.LineString([(0, n * step), (reach, n * step)]),
            shapely.LineString([(n * step, 0), (n * step, reach)]),
        )
    ]


def test_in_a_square_town_ways_are_sums_of_both_sides() -> None:
    points = np.array([[0.0, 0.0], [300.0, 400.0], [150.0, 200.0], [500.0, 250.0]])
    ways = road_ways(grid(6, 100.0), points)
    manhattan = np.abs(points[:, None] - points[None]).sum(axis=2)
    assert ways == pytest.approx(manhattan, abs=1e-6)


def floyd_warshall(lines: list[shapely.LineString], points: np.ndarray) -> np.ndarray:
    """Shortest ways by relaxing all pairs, over straight roads whose ends are the crossings."""
    ends = sorted({xy for line in lines for xy in (line.coords[0], line.coords[-1])})
    place = {xy: n for n, xy in enumerate(ends)}
    count = len(ends) + len(points)
    way = np.full((count, count), np.inf)
    np.fill_diagonal(way, 0.0)

    def join(a: int, b: int, length: float) -> None:
        way[a, b] = way[b, a] = min(way[a, b], length)

    on: dict[int, list[tuple[float, int]]] = {n: [] for n in range(len(lines))}
    access = np.empty(len(points))
    for number, point in enumerate(points):
        away = [shapely.distance(line, shapely.Point(point)) for line in lines]
        nearest = int(np.argmin(away))
        access[number] = away[nearest]
        along = lines[nearest].project(shapely.Point(point))
        on[nearest].append((along, len(ends) + number))
    for number, line in enumerate(lines):
        chain = [(0.0, place[line.coords[0]]), *on[number], (line.length, place[line.coords[-1]])]
        chain.sort()
        for (a, first), (b, second) in itertools.pairwise(chain):
            join(first, second, b - a)
    for middle in range(count):
        way = np.minimum(way, way[:, [middle]] + way[[middle], :])
    inner = way[len(ends) :, len(ends) :] + access[:, None] + access[None]
    np.fill_diagonal(inner, 0.0)
    return inner


@pytest.mark.parametrize("seed", range(3))
def test_crooked_streets_are_as_another_algorithm_finds(seed: int) -> None:
    dice = np.random.default_rng(seed)
    corner = np.array([(x, y) for x in range(5) for y in range(5)]) * 200.0
    corner += dice.uniform(-60, 60, corner.shape)
    pairs = [(a, b) for a in range(25) for b in (a + 1, a + 5)
             if b < 25 and (b != a + 1 or b % 5)]  # fmt: skip
    lines = [
        shapely.LineString(np.round(corner[[a, b]], 2)) for a, b in pairs if dice.random() < 0.85
    ]
    points = dice.uniform(0, 800, (15, 2))
    assert road_ways(lines, points) == pytest.approx(floyd_warshall(lines, points), abs=0.1)


def test_roads_that_do_not_join_have_no_way() -> None:
    lines = [shapely.LineString([(0, 0), (100, 0)]), shapely.LineString([(0, 50), (100, 50)])]
    ways = road_ways(lines, np.array([[0.0, 0.0], [100.0, 0.0], [50.0, 50.0]]))
    assert ways[0, 1] == 100.0
    assert np.isinf(ways[0, 2])


def test_places_at_one_point_and_double_roads() -> None:
    lines = [
        shapely.LineString([(0, 0), (100, 0)]),
        shapely.LineString([(0, 0), (50, 80), (100, 0)]),
    ]
    ways = road_ways(lines, np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 0.0]]))
    assert ways.round(3).tolist() == [[0, 100, 100], [100, 0, 0], [100, 0, 0]]


def test_several_parts_count_as_lines() -> None:
    several = shapely.MultiLineString([[(0, 0), (50, 0)], [(50, 0), (50, 70)]])
    assert road_ways([several], np.array([[0.0, 0.0], [50.0, 70.0]]))[0, 1] == pytest.approx(120)


def test_the_nearest_line() -> None:
    assert nearest_line(grid(3, 100.0), np.array([[40.0, 3.0], [97.0, 40.0]])).tolist() == [0, 3]
