from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import ndimage

from riskmap.action.zone_shapes import (
    Pieces,
    close_gaps,
    holders,
    mean_width_m,
    pieces_of,
    settle,
    smooth,
    trace,
)
from riskmap.action.zones import SMOOTHING_CELLS
from riskmap.contract.grid import Grid, grid_from_bounds

CELL_M = 20.0


def land(rows: int, columns: int) -> Grid:
    return grid_from_bounds(
        west_m=500_000, north_m=4_800_000, cell_m=CELL_M, values=np.zeros((rows, columns))
    )


def patchy(seed: int, size: int = 60) -> np.ndarray:
    """Three kinds in smooth patches, as on a real map."""
    rng = np.random.default_rng(seed)
    fields = np.stack([ndimage.gaussian_filter(rng.normal(size=(size, size)), 3) for _ in "abc"])
    return np.where(fields.max(0) > 0.08, fields.argmax(0) + 1, 0).astype(np.int64)


def all_pieces(labels: np.ndarray) -> Pieces:
    return pieces_of(labels, cell_m=CELL_M, least_area_m2=0.0, least_width_m=0.0)


small_maps = arrays(np.int64, (9, 11), elements=st.integers(0, 3))


class TestAgainstEnumeration:
    @settings(max_examples=60, deadline=None)
    @given(small_maps)
    def test_traced_shapes_are_the_union_of_their_cells(self, labels: np.ndarray) -> None:
        pieces, grid = all_pieces(labels), land(*labels.shape)
        shapes = trace(pieces, grid)
        for number, shape in enumerate(shapes, start=1):
            rows, columns = np.nonzero(pieces.cells == number)
            west, north = grid.west_m + columns * CELL_M, grid.north_m - rows * CELL_M
            cells = shapely.union_all(shapely.box(west, north - CELL_M, west + CELL_M, north))
            assert shape.geom_type == "Polygon"
            assert shape.is_valid
            assert shape.symmetric_difference(cells).area < 1e-6

    @settings(max_examples=40, deadline=None)
    @given(small_maps)
    def test_pieces_are_those_of_a_flood_fill(self, labels: np.ndarray) -> None:
        pieces = all_pieces(labels)
        same = {}
        for cell in zip(*np.nonzero(labels), strict=True):
            for step in ((0, 1), (1, 0)):
                other = (cell[0] + step[0], cell[1] + step[1])
                if other[0] < labels.shape[0] and other[1] < labels.shape[1]:
                    joined = pieces.cells[cell] == pieces.cells[other]
                    assert joined == (labels[cell] == labels[other])
            same.setdefault(pieces.cells[cell], labels[cell])
            assert same[pieces.cells[cell]] == labels[cell] == pieces.kind[pieces.cells[cell] - 1]

    def test_settled_land_goes_to_the_first_kind(self) -> None:
        first, second = np.array([[True, False, False]]), np.array([[True, True, False]])
        assert settle({"capture": first, "nitrate": second}).tolist() == [[1, 2, 0]]
        assert settle({"nitrate": second, "capture": first}).tolist() == [[1, 1, 0]]

    def test_small_pieces_join_the_neighbor_they_touch_most(self) -> None:
        labels = np.ones((7, 8), np.int64)
        labels[:, 5:] = 2
        labels[2, 4] = labels[3, 4] = 3  # touches kind 1 by 4 sides, kind 2 by 2
        found = pieces_of(labels, cell_m=CELL_M, least_area_m2=3 * CELL_M**2, least_width_m=0)
        assert found.kind.tolist() == [1, 2]
        assert (found.cells == 1).sum() == 35
        assert found.left_out == 0

    def test_a_small_piece_alone_is_left_out_and_counted(self) -> None:
        labels = np.zeros((9, 9), np.int64)
        labels[1:6, 1:6], labels[8, 7:9] = 1, 2
        found = pieces_of(labels, cell_m=CELL_M, least_area_m2=3 * CELL_M**2, least_width_m=0)
        assert found.kind.tolist() == [1]
        assert found.left_out == 2

    def test_a_long_thin_piece_is_no_zone(self) -> None:
        labels = np.zeros((12, 40), np.int64)
        labels[2:9, 2:20], labels[5, 20:38] = 1, 2
        found = pieces_of(labels, cell_m=CELL_M, least_area_m2=0, least_width_m=CELL_M)
        assert found.kind.tolist() == [1]

    def test_pieces_that_hold_too_little_go(self) -> None:
        labels = np.zeros((6, 12), np.int64)
        labels[:, :4], labels[:, 8:] = 1, 1
        held = np.zeros(labels.shape)
        held[2, 2] = 3.0
        found = pieces_of(
            labels, cell_m=CELL_M, least_area_m2=0, least_width_m=0, weight=held, least_weight=3.0
        )
        assert found.kind.tolist() == [1]
        assert found.left_out == 24


class TestProperties:
    @settings(max_examples=30, deadline=None)
    @given(st.integers(0, 10_000))
    def test_zones_are_valid_apart_not_thin_and_keep_their_area(self, seed: int) -> None:
        labels = patchy(seed)
        grid = land(*labels.shape)
        pieces = pieces_of(labels, cell_m=CELL_M, least_area_m2=8_000, least_width_m=CELL_M)
        shapes = smooth(trace(pieces, grid), tolerance_m=SMOOTHING_CELLS * CELL_M)
        assert all(shape.geom_type == "Polygon" for shape in shapes)
        assert shapely.is_valid(shapes).all()
        assert shapely.coverage_is_valid(shapes)
        total = shapely.area(shapes).sum()
        assert total - shapely.union_all(shapes).area < 1e-6  # no overlaps
        assert (mean_width_m(shapes) >= CELL_M).all()  # no slivers
        cells = (pieces.cells > 0).sum() * CELL_M**2
        assert total == pytest.approx(cells, rel=0.03)

    @settings(max_examples=20, deadline=None)
    @given(st.integers(0, 10_000))
    def test_smoothing_moves_borders_by_less_than_half_a_cell_on_average(self, seed: int) -> None:
        before = trace(all_pieces(patchy(seed)), land(60, 60))
        after = smooth(before, tolerance_m=SMOOTHING_CELLS * CELL_M)
        moved = shapely.area(shapely.symmetric_difference(before, after))
        assert (moved <= 0.5 * CELL_M * shapely.length(before)).all()

    @settings(max_examples=40, deadline=None)
    @given(arrays(np.bool_, (14, 15)), st.sampled_from([0.0, 1.0, 1.5, 3.0]))
    def test_closing_gaps_takes_nothing_away(self, cells: np.ndarray, reach: float) -> None:
        closed = close_gaps(cells, reach_cells=reach)
        assert closed[cells].all()
        assert (close_gaps(closed, reach_cells=reach) == closed).all()

    def test_a_gap_within_reach_is_filled_and_a_wide_one_stays(self) -> None:
        cells = np.zeros((9, 30), bool)
        cells[2:7, 2:8], cells[2:7, 10:16], cells[2:7, 24:29] = True, True, True
        closed = close_gaps(cells, reach_cells=1.5)
        assert closed[4, 8:10].all()
        assert not closed[4, 17:23].any()

    def test_the_same_map_gives_the_same_shapes(self) -> None:
        first, second = (
            smooth(trace(all_pieces(patchy(3)), land(60, 60)), tolerance_m=40.0) for _ in range(2)
        )
        assert [shape.wkb for shape in first] == [shape.wkb for shape in second]

    def test_nothing_gives_nothing(self) -> None:
        shapes = smooth(trace(all_pieces(np.zeros((4, 4), np.int64)), land(4, 4)), tolerance_m=1)
        assert len(shapes) == 0
        assert holders(shapes, [1.0], [2.0]).tolist() == [-1]


class TestMeasures:
    def test_mean_width(self) -> None:
        shapes = [
            shapely.box(0, 0, 100, 100),
            shapely.box(0, 0, 10_000, 10),
            shapely.Point(0, 0).buffer(80, quad_segs=200),
        ]
        assert mean_width_m(shapes) == pytest.approx([50, 9.99, 80], rel=1e-3)

    def test_holders_by_eye(self) -> None:
        shapes = np.array([shapely.box(0, 0, 10, 10), shapely.box(10, 0, 20, 10)], object)
        x, y = [5.0, 15.0, 10.0, 25.0, float("nan")], [5.0] * 5
        assert holders(shapes, x, y).tolist() == [0, 1, 0, -1, -1]
