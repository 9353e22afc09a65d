"""Hexagons over places: which hexagon holds each place, and which hexagons touch.

Upright hexagons in axial coordinates; common knowledge of plane geometry, no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.arrays import Whole

_HALF_OF_NEIGHBORS = ((1, 0), (0, 1), (-1, 1))


def hexagon_of(x_m: ArrayLike, y_m: ArrayLike, *, across_m: float) -> Whole:
    """Axial coordinates (n, 2) of the hexagon that holds each place.

    Parameters
    ----------
    x_m, y_m
        Finite places (n,).
    across_m
        Distance between opposite sides, which is that between middles of neighbors.
    """
    x, y = np.asarray(x_m, float) / across_m, np.asarray(y_m, float) / across_m
    r = y * 2.0 / np.sqrt(3.0)
    q = x - r / 2.0
    s = -q - r
    whole = np.round(np.stack([q, r, s]))
    off = np.abs(whole - np.stack([q, r, s]))
    q_worst = (off[0] > off[1]) & (off[0] > off[2])
    r_worst = ~q_worst & (off[1] > off[2])
    first = np.where(q_worst, -whole[1] - whole[2], whole[0])
    second = np.where(r_worst, -whole[0] - whole[2], whole[1])
    return np.stack([first, second], axis=-1).astype(np.int64)


def middle_of(hexagons: ArrayLike, *, across_m: float) -> tuple[NDArray[np.float64], ...]:
    """Easting and northing of the hexagons' middles (n,), m."""
    q, r = np.asarray(hexagons, float).reshape(-1, 2).T
    return across_m * (q + r / 2.0), across_m * r * np.sqrt(3.0) / 2.0


def touching(hexagons: Whole) -> tuple[Whole, Whole]:
    """Pairs of positions, each pair once, of distinct hexagons (n, 2) that share a side."""
    span = np.int64(2 * (int(np.abs(hexagons).max(initial=0)) + 2))
    keys = hexagons[:, 0] * span + hexagons[:, 1]
    order = np.argsort(keys, kind="stable")
    found = []
    for step_q, step_r in _HALF_OF_NEIGHBORS:
        wanted = keys + step_q * span + step_r
        place = np.minimum(np.searchsorted(keys[order], wanted), len(keys) - 1)
        hit = np.flatnonzero(keys[order][place] == wanted) if len(keys) else np.empty(0, np.int64)
        found.append(np.stack([hit, order[place[hit]]]))
    first, second = np.concatenate(found, axis=1).astype(np.int64)
    return first, second
