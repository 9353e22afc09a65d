"""A slab of solute blurred by dispersion, and its mean over a window, in one dimension.

A uniform slab from ``low`` to ``high`` that holds one unit, spread by a normal distribution of
standard deviation ``sigma``, has the density [F((x-low)/sigma) - F((x-high)/sigma)]/(high-low).
Its mean over a window is a difference of four integrals of F. These are the lateral and vertical
factors of the steady plume (Domenico 1987, J. Hydrol. 91:49-58), scaled to hold one unit.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from riskmap.contract.arrays import Floats

IMAGES: Final = 4
"""Reflections kept on each side of a bounded layer."""
MIXED_SIGMA: Final = 1.5
"""A spread this many layer thicknesses wide is mixed through (error below 2e-5)."""
NARROW: Final = 0.2
"""A window narrower than this many spreads is averaged by Simpson's rule."""


def density(x: ArrayLike, low: ArrayLike, high: ArrayLike, sigma: ArrayLike) -> Floats:
    """Density, per unit length, of a blurred slab at ``x``.

    Parameters
    ----------
    x
        Where the density is asked for, m; the arguments broadcast.
    low, high
        Slab before it spreads, m; ``high`` above ``low``.
    sigma
        Spread, one standard deviation, m; 0 is taken as 1e-9.
    """
    x, low, high = np.asarray(x, float), np.asarray(low, float), np.asarray(high, float)
    spread = np.maximum(np.asarray(sigma, float), 1e-9)
    part = ndtr((x - low) / spread) - ndtr((x - high) / spread)
    return np.asarray(part / (high - low), float)


def _integral(z: Floats) -> Floats:
    """Integral of the standard normal distribution function from minus infinity to ``z``."""
    return np.asarray(z * ndtr(z) + np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi), float)


def window_mean(
    lower: ArrayLike, upper: ArrayLike, low: ArrayLike, high: ArrayLike, sigma: ArrayLike
) -> Floats:
    """Mean density of a blurred slab over the window ``lower..upper``.

    Narrow windows use Simpson's rule (relative error below 1e-6), wide ones the exact integral.

    Parameters
    ----------
    lower, upper
        Ends of the window, m; equal ends give the density at the point.
    low, high, sigma
        As in :func:`density`.

    Returns
    -------
    ndarray
        1/m.
    """
    lower, upper = np.asarray(lower, float), np.asarray(upper, float)
    low, high = np.asarray(low, float), np.asarray(high, float)
    spread = np.maximum(np.asarray(sigma, float), 1e-9)
    width = upper - lower
    middle = 0.5 * (lower + upper)
    ends = density(lower, low, high, spread) + density(upper, low, high, spread)
    simple = (ends + 4 * density(middle, low, high, spread)) / 6
    total = (
        _integral((upper - low) / spread) - _integral((lower - low) / spread)
        - _integral((upper - high) / spread) + _integral((lower - high) / spread)
    )  # fmt: skip
    safe = np.where(width > 0, width, 1.0)
    exact = spread * total / (high - low) / safe
    return np.where(width < NARROW * spread, simple, np.maximum(exact, 0.0))


def layer_mean(
    lower: ArrayLike,
    upper: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    sigma: ArrayLike,
    *,
    thickness: float = np.inf,
) -> Floats:
    """Mean over a depth window of a slab that cannot leave its layer.

    The water table (0) and the bottom (``thickness``) reflect; a slab that starts at the water
    table then gives the water-table form of the published solution.

    Parameters
    ----------
    lower, upper
        Window below the water table, m.
    low, high, sigma
        As in :func:`density`, as depths below the water table.
    thickness
        Of the layer, m; inf: only the water table reflects.

    Returns
    -------
    ndarray
        1/m; 1 / thickness once the slab is mixed through the layer.
    """
    if not np.isfinite(thickness):
        above = window_mean(lower, upper, -np.asarray(high, float), -np.asarray(low, float), sigma)
        return window_mean(lower, upper, low, high, sigma) + above
    low, high = np.asarray(low, float), np.asarray(high, float)
    total = np.zeros(np.broadcast_shapes(*(np.shape(a) for a in (lower, upper, low, sigma))))
    for image in range(-IMAGES, IMAGES + 1):
        shift = 2 * image * thickness
        total = total + window_mean(lower, upper, low + shift, high + shift, sigma)
        total = total + window_mean(lower, upper, shift - high, shift - low, sigma)
    return np.where(np.asarray(sigma) > MIXED_SIGMA * thickness, 1.0 / thickness, total)
