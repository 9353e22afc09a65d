from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import cdist

from riskmap.ranking.blocks import block_folds, block_ids, random_folds


def points(seed: int, n: int = 300) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    return rng.random(n) * 10_000, rng.random(n) * 10_000, (rng.random(n) < 0.2).astype(float)


class TestProperties:
    @settings(max_examples=20, deadline=None)
    @given(st.integers(0, 1000), st.sampled_from([0.0, 300.0, 1000.0]))
    def test_every_row_is_tested_once_per_repeat_and_kept_apart(
        self, seed: int, buffer_m: float
    ) -> None:
        x, y, failed = points(seed)
        place = np.stack([x, y], axis=1)
        tested: dict[int, list[int]] = {}
        for fold in block_folds(
            x, y, failed, size_m=2000, buffer_m=buffer_m, folds=4, repeats=2, seed=seed
        ):
            tested.setdefault(fold.repeat, []).extend(fold.test.tolist())
            assert not set(fold.train) & set(fold.test)
            assert cdist(place[fold.train], place[fold.test]).min() > buffer_m
            rest = np.setdiff1d(np.arange(300), fold.test)
            near = np.setdiff1d(rest, fold.train)
            assert (cdist(place[near], place[fold.test]).min(axis=1) <= buffer_m).all()
        for rows in tested.values():
            assert sorted(rows) == list(range(300))

    def test_blocks_are_not_cut_and_failures_are_spread(self) -> None:
        x, y, failed = points(1, 2000)
        ids = block_ids(x, y, size_m=2000)
        folds = list(block_folds(x, y, failed, size_m=2000, buffer_m=0, folds=5, repeats=1, seed=0))
        for fold in folds:
            assert not set(ids[fold.train]) & set(ids[fold.test])
        counts = [failed[fold.test].sum() for fold in folds]
        assert max(counts) - min(counts) < 0.25 * np.mean(counts)

    def test_repeats_move_the_grid(self) -> None:
        x, y, failed = points(2)
        folds = list(block_folds(x, y, failed, size_m=2000, buffer_m=0, folds=3, repeats=2, seed=0))
        first = {frozenset(fold.test.tolist()) for fold in folds if fold.repeat == 0}
        second = {frozenset(fold.test.tolist()) for fold in folds if fold.repeat == 1}
        assert not first & second

    def test_random_folds_cover_all(self) -> None:
        folds = list(random_folds(23, folds=5, seed=0))
        assert sorted(np.concatenate([fold.test for fold in folds])) == list(range(23))

    def test_block_numbers_by_eye(self) -> None:
        ids = block_ids(np.array([0.0, 9.9, 10.0, -0.1]), np.zeros(4), size_m=10.0)
        assert ids.tolist() == [1, 1, 2, 0]
        moved = block_ids(np.array([0.0, 9.9]), np.zeros(2), size_m=10.0, shift=(0.5, 0.0))
        assert moved[0] != moved[1]
        assert pytest.approx(len(np.unique(moved))) == 2
