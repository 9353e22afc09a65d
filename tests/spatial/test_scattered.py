"""Which places count as far from the rest, and which parts of a land hold anything."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskmap.spatial.scattered import APART_M, boxes_around, far_from_rest

RNG = np.random.default_rng(6)
COUNTY = RNG.uniform(0, 30_000, (500, 2))


def flagged(*others: tuple[float, float]) -> list[bool]:
    x, y = np.concatenate([COUNTY, np.array(others).reshape(-1, 2)]).T
    far = far_from_rest(x, y)
    assert not far[:500].any()
    return [bool(flag) for flag in far[500:]]


class TestFarFromRest:
    def test_a_slip_of_the_coordinates_and_a_lot_beyond_a_ridge(self) -> None:
        assert flagged((130_000, 15_000), (0, 0), (40_000, 15_000)) == [True, False, False]
        assert flagged((1e9, -1e9)) == [True]

    def test_what_is_nearer_than_the_distance_is_never_flagged(self) -> None:
        nearest = COUNTY[COUNTY[:, 0].argmax()]
        assert flagged((nearest[0] + 0.99 * APART_M, nearest[1])) == [False]

    def test_an_island_of_many_lots_is_a_part_of_the_county(self) -> None:
        island = [(100_000.0 + step, 0.0) for step in range(6)]
        assert flagged(*island) == [False] * 6
        assert flagged(*island[:5]) == [True] * 5

    def test_no_place_is_no_stray(self) -> None:
        assert flagged((np.nan, 3.0)) == [False]
        assert far_from_rest([], []).tolist() == []
        assert far_from_rest([0.0, 1e6], [0.0, 0.0]).tolist() == [False, False], "two tell nothing"


class TestBoxes:
    @given(st.integers(0, 10_000), st.floats(0.001, 0.2))
    def test_all_used_cells_lie_in_boxes_that_lie_apart(self, seed: int, share: float) -> None:
        used = np.random.default_rng(seed).random((25, 40)) < share
        covered = np.zeros(used.shape, int)
        for rows, columns in boxes_around(used):
            around = (
                slice(max(rows.start - 1, 0), rows.stop + 1),
                slice(max(columns.start - 1, 0), columns.stop + 1),
            )
            assert not covered[around].any()
            covered[rows, columns] += 1
            assert used[rows, columns].any()
        assert (covered[used] == 1).all()

    def test_nothing_used_gives_no_box(self) -> None:
        assert boxes_around(np.zeros((3, 3), bool)) == []

    @pytest.mark.parametrize("gap", [1, 2])
    def test_one_cell_between_them_parts_two_groups(self, gap: int) -> None:
        used = np.zeros((1, 9), bool)
        used[0, [0, 1, 1 + gap]] = True
        assert len(boxes_around(used)) == gap
