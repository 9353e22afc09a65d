"""Smooth one-to-one distortions: straight surveyors' layouts in, believable curved ones out.

Lots are laid out as straight lattices and then bent. A one-to-one map cannot make two lots overlap.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from sample_region.dice import dice
from sample_region.plan import TILE_M, Floats

WAVES: Final = ((120.0, 6400.0), (80.0, 4100.0), (34.0, 2300.0))
"""Amplitude and length of each wave, m; the sum of 2 pi a / l stays below 0.4, so no fold."""


class Bend:
    """The county-wide distortion of the survey grid."""

    def __init__(self, seed: int) -> None:
        rng = dice(seed, "bend")
        self._angle = rng.uniform(0, np.pi, (len(WAVES), 2))
        self._phase = rng.uniform(0, 2 * np.pi, (len(WAVES), 2))

    def __call__(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Move points of the straight layout to where they lie on the ground."""
        moves = [np.zeros_like(x), np.zeros_like(y)]
        for k, (height, length) in enumerate(WAVES):
            for axis in (0, 1):
                angle = self._angle[k, axis]
                along = x * np.cos(angle) + y * np.sin(angle)
                moves[axis] += height * np.sin(2 * np.pi * along / length + self._phase[k, axis])
        return x + moves[0], y + moves[1]


def ripple(u: Floats, v: Floats, shape: Floats) -> tuple[Floats, Floats]:
    """Bend the streets inside one tile; nothing moves at the tile's edge.

    Parameters
    ----------
    u, v
        Points within the tile, 0 to :data:`TILE_M`, m.
    shape
        Last axis of four: height (m) and phase (radians) of the waves along u and along v.
    """
    window = 16 * (u * (TILE_M - u)) ** 2 * (v * (TILE_M - v)) ** 2 * 16 / TILE_M**8
    window = np.sqrt(np.clip(window, 0, None))
    du = shape[..., 0] * np.sin(2 * np.pi * v / TILE_M + shape[..., 1]) * window
    dv = shape[..., 2] * np.sin(2 * np.pi * 1.2 * u / TILE_M + shape[..., 3]) * window
    return u + du, v + dv
