"""Places far from all others, and the parts of a county that hold any."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy import ndimage
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from riskmap.contract.arrays import Flags

APART_M: Final = 20_000.0
"""Least distance between groups of places (own choice: no county has so wide a gap in its lots, but
for islands)."""
FEW_FRAC: Final = 0.01
"""Groups with no more than this share of the places are far from the rest; larger ones are parts of
the county (own choice)."""


def far_from_rest(x_m: ArrayLike, y_m: ArrayLike) -> Flags:
    """Flag places in small groups at least :data:`APART_M` from all others, (n,).

    Places are gathered on squares of half that distance; squares less than three apart belong
    together. A place without coordinates is not flagged.

    >>> x = np.append(np.linspace(0, 30_000, 300), 130_000.0)
    >>> np.flatnonzero(far_from_rest(x, np.zeros(301))).tolist()
    [300]
    """
    places = np.column_stack([np.asarray(x_m, float), np.asarray(y_m, float)])
    known = np.isfinite(places).all(axis=1)
    far = np.zeros(len(places), bool)
    if not known.any():
        return far
    squares, own = np.unique(np.floor(places[known] / (APART_M / 2)), axis=0, return_inverse=True)
    near = cKDTree(squares).sparse_distance_matrix(cKDTree(squares), 2.5, p=np.inf)
    _, group = connected_components(near, directed=False)
    held = np.bincount(group[own.ravel()])
    far[known] = (held <= FEW_FRAC * known.sum())[group[own.ravel()]]
    return far


def boxes_around(used: Flags) -> list[tuple[slice, slice]]:
    """Boxes (rows, columns) around the groups of used cells, which lie apart from each other.

    Cells that touch, corners included, are of one group; boxes that touch are put together.

    >>> boxes_around(np.array([[1, 1, 0, 0, 0], [0, 0, 0, 0, 1]], bool))
    [(slice(0, 1, None), slice(0, 2, None)), (slice(1, 2, None), slice(4, 5, None))]
    """
    filled, count = used.copy(), -1
    while True:
        groups, found = ndimage.label(filled, structure=np.ones((3, 3)))
        if found == count:
            return [(rows, columns) for rows, columns in ndimage.find_objects(groups)]
        count = found
        for box in ndimage.find_objects(groups):
            filled[box] = True
