"""Filtered random fields: hills, mixtures of parent material, patches of farmland."""

from __future__ import annotations

import numpy as np
from scipy import fft

from sample_region.plan import Floats


def fractal_field(
    shape: tuple[int, int],
    *,
    cell_m: float,
    longest_m: float,
    slope: float,
    rng: np.random.Generator,
) -> Floats:
    """Return a random field of mean 0 and standard deviation 1.

    Power falls with frequency as ``f ** -slope`` for waves shorter than `longest_m` and is flat
    above (Voss, in: The Science of Fractal Images, 1988: spectral synthesis).

    Parameters
    ----------
    shape
        Rows, columns.
    cell_m
        Side of a cell, m.
    longest_m
        Longest wave whose power falls, m.
    slope
        Exponent; larger is smoother.
    rng
        Random numbers.
    """
    padded = [fft.next_fast_len(n + n // 4 + 8, real=True) for n in shape]
    spectrum = fft.rfft2(rng.standard_normal(padded))
    fy = fft.fftfreq(padded[0], cell_m)[:, None]
    fx = fft.rfftfreq(padded[1], cell_m)[None, :]
    knee = 1.0 / longest_m
    spectrum *= (1.0 + (fx**2 + fy**2) / knee**2) ** (-slope / 4)
    field = fft.irfft2(spectrum, s=padded)[: shape[0], : shape[1]]
    return np.asarray((field - field.mean()) / field.std(), dtype=np.float64)


def smooth_step(value: Floats, low: float, high: float) -> Floats:
    """Rise smoothly from 0 at `low` to 1 at `high`.

    Parameters
    ----------
    value
        Any shape.
    low, high
        Where the rise begins and ends, in the unit of `value`; `low` below `high`.

    Examples
    --------
    >>> smooth_step(np.array([0.0, 1.0, 2.0]), 0.0, 2.0).tolist()
    [0.0, 0.5, 1.0]
    """
    t = np.clip((value - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3 - 2 * t), dtype=np.float64)
