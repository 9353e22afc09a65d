"""Nitrate of every well as a distribution: what is known of wells, then what samples teach.

A well's nitrate is taken as a background, which falls with depth and varies from place to place,
and what the systems around are expected to add (:mod:`riskmap.groundwater.exposure`); a share of
the water comes down along the casing from the top. The numbers in that sum (:data:`PRIORS`) are not
known; each has a prior. About the logarithm of the sum lies what wells near each other share, and
what is each well's own. With the sum drawn as a straight line in its numbers near their best values
this is a Gaussian process (Rasmussen and Williams 2006, Gaussian Processes for Machine Learning,
ch. 2; from memory). Without samples it says what the priors say; each sample moves it a little,
nearby wells most. What neighbors share fades with distance by the Matern form of order 3/2; its
size, its reach and the wells' own spread are learned too, again with priors. A result below the
laboratory's limit counts as what it is: somewhere below (:mod:`riskmap.groundwater.censored`).

Counties with many sampled wells are cut into parts of at most :data:`MOST_SAMPLED`, each learned
alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.linalg import LinAlgError, cho_factor, cho_solve
from scipy.optimize import minimize
from scipy.spatial.distance import cdist
from threadpoolctl import ThreadpoolController  # type: ignore[import-untyped]

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.settings import JUDGED
from riskmap.groundwater.censored import Results, pseudo_values
from riskmap.groundwater.settings import GroundwaterSettings


class Prior(NamedTuple):
    """Normal prior of a number: middle, standard deviation, and where they come from."""

    middle: float
    sd: float
    source: str


BACKGROUND: Final = {
    "level": Prior(
        0.0, 1.2,
        "about the background of the settings; with the other spreads 3 to 4% of wells lie above "
        "10 mg/L, as 4.4% of 2,167 domestic wells of the United States did (DeSimone 2009, USGS "
        "SIR 2008-5227; from memory)",
    ),
    "log_depth": Prior(
        -0.3, 0.3,
        "nitrate falls with depth below the water table (Nolan and Hitt 2006, Environ. Sci. "
        f"Technol. 40:7834-7840, for its sign; from memory); size: {JUDGED}",
    ),
    "dug": Prior(0.3, 0.4, f"dug wells fare worse: common practice, no source; size: {JUDGED}"),
    "age": Prior(0.0, 0.15, JUDGED),
    "farmed": Prior(
        0.3, 0.4,
        f"nitrate is higher under farmed land (Nolan and Hitt 2006, from memory); size: {JUDGED}",
    ),
}  # fmt: skip
"""What is known of a well -> its effect on the logarithm of the background."""
PRIORS: Final = {
    **BACKGROUND,
    "systems": Prior(
        0.0, 0.7, f"logarithm of the factor by which the expected addition is off; {JUDGED}"
    ),
    "casing": Prior(
        float(np.log(0.05)), 0.8,
        f"logarithm of the share of a well's water that comes from the top; {JUDGED}",
    ),
}  # fmt: skip
"""All numbers of the sum."""

SPREADS: Final = {"shared": (0.7, 0.5), "reach_m": (1000.0, 0.7), "own": (0.7, 0.5)}
"""Middle, and standard deviation of the logarithm, of the prior of: what neighbors share (its
standard deviation), how far that reaches, and what is each well's own (assumption of this project).
"""
POOLS: Final = ThreadpoolController()
MOST_SAMPLED: Final = 1200
TUNED_ON: Final = 350
"""Sampled wells, a choice at random of more, on which the spreads are learned."""
ROUNDS: Final = 3
FARTHEST_SD: Final = 3.0
"""Standard deviations of its prior that a number may move when the sum is drawn as a line."""
MOST_CASING_FRAC: Final = 0.5
MIDDLE_DEPTH_M: Final = 20.0
LEAST_DEPTH_M: Final = 2.0
MIDDLE_AGE_YR: Final = (30.0, 20.0)


@dataclass(frozen=True)
class Nitrate:
    """Distribution of the logarithm of nitrate (mg/L as N) of each well, without its own samples.

    ``mean`` and ``sd`` (w,): of what a sample taken now would show; NaN without a place.
    ``samples`` (w,): sampled wells, others than itself, that it was learned from.
    """

    mean: Floats
    sd: Floats
    samples: Whole


class Known(NamedTuple):
    """What is known of wells.

    ``background``: columns of :data:`BACKGROUND` (w, k). ``at_screen_mg_l``, ``on_top_mg_l``: what
    systems are expected to add at the screen and in the uppermost water (w,), mg/L as N.
    """

    background: Floats
    at_screen_mg_l: Floats
    on_top_mg_l: Floats

    def of(self, rows: Whole) -> Known:
        """Of some wells."""
        return Known(*(part[rows] for part in self))


def known_of_wells(wells: pd.DataFrame, *, depth_m: Floats) -> Known:
    """Gather what is known of wells; what is not known counts as the usual.

    Parameters
    ----------
    wells
        ``expected_at_screen_mg_l``, ``expected_on_top_mg_l``; optional ``dug``, ``age_yr``,
        ``farmed_frac``; (w,) rows.
    depth_m
        Depth of each well's bottom below the water table (w,), m.
    """

    def of(name: str, usual: float = 0.0) -> Floats:
        if name not in wells:
            return np.full(len(wells), usual)
        value: Floats = wells[name].to_numpy(float, na_value=np.nan)
        return np.where(np.isnan(value), usual, value)

    depth = np.maximum(np.nan_to_num(depth_m, nan=MIDDLE_DEPTH_M), LEAST_DEPTH_M)
    age, spread = MIDDLE_AGE_YR
    columns = {
        "level": np.ones(len(wells)),
        "log_depth": np.log(depth / MIDDLE_DEPTH_M),
        "dug": of("dug"),
        "age": np.clip((of("age_yr", age) - age) / spread, -2.0, 3.0),
        "farmed": of("farmed_frac"),
    }
    return Known(
        np.column_stack([columns[name] for name in BACKGROUND]),
        of("expected_at_screen_mg_l"),
        of("expected_on_top_mg_l"),
    )


def expected_log(
    known: Known, numbers: Floats, water: GroundwaterSettings
) -> tuple[Floats, Floats]:
    """Logarithm of the sum, and how it changes with each number.

    Parameters
    ----------
    known
        Of the wells.
    numbers
        In the order of :data:`PRIORS`.
    water
        Background, and the strength of effluent, which overlapping plumes cannot pass.

    Returns
    -------
    (w,), and (w, numbers).
    """
    split = len(BACKGROUND)
    factor, casing = np.exp(numbers[split]), np.exp(numbers[split + 1])
    share = min(float(casing), MOST_CASING_FRAC)
    moves = share if casing < MOST_CASING_FRAC else 0.0
    ground = max(water.background_mg_l, 1e-3) * np.exp(known.background @ numbers[:split])
    mixed = known.at_screen_mg_l + share * (known.on_top_mg_l - known.at_screen_mg_l)
    undimmed = np.exp(-factor * mixed / water.effluent_mg_l)
    added = water.effluent_mg_l * (1.0 - undimmed)
    total = ground + added
    slopes = np.column_stack(
        [
            known.background * (ground / total)[:, None],
            factor * mixed * undimmed / total,
            factor * moves * (known.on_top_mg_l - known.at_screen_mg_l) * undimmed / total,
        ]
    )
    return np.log(total), slopes


def shared_frac(first: Floats, second: Floats, reach_m: float) -> Floats:
    """Share of the common part that places (n, 2) and (m, 2) have together: Matern, order 3/2."""
    scaled = np.sqrt(3.0) * cdist(first, second) / reach_m
    return np.asarray((1.0 + scaled) * np.exp(-scaled), float)


class _Part(NamedTuple):
    """Wells of a part: slopes by number, place, mean before any sample (the sum as a line)."""

    known: Floats
    place: Floats
    mean: Floats

    def of(self, rows: Whole) -> _Part:
        return _Part(self.known[rows], self.place[rows], self.mean[rows])


def _prior_middle() -> Floats:
    return np.array([prior.middle for prior in PRIORS.values()])


def _prior_sd() -> Floats:
    return np.array([prior.sd for prior in PRIORS.values()])


def _line(known: Known, place: Floats, numbers: Floats, water: GroundwaterSettings) -> _Part:
    """Draw the sum as a line through some numbers."""
    middle, slopes = expected_log(known, numbers, water)
    return _Part(slopes, place, middle + slopes @ (_prior_middle() - numbers))


def _between(first: _Part, second: _Part, spreads: Floats) -> Floats:
    """Covariance of what wells of two sets share, without what is each well's own."""
    shared, reach = np.exp(spreads[:2])
    effects = (first.known * _prior_sd() ** 2) @ second.known.T
    together = shared**2 * shared_frac(first.place, second.place, float(reach))
    return np.asarray(effects + together, np.float64)


def _alone(part: _Part, spreads: Floats) -> Floats:
    """Variance of each well before any sample."""
    shared, _, own = np.exp(spreads)
    return np.asarray((part.known**2) @ _prior_sd() ** 2 + shared**2 + own**2, float)


def _covariance(part: _Part, spreads: Floats) -> Floats:
    found = _between(part, part, spreads)
    found[np.diag_indices_from(found)] = _alone(part, spreads)
    return found


def _prior_spreads() -> tuple[Floats, Floats]:
    middle, sd = np.array(list(SPREADS.values()), np.float64).T
    return np.asarray(np.log(middle), np.float64), np.asarray(sd, np.float64)


def _tuned(part: _Part, value: Floats, variance: Floats, spreads: Floats) -> Floats:
    """Spreads of the highest posterior, given values (n,) with normal errors."""
    middle, sd = _prior_spreads()
    effects = (part.known * _prior_sd() ** 2) @ part.known.T
    distance, off = cdist(part.place, part.place), value - part.mean

    def cost(at: Floats) -> float:
        shared, reach, own = np.exp(at)
        scaled = np.sqrt(3.0) / reach * distance
        matrix = effects + shared**2 * (1.0 + scaled) * np.exp(-scaled)
        matrix[np.diag_indices_from(matrix)] += own**2 + variance
        try:
            factor = cho_factor(matrix, lower=True, overwrite_a=True, check_finite=False)
        except LinAlgError:
            return 1e12
        fit = 0.5 * off @ cho_solve(factor, off, check_finite=False)
        volume = np.log(np.diag(factor[0])).sum()
        return float(fit + volume + 0.5 * (((at - middle) / sd) ** 2).sum())

    bounds = list(zip(middle - 4 * sd, middle + 4 * sd, strict=True))
    options: dict[str, Any] = {"maxiter": 15, "ftol": 1e-6}
    found = minimize(cost, spreads.copy(), method="L-BFGS-B", bounds=bounds, options=options)  # type: ignore[call-overload]
    return np.array(found.x, np.float64)


def _learned(
    known: Known, place: Floats, results: Results, water: GroundwaterSettings, seed: int
) -> tuple[Floats, Floats, Floats, Floats]:
    """Numbers, spreads, and the samples of each well as one value with a normal error."""
    spreads, numbers = _prior_spreads()[0], _prior_middle()
    pick = np.arange(len(place))
    if len(pick) > TUNED_ON:
        pick = np.sort(np.random.default_rng(seed).choice(pick, TUNED_ON, replace=False))
    for _ in range(ROUNDS):
        part = _line(known, place, numbers, water)
        value, variance = pseudo_values(_covariance(part, spreads), part.mean, results)
        spreads = _tuned(part.of(pick), value[pick], variance[pick], spreads)
        matrix = _covariance(part, spreads)
        matrix[np.diag_indices_from(matrix)] += variance
        off = cho_solve(cho_factor(matrix, lower=True), value - part.mean)
        far = FARTHEST_SD * _prior_sd()
        numbers = _prior_middle() + np.clip(_prior_sd() ** 2 * (part.known.T @ off), -far, far)
    part = _line(known, place, numbers, water)
    return numbers, spreads, *pseudo_values(_covariance(part, spreads), part.mean, results)


def _predicted(
    known: Known, place: Floats, sampled: Whole, results: Results, water: GroundwaterSettings,
    seed: int,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Mean and variance of each well of a part; a sampled one without its own samples."""
    numbers, spreads, value, variance = _learned(
        known.of(sampled), place[sampled], results, water, seed
    )
    wells = _line(known, place, numbers, water)
    part = wells.of(sampled)
    matrix = _covariance(part, spreads)
    matrix[np.diag_indices_from(matrix)] += variance
    inverse = cho_solve(cho_factor(matrix, lower=True), np.eye(len(matrix)))
    weighed, diagonal = inverse @ (value - part.mean), np.diag(inverse)
    mean, spread = np.empty(len(place)), np.empty(len(place))
    mean[sampled] = value - weighed / diagonal
    spread[sampled] = 1.0 / diagonal - variance
    rest = np.setdiff1d(np.arange(len(mean)), sampled)
    others = wells.of(rest)
    across = _between(others, part, spreads)
    mean[rest] = others.mean + across @ weighed
    spread[rest] = _alone(others, spreads) - np.einsum("ij,ij->i", across @ inverse, across)
    return mean, spread


def _before_samples(known: Known, line: _Part) -> Floats:
    """Variance of each well without samples: never below that of the background alone.

    What systems add comes on top of the background, so that it cannot make a high value less
    likely; a line, which is less steep in the background where systems add much, would say so.
    """
    nothing = np.zeros((len(line.mean), len(PRIORS) - len(BACKGROUND)))
    ground = line._replace(known=np.column_stack([known.background, nothing]))
    spreads, _ = _prior_spreads()
    return np.maximum(_alone(line, spreads), _alone(ground, spreads))


def parts_of(place: Floats, sampled: ArrayLike, *, most: int = MOST_SAMPLED) -> list[Whole]:
    """Cut wells into parts that hold at most so many sampled ones, halving the longer side.

    Parameters
    ----------
    place
        Wells (w, 2), m.
    sampled
        Whether each has a sample (w,).
    most
        Sampled wells in a part.
    """
    has = np.asarray(sampled, bool)
    waiting, done = [np.arange(len(place))], []
    while waiting:
        rows = waiting.pop()
        inside = rows[has[rows]]
        if len(inside) <= most or not np.ptp(place[inside], axis=0).any():
            done.append(rows)
            continue
        axis = int(np.argmax(np.ptp(place[inside], axis=0)))
        low = place[rows, axis] <= np.median(place[inside, axis])
        if has[rows[low]].sum() == len(inside):
            low = place[rows, axis] < np.median(place[inside, axis])
        waiting += [rows[~low], rows[low]]
    return done


def predict_nitrate(
    known: Known,
    x_m: ArrayLike,
    y_m: ArrayLike,
    results: Results,
    *,
    water: GroundwaterSettings,
    seed: int,
) -> Nitrate:
    """Predict the nitrate of every well from what is known and from samples of other wells.

    Parameters
    ----------
    known
        From :func:`known_of_wells`, (w,) wells.
    x_m, y_m
        Places (w,), m; NaN: nothing is predicted.
    results
        Samples, by row of the wells; those of a well without a place are not used.
    water
        Background and strength of effluent.
    seed
        For the choice of wells on which spreads are learned, where there are many.
    """
    places = np.column_stack([np.asarray(x_m, float), np.asarray(y_m, float)])
    count, placed = len(places), np.isfinite(places).all(axis=1)
    before = _line(known, places, _prior_middle(), water)
    mean, variance = before.mean.copy(), _before_samples(known, before)
    used, sampled = np.zeros(count, np.int64), np.zeros(count, bool)
    sampled[results.well] = True
    sampled &= placed
    here = np.flatnonzero(placed)
    for rows in (here[part] for part in parts_of(places[here], sampled[here])):
        inside = np.flatnonzero(sampled[rows])
        if len(inside):
            own = results.of(rows[inside])
            with POOLS.limit(limits=1):  # matrices of this size are slower on many threads
                mean[rows], variance[rows] = _predicted(
                    known.of(rows), places[rows], inside, own, water, seed
                )
            used[rows] = len(inside) - sampled[rows]
    sd = np.sqrt(np.maximum(variance, 0.0) + results.fresh_variance)
    return Nitrate(np.where(placed, mean, np.nan), np.where(placed, sd, np.nan), used)
