"""Spatial blocks for validation: neighbors are alike, so they are held out together.

A random split lets a model recognise a place instead of learning why systems fail; held-out blocks
with a buffer do not (Roberts et al. 2017, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from riskmap.contract.arrays import Floats, Whole


def block_ids(
    x_m: Floats, y_m: Floats, *, size_m: float, shift: tuple[float, float] = (0.0, 0.0)
) -> Whole:
    """Return the number of the square block that each point lies in, counted from 0.

    Parameters
    ----------
    x_m, y_m
        Points (n,), projected m, no NaN.
    size_m
        Side of a block, m.
    shift
        Offset of the grid as shares of a block.

    Examples
    --------
    >>> block_ids(np.array([1.0, 9.0, 11.0]), np.zeros(3), size_m=10.0).tolist()
    [0, 0, 1]
    """
    columns = np.floor(x_m / size_m + shift[0]).astype(np.int64)
    rows = np.floor(y_m / size_m + shift[1]).astype(np.int64)
    _, ids = np.unique(np.stack([columns, rows], axis=1), axis=0, return_inverse=True)
    return np.asarray(ids.ravel(), dtype=np.int64)


@dataclass(frozen=True)
class Fold:
    """Rows to learn from and rows to test on, of one repeat."""

    repeat: int
    train: Whole
    test: Whole


def block_folds(
    x_m: Floats,
    y_m: Floats,
    failed: Floats,
    *,
    size_m: float,
    buffer_m: float,
    folds: int,
    repeats: int,
    seed: int,
) -> Iterator[Fold]:
    """Folds of whole blocks; each repeat moves the grid and assigns the blocks again.

    Blocks are assigned so that failures spread evenly over folds.

    Parameters
    ----------
    x_m, y_m
        Visited systems (n,), projected m.
    failed
        1 failed, 0 sound (n,).
    size_m
        Side of a block, m.
    buffer_m
        Points within this distance of a test point are not learned from, m.
    folds, repeats
        Folds per repeat, and how many repeats.
    seed
        Of the grid's offsets and the assignment.

    Yields
    ------
    Fold
        Rows to learn from and to test on; a fold that is empty or holds all rows is left out.
    """
    points = np.stack([x_m, y_m], axis=1)
    rng = np.random.default_rng(seed)
    for repeat in range(repeats):
        shift = tuple(rng.random(2)) if repeat else (0.0, 0.0)
        ids = block_ids(x_m, y_m, size_m=size_m, shift=shift)
        fold = _deal(ids, failed, folds, rng)
        for number in range(folds):
            test = np.flatnonzero(fold == number)
            if len(test) and len(test) < len(fold):
                yield Fold(repeat, _outside(points, test, buffer_m), test)


def random_folds(rows: int, *, folds: int, seed: int) -> Iterator[Fold]:
    """Folds of single rows at random, to show how much better figures look without blocks.

    Parameters
    ----------
    rows
        Number of rows.
    folds
        Number of folds.
    seed
        Of the permutation.
    """
    fold = np.random.default_rng(seed).permutation(rows) % folds
    for number in range(folds):
        yield Fold(0, np.flatnonzero(fold != number), np.flatnonzero(fold == number))


def _deal(ids: Whole, failed: Floats, folds: int, rng: np.random.Generator) -> Whole:
    """Assign blocks to folds, those with most failures first, always to the emptiest fold."""
    blocks = int(ids.max()) + 1
    rows = np.bincount(ids, minlength=blocks)
    burden = np.bincount(ids, weights=failed, minlength=blocks) + rows / max(rows.sum(), 1)
    order = np.lexsort((rng.random(blocks), -burden))
    load = np.zeros(folds)
    dealt = np.empty(blocks, dtype=np.int64)
    for block in order:
        emptiest = int(np.argmin(load))
        dealt[block] = emptiest
        load[emptiest] += burden[block]
    return np.asarray(dealt[ids])


def _outside(points: Floats, test: Whole, buffer_m: float) -> Whole:
    rest = np.setdiff1d(np.arange(len(points)), test)
    away, _ = cKDTree(points[test]).query(points[rest])
    return rest[away > buffer_m]
