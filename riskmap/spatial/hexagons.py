"""Hexagons over places: which hexagon holds each place, and which hexagons touch.

Upright hexagons in axial coordinates; common knowledge of plane geometry, no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from riskmap.contract.arrays import Floats, Whole

_HALF_OF_NEIGHBORS = ((1, 0), (0, 1), (-1, 1))


def hexagon_of(x_m: ArrayLike, y_m: ArrayLike, *, across_m: float) -> Whole:
    """Axial coordinates (n, 2) of the hexagon that holds each place: steps east and north-east.

    A middle lies at ``across_m * (q + r / 2, r * sqrt(3) / 2)``; the hexagon, a corner up, holds
    what is nearest to it.

    Parameters
    ----------
    x_m, y_m
        Finite places (n,).
    across_m
        Distance between opposite sides, which is that between middles of neighbors.

    Raises
    ------
    ValueError
        If a place is not finite or the hexagons have no size.

    >>> hexagon_of([0, 990, 510], [0, 0, 860], across_m=1000).tolist()
    [[0, 0], [1, 0], [0, 1]]
    """
    x, y = np.asarray(x_m, float), np.asarray(y_m, float)
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError("x_m and y_m must be finite")
    if not across_m > 0:
        raise ValueError("across_m must be above zero")
    r = y / across_m * 2.0 / np.sqrt(3.0)
    q = x / across_m - r / 2.0
    s = -q - r
    whole = np.round(np.stack([q, r, s]))
    off = np.abs(whole - np.stack([q, r, s]))
    q_worst = (off[0] > off[1]) & (off[0] > off[2])
    r_worst = ~q_worst & (off[1] > off[2])
    first = np.where(q_worst, -whole[1] - whole[2], whole[0])
    second = np.where(r_worst, -whole[0] - whole[2], whole[1])
    return np.stack([first, second], axis=-1).astype(np.int64)


def middles_of(hexagons: ArrayLike, *, across_m: float) -> Floats:
    """Middles (n, 2) of hexagons (n, 2), m."""
    q, r = np.asarray(hexagons, float).reshape(-1, 2).T
    return np.column_stack([across_m * (q + r / 2.0), across_m * r * np.sqrt(3.0) / 2.0])


def corners_of(hexagons: ArrayLike, *, across_m: float) -> Floats:
    """Corners (n, 6, 2) of hexagons (n, 2), m, anticlockwise from the one at the lower right."""
    turn = np.deg2rad(np.arange(-30, 330, 60))
    arm = across_m / np.sqrt(3.0) * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    return np.asarray(middles_of(hexagons, across_m=across_m)[:, None, :] + arm, float)


def touching(hexagons: Whole) -> tuple[Whole, Whole]:
    """Pairs of positions, each pair once, of distinct hexagons (n, 2) that share a side."""
    span = np.int64(2 * (int(np.abs(hexagons).max(initial=0)) + 2))
    keys = hexagons[:, 0] * span + hexagons[:, 1]
    order = np.argsort(keys, kind="stable")
    found = []
    for step_q, step_r in _HALF_OF_NEIGHBORS:
        sought = keys + step_q * span + step_r
        place = np.minimum(np.searchsorted(keys[order], sought), len(keys) - 1)
        hit = np.flatnonzero(keys[order][place] == sought) if len(keys) else np.empty(0, np.int64)
        found.append(np.stack([hit, order[place[hit]]]))
    first, second = np.concatenate(found, axis=1).astype(np.int64)
    return first, second
