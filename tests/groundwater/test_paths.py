from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.grid import grid_from_bounds
from riskmap.groundwater.gradient import flow_field
from riskmap.groundwater.paths import DISTANCE, EDGE, STILL, TIME, WATER, trace_paths
from riskmap.groundwater.reach import pairs_in_reach

SIZE = 100


def field_of(head: object, *, cell_m: float = 10.0, k: float = 50.0, porosity: float = 0.25):  # type: ignore[no-untyped-def]
    array = np.asarray(head, float)
    grid = grid_from_bounds(west_m=0, north_m=array.shape[0] * cell_m, cell_m=cell_m, values=array)
    return flow_field(grid, conductivity_m_d=k, porosity_frac=porosity)


def corner(size: int = 120):  # type: ignore[no-untyped-def]
    """Flow round a corner: x y is constant along each path (potential flow)."""
    center = (np.arange(size) + 0.5) * 10.0
    x, y = np.meshgrid(center, center[::-1])
    return field_of(-0.5e-5 * (x**2 - y**2))


def slope(gradient: float = 0.01):  # type: ignore[no-untyped-def]
    x = (np.arange(SIZE) + 0.5) * 10.0
    return field_of(np.broadcast_to(100 - gradient * x, (SIZE, SIZE)))


class TestAgainstEnumeration:
    def test_straight_path_and_its_time(self) -> None:
        # v = 50 x .01 / .25 = 2 m/d: 300 m take 150 days.
        paths = trace_paths(slope(), x_m=[105.0], y_m=[505.0], max_distance_m=300.0)
        assert paths.end[0] == DISTANCE
        assert paths.last(paths.x_m)[0] == pytest.approx(405.0, abs=1e-9)
        assert paths.last(paths.y_m)[0] == pytest.approx(505.0, abs=1e-9)
        assert paths.last(paths.time_d)[0] == pytest.approx(150.0, rel=1e-9)
        np.testing.assert_allclose(paths.flux_m_d, 0.5)

    def test_each_way_to_end(self) -> None:
        water = np.zeros((SIZE, SIZE), int)
        water[:, 60] = 7
        starts = {"x_m": [105.0, 905.0, np.nan, -50.0], "y_m": [505.0, 505.0, 505.0, 505.0]}
        paths = trace_paths(slope(), **starts, max_distance_m=5000.0, water_id=water)
        assert paths.end.tolist() == [WATER, EDGE, EDGE, EDGE]
        assert paths.water_id.tolist() == [7, 0, 0, 0]
        assert paths.last(paths.x_m)[0] == pytest.approx(600.0, abs=5.0)
        assert np.diff(paths.start).tolist()[2:] == [1, 1]
        timed = trace_paths(
            slope(), x_m=[105.0], y_m=[505.0], max_distance_m=5000.0, max_time_d=77.0
        )
        assert timed.end[0] == TIME
        assert timed.last(timed.distance_m)[0] == pytest.approx(154.0, rel=1e-6)
        flat = trace_paths(
            field_of(np.full((9, 9), 3.0)), x_m=[45.0], y_m=[45.0], max_distance_m=50.0
        )
        assert flat.end[0] == STILL

    def test_bowl_stops_at_its_bottom(self) -> None:
        center = (np.arange(41) - 20) * 10.0
        x, y = np.meshgrid(center, center)
        paths = trace_paths(
            field_of(1e-4 * (x**2 + y**2)), x_m=[60.0], y_m=[333.0], max_distance_m=5000.0
        )
        assert paths.end[0] == STILL
        assert np.hypot(paths.last(paths.x_m)[0] - 205, paths.last(paths.y_m)[0] - 205) < 15

    def test_corner_flow_keeps_its_stream_function_and_time(self) -> None:
        paths = trace_paths(corner(), x_m=[60.0], y_m=[900.0], max_distance_m=1300.0)
        product = paths.x_m * paths.y_m
        assert np.abs(product / 54_000 - 1).max() < 0.01
        # v = K s (x, -y) / n: x grows as exp(K s t / n), so t = ln(x / 60) n / (K s).
        time = np.log(paths.x_m / 60.0) * 0.25 / (50.0 * 1e-5)
        np.testing.assert_allclose(paths.time_d[5:], time[5:], rtol=0.03)

    def test_there_and_back(self) -> None:
        down = trace_paths(corner(), x_m=[150.0], y_m=[700.0], max_distance_m=600.0)
        x, y = down.last(down.x_m), down.last(down.y_m)
        back = trace_paths(corner(), x_m=x, y_m=y, max_distance_m=600.0, upstream=True)
        assert back.last(back.x_m)[0] == pytest.approx(150.0, abs=1.0)
        assert back.last(back.y_m)[0] == pytest.approx(700.0, abs=1.0)
        assert back.last(back.time_d)[0] == pytest.approx(down.last(down.time_d)[0], rel=0.01)

    @given(st.integers(0, 500), st.floats(5, 120))
    @settings(max_examples=25, deadline=None)
    def test_pairs_are_those_of_every_well_against_every_segment(
        self, seed: int, reach: float
    ) -> None:
        rng = np.random.default_rng(seed)
        starts = rng.uniform(50, 900, (2, 4))
        paths = trace_paths(corner(), x_m=starts[0], y_m=starts[1], max_distance_m=300.0)
        wx, wy = rng.uniform(0, 1200, (2, 80))
        pairs = pairs_in_reach(paths, np.full(len(paths.x_m), reach), x_m=wx, y_m=wy)
        found = {(int(p), int(w)): abs(o) for p, w, o in
                 zip(pairs.path, pairs.receptor, pairs.offset_m, strict=True)}  # fmt: skip
        expected = {}
        for path in range(len(paths)):
            a, b = paths.start[path], paths.start[path + 1]
            for well in range(80):
                gap = nearest_foot(paths.x_m[a:b], paths.y_m[a:b], wx[well], wy[well])
                if gap is not None and gap <= reach:
                    expected[path, well] = gap
        assert found.keys() == expected.keys()
        for key, gap in expected.items():
            assert found[key] == pytest.approx(gap, abs=1e-9)

    def test_side_and_distance_along(self) -> None:
        paths = trace_paths(slope(), x_m=[105.0], y_m=[505.0], max_distance_m=300.0)
        pairs = pairs_in_reach(
            paths, np.full(len(paths.x_m), 50.0), x_m=[205.0, 305.0, 95.0, 410.0],
            y_m=[515.0, 485.0, 505.0, 505.0],
        )  # fmt: skip
        assert pairs.receptor.tolist() == [0, 1]  # behind the start and beyond the end: not found
        np.testing.assert_allclose(pairs.offset_m, [10.0, -20.0], atol=1e-9)
        np.testing.assert_allclose(pairs.along(paths.distance_m), [100.0, 200.0], atol=1e-9)
        np.testing.assert_allclose(pairs.along(paths.time_d), [50.0, 100.0], atol=1e-9)

    def test_nobody_to_reach(self) -> None:
        paths = trace_paths(slope(), x_m=[105.0], y_m=[505.0], max_distance_m=300.0)
        nobody = pairs_in_reach(paths, np.full(len(paths.x_m), 50.0), x_m=[np.nan], y_m=[1.0])
        assert len(nobody.path) == 0


def nearest_foot(
    x: np.typing.NDArray[np.float64], y: np.typing.NDArray[np.float64], wx: float, wy: float
) -> float | None:
    """Shortest way to a path at a foot inside it: on a segment, or at a bend."""
    share = [
        ((wx - a) * (c - a) + (wy - b) * (d - b)) / ((c - a) ** 2 + (d - b) ** 2)
        for a, b, c, d in zip(x[:-1], y[:-1], x[1:], y[1:], strict=True)
    ]
    gaps = [
        float(np.hypot(wx - x[i] - s * (x[i + 1] - x[i]), wy - y[i] - s * (y[i + 1] - y[i])))
        for i, s in enumerate(share)
        if 0 < s <= 1
    ]
    gaps += [
        float(np.hypot(wx - x[i], wy - y[i]))
        for i in range(1, len(share))
        if share[i - 1] >= 1 and share[i] <= 0
    ]
    return min(gaps, default=None)


def hollows(*, seed: int, size: int = 60, cell_m: float = 40.0):  # type: ignore[no-untyped-def]
    """A rough, closed basin of the water table: from everywhere water runs into hollows."""
    rng = np.random.default_rng(seed)
    center = (np.arange(size) + 0.5) * cell_m
    x, y = np.meshgrid(center, center[::-1])
    middle = size * cell_m / 2
    head = 1e-6 * ((x - middle) ** 2 + 3 * (y - middle) ** 2)
    for _ in range(12):
        px, py = rng.uniform(0.2, 0.8, 2) * size * cell_m
        head = head - 0.8 * np.exp(-((x - px) ** 2 + (y - py) ** 2) / (2 * (2.2 * cell_m) ** 2))
    return field_of(head, cell_m=cell_m)


class TestHollows:
    """Water that runs into a hollow stays there; it does not go round until time is up."""

    @pytest.mark.parametrize("seed", [1, 2, 3])
    def test_no_path_circles(self, seed: int) -> None:
        field = hollows(seed=seed)
        rng = np.random.default_rng(seed)
        x, y = rng.uniform(300, 2100, (2, 200))
        paths = trace_paths(field, x_m=x, y_m=y, max_distance_m=20_000.0)
        assert np.isin(paths.end, [STILL, EDGE]).all()
        assert (paths.end == STILL).mean() > 0.9
        length = paths.last(paths.distance_m)
        assert length.max() < 2.5 * 60 * 40
        begun = field.grid.bilinear(x, y)
        ended = field.grid.bilinear(paths.last(paths.x_m), paths.last(paths.y_m))
        assert (ended <= begun + 1e-9).all()

    def test_a_path_downhill_is_not_cut(self) -> None:
        long = trace_paths(slope(3e-4), x_m=[105.0], y_m=[505.0], max_distance_m=800.0)
        assert long.end[0] == DISTANCE
        back = trace_paths(slope(), x_m=[905.0], y_m=[505.0], max_distance_m=800.0, upstream=True)
        assert back.end[0] == DISTANCE
        assert back.last(back.x_m)[0] == pytest.approx(105.0)
        turning = corner()
        bend = trace_paths(turning, x_m=[100.0], y_m=[1000.0], max_distance_m=900.0)
        assert bend.end[0] == DISTANCE
