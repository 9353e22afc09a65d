"""Fit of the model to a county's own records: the likeliest parameters and their uncertainty.

Penalized maximum likelihood with exact gradients, and a normal approximation around it (Laplace)
whose precision is the sum over lots of the outer product of their slopes, plus the prior's (Berndt,
Hall, Hall & Hausman 1974, Annals of Economic and Social Measurement 3:653-665).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.linalg import cholesky, solve_triangular
from scipy.optimize import minimize

from riskmap.condition.lots import Lots, take
from riskmap.condition.model import SPREADS, Model, log_posterior, lot_slopes, model_of, run
from riskmap.condition.years import Floats, Ints

LEARNED: Final = ("year_wear", "place_wear", "place_calls")
"""Groups of effects whose spread is learned from the county."""
HELD_FOR: Final = 10.0
"""How many effects what is held of a spread beforehand is worth."""
ROUNDS: Final = 3
"""Rounds in which spreads and effects are fitted in turn."""
TOO_FAR: Final = 1e12
CLOSE, ENOUGH = 1e-9, 1e-7
"""Share of the log posterior below which a search ends; the latter from a start that is close."""
FROM_AFAR: Final = (1e-3, 1e-4)
"""The same for the first legs of a search from afar: the coordinates are made round anew after
each. It gets there with two thirds of the evaluations, and closer (benchmarks/README.md)."""
SAMPLE: Final = 6_000
"""Lots of the sample that a county of more than twice as many is fitted to first."""


@dataclass(frozen=True)
class Fit:
    """The model, its likeliest parameters (p,), a square root (p, p) of their covariance.

    ``log_posterior``: the value there; ``evaluations``: of the likelihood of all lots.
    """

    model: Model
    theta: Floats
    factor: Floats
    log_posterior: float
    evaluations: int

    def draws(self, count: int, rng: np.random.Generator) -> Floats:
        """Draw parameter vectors (count, p)."""
        normal = rng.standard_normal((count, len(self.theta)))
        return np.asarray(self.theta + normal @ self.factor.T)

    @property
    def sd(self) -> Floats:
        """Return the standard deviation of each parameter (p,)."""
        return np.asarray(np.sqrt((self.factor**2).sum(axis=1)))


def fit(lots: Lots, effects: Floats, *, hazard_ratio: float = 1.0, most: int | None = None) -> Fit:
    """Fit the model to a county's records.

    Parameters
    ----------
    lots
        The county; see :func:`riskmap.condition.lots.lots_of`.
    effects
        (factors,) log hazard from no limitation to the worst by the scoring model.
    hazard_ratio
        Hazard of wear before the records, beside the declared one.
    most
        Lots to fit to, spread evenly over all where there are more; None: all.
    """
    model = model_of(lots, effects, hazard_ratio=hazard_ratio)
    if most is not None and len(lots.ids) > most:
        part = fit(take(lots, _sample(len(lots.ids), most)), effects, hazard_ratio=hazard_ratio)
        return replace(part, model=replace(model, sd=part.model.sd))
    theta = model.mean.copy()
    count = 0
    if len(lots.ids) > 2 * SAMPLE:
        first = fit(take(lots, _sample(len(lots.ids), SAMPLE)), effects, hazard_ratio=hazard_ratio)
        model, theta = replace(model, sd=first.model.sd), first.theta
        theta, value, used = _climb(model, theta, ENOUGH)
        return Fit(model, theta, _covariance_factor(_precision(model, theta)), value, used)
    for close in FROM_AFAR:
        theta, _, used = _climb(model, theta, close)
        count += used
    for _ in range(ROUNDS):
        theta, value, used = _climb(model, theta, CLOSE)
        count += used
        factor = _covariance_factor(_precision(model, theta))
        fitted = Fit(model, theta, factor, value, count)
        model = _with_learned_spreads(model, theta, factor)
    return fitted


def _sample(lots: int, count: int) -> Ints:
    """Rows of so many lots, spread evenly over all."""
    return np.unique(np.linspace(0, lots - 1, count).round().astype(np.int64))


def _precision(model: Model, theta: Floats) -> Floats:
    """Precision (p, p) of the parameters at a vector."""
    followed, point = run(model, theta, slopes=True)
    slopes = lot_slopes(model, followed, point)[model.lots.fitted_on]
    return np.asarray((slopes.T @ slopes).toarray() + np.diag(model.sd**-2.0))


def _climb(model: Model, theta: Floats, close: float) -> tuple[Floats, float, int]:
    """Find the likeliest vector from a start, in coordinates that its precision makes round."""
    root = cholesky(_precision(model, theta), lower=True)

    def down(at: Floats) -> tuple[float, Floats]:
        value, gradient = log_posterior(model, theta + _out(root, at))
        if not (np.isfinite(value) and np.isfinite(gradient).all()):
            return TOO_FAR, np.zeros_like(at)  # a step out of all bounds: the search goes back
        return -value, -solve_triangular(root, gradient, lower=True)

    best = minimize(
        down,
        np.zeros(len(theta)),
        jac=True,
        method="L-BFGS-B",
        options={"maxcor": 30, "ftol": close},
    )
    return theta + _out(root, best.x), -float(best.fun), int(best.nfev)


def _out(root: Floats, at: Floats) -> Floats:
    return np.asarray(solve_triangular(root, at, lower=True, trans="T"))


def _covariance_factor(precision: Floats) -> Floats:
    """Square root of the inverse: times its own transpose it is the inverse."""
    root = cholesky(precision, lower=True)
    inverse = solve_triangular(root, np.eye(len(root)), lower=True)
    return np.asarray(inverse.T)


def _with_learned_spreads(model: Model, theta: Floats, factor: Floats) -> Model:
    """Spread of each group of effects by its effects and their uncertainty (empirical Bayes)."""
    variance = (factor**2).sum(axis=1)
    sd = model.sd.copy()
    for name in LEARNED:
        part = model.part(name)
        effects = part.stop - part.start
        if effects:
            squares = (theta[part] ** 2 + variance[part]).sum()
            held = HELD_FOR * SPREADS[name] ** 2
            sd[part] = np.sqrt((squares + held) / (effects + HELD_FOR))
    return replace(model, sd=sd)
