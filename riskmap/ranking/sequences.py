"""Number sequences behind the draws: even points, keyed random bits, the normal quantile."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri
from scipy.stats import qmc

from riskmap.contract.arrays import Floats
from riskmap.contract.compiled import compiled

Order = npt.NDArray[np.int64]


def sobol(draws: int, factors: int, seed: int) -> Floats:
    """Scrambled Sobol points, shape (factors, draws); best where `draws` is a power of two.

    Parameters
    ----------
    draws, factors
        Points, and dimensions of each.
    seed
        Of the scrambling.

    Returns
    -------
    ndarray
        Inside 0 and 1.
    """
    sampler = qmc.Sobol(max(factors, 1), scramble=True, rng=np.random.default_rng(seed))
    points = sampler.random_base2(math.ceil(math.log2(max(draws, 2))))[:draws]
    return np.ascontiguousarray(points.T[:factors])


def normal_draws(draws: int, factors: int, seed: int) -> Floats:
    """Draw standard normals that the whole county shares, shape (factors, draws).

    Parameters
    ----------
    draws, factors, seed
        As in :func:`sobol`.
    """
    points = sobol(draws, factors, seed)
    return np.asarray(ndtri(np.clip(points, 1e-9, 1 - 1e-9)))


@compiled
def mix(number: np.uint64) -> np.uint64:
    """Scramble 64 bits; the finaliser of SplitMix64 (Steele, Lea and Flood 2014)."""
    z = number + np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))


def angles(keys: npt.NDArray[np.uint64], streams: int, seed: int) -> Floats:
    """Uniform numbers from the keys and the seed alone.

    Parameters
    ----------
    keys
        Key of each parcel (n,).
    streams
        Numbers for each key.
    seed
        Shared by all keys.

    Returns
    -------
    ndarray
        (n, streams), from 0 up to but not including 1.

    Examples
    --------
    >>> keys = np.array([7, 8], np.uint64)
    >>> bool((angles(keys, 3, 1)[1] == angles(keys[1:], 3, 1)[0]).all())
    True
    """
    out = np.empty((len(keys), streams))
    _fill_angles(np.ascontiguousarray(keys, np.uint64), np.uint64(seed), out)
    return out


@compiled
def uniform(number: np.uint64) -> float:
    """Turn 64 random bits into a number in [0, 1)."""
    return float(number >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@compiled
def shuffle(order: Order, key: np.uint64) -> None:
    """Put ``0 .. d-1`` into `order`, shuffled by `key` (Fisher and Yates)."""
    for index in range(order.size):
        order[index] = index
    state = key
    for last in range(order.size - 1, 0, -1):
        state = mix(state)
        other = int(uniform(state) * (last + 1))
        order[last], order[other] = order[other], order[last]


@compiled
def normal_quantile(p: float) -> float:
    """Inverse of the standard normal distribution, to about 1e-7 (Wichura 1988, AS 241)."""
    q = p - 0.5
    if abs(q) <= 0.425:
        r = 0.180625 - q * q
        top = ((59.109374720 * r + 159.29113202) * r + 50.434271938) * r + 3.3871327179
        return q * top / (((67.187563600 * r + 78.757757664) * r + 17.895169469) * r + 1.0)
    tail = min(max(p if q < 0 else 1.0 - p, 1e-15), 1.0)
    r = math.sqrt(-math.log(tail))
    if r <= 5.0:
        r -= 1.6
        top = ((0.17023821103 * r + 1.3067284816) * r + 2.7568153900) * r + 1.4234372777
        size = top / ((0.12021132975 * r + 0.73700164250) * r + 1.0)
    else:
        r -= 5.0
        top = ((0.017337203997 * r + 0.42868294337) * r + 3.0812263860) * r + 6.6579051150
        size = top / ((0.012258202635 * r + 0.24197894225) * r + 1.0)
    return -size if q < 0 else size


@compiled
def _fill_angles(keys: npt.NDArray[np.uint64], seed: np.uint64, out: Floats) -> None:
    for row in range(out.shape[0]):
        for stream in range(out.shape[1]):
            turned = mix(keys[row] ^ mix(np.uint64(stream)))
            out[row, stream] = uniform(mix(turned + seed))
