"""The model of a county: its parameter vector, and the likelihood of what is on file at one.

The vector holds, in this order: :data:`~riskmap.condition.parameters.PARAMETERS`; the factors' own
deviations; effects of the last years on wear and on complaints; effects of the neighborhoods on the
hazard and on complaints.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import sparse

from riskmap.condition.follow import ALL, Followed, follow
from riskmap.condition.lots import Lots
from riskmap.condition.parameters import NAMES, PARAMETERS, modern_of, slopes_of, tells
from riskmap.condition.years import RATES, Floats, Terms

NODES: Final = 7
"""Values that the frailty takes (Gauss-Hermite; Abramowitz & Stegun 25.4.46)."""
GROUPS: Final = ("factors", "year_wear", "year_calls", "place_wear", "place_calls")
SPREADS: Final[Mapping[str, float]] = {
    "factors": 1.0,
    "year_wear": 0.3,
    "year_calls": 0.4,
    "place_wear": 0.2,
    "place_calls": 0.7,
}
"""Standard deviation held of each group's effects before the records (judgment)."""
LAST_YEAR_CALLS: Final = 1.0
"""The same of the year of the run, of which nobody knows how much has been filed yet."""


@dataclass(frozen=True)
class Model:
    """A county's lots with what is held of the parameters before its records.

    ``effects`` (factors,): what the scoring model's weights say of each factor, log hazard from no
    limitation to the worst. ``mean``, ``sd`` (p,): of the parameter vector.
    """

    lots: Lots
    effects: Floats
    mean: Floats
    sd: Floats

    def part(self, name: str) -> slice:
        """Return where a group of effects stands in the vector."""
        return _parts(self.lots)[name]


def model_of(
    lots: Lots,
    effects: Floats,
    *,
    hazard_ratio: float = 1.0,
    spreads: Mapping[str, float] = SPREADS,
) -> Model:
    """Set the model up.

    Parameters
    ----------
    lots
        The county.
    effects
        (factors,) log hazard from no limitation to the worst by the scoring model, above 0.
    hazard_ratio
        Hazard of wear before the records, beside the declared one.
    spreads
        Standard deviation of each group of :data:`GROUPS`.

    Raises
    ------
    ValueError
        If an effect is not above 0: the model keeps every factor's direction.
    """
    if not (effects > 0).all():
        raise ValueError("every factor needs an effect above 0; leave factors without weight out.")
    parts = _parts(lots)
    size = max(part.stop for part in parts.values())
    mean, sd = np.zeros(size), np.empty(size)
    mean[: len(NAMES)] = [parameter.mean for parameter in PARAMETERS]
    sd[: len(NAMES)] = [parameter.sd for parameter in PARAMETERS]
    mean[NAMES.index("wear")] += np.log(hazard_ratio)
    for name, part in parts.items():
        sd[part] = spreads[name]
    sd[parts["year_calls"]][-1:] = LAST_YEAR_CALLS
    return Model(lots, effects, mean, sd)


def _parts(lots: Lots) -> dict[str, slice]:
    places = len(lots.neighborhoods)
    sizes = (len(lots.factors), lots.window, lots.window, places, places)
    stops = len(NAMES) + np.cumsum(sizes)
    return {
        name: slice(int(stop) - size, int(stop))
        for name, size, stop in zip(GROUPS, sizes, stops, strict=True)
    }


@dataclass(frozen=True)
class Point:
    """The model at one parameter vector: the kernel's terms, and how they move with it.

    ``by`` (rates + b + 3 x kinds, parameters): derivatives of the kernel's numbers; ``modern``
    (systems,): how far codes had come; ``effects`` (factors,) of the factors; ``reach`` (systems,
    factors): what each factor's effect is multiplied by; ``designed``: share of the site's effect
    that design takes away.
    """

    terms: Terms
    by: Floats
    effects: Floats
    reach: Floats
    modern: Floats
    designed: float


def point_at(model: Model, theta: Floats) -> Point:
    """Work out the kernel's terms at a parameter vector."""
    lots = model.lots
    p = dict(zip(NAMES, theta[: len(NAMES)], strict=True))
    natural, by, wear_by = slopes_of(theta[: len(NAMES)])
    behind = np.flatnonzero(np.abs(wear_by).max(axis=0) > 0)
    rates = len(RATES)
    by = np.vstack([by[:rates], np.eye(len(NAMES))[behind], by[rates:]])
    effects = model.effects * np.exp(p["weights"] + theta[model.part("factors")])
    modern = modern_of(lots.put_in)
    designed = 1.0 / (1.0 + np.exp(-p["designed"]))
    reach = np.where(lots.of_system, lots.present[:, None], (1 - designed * modern)[:, None])
    place = lots.neighborhood
    log_hazard = (lots.limits_of_systems * reach) @ effects + p["modern"] * modern
    log_hazard += p["renewed"] * lots.renewed + theta[model.part("place_wear")][place[lots.lot]]
    log_calls = p["call_lot"] * lots.closeness + theta[model.part("place_calls")][place]
    nodes, weight = np.polynomial.hermite_e.hermegauss(NODES)
    terms = Terms(
        log_hazard=log_hazard,
        log_calls=log_calls,
        wear=np.exp(natural.log_wear),
        wear_by=np.ascontiguousarray(wear_by[:, behind]),
        year_wear=_last(theta[model.part("year_wear")], len(lots.office.share)),
        year_calls=_last(theta[model.part("year_calls")], len(lots.office.share)),
        rates=natural.rates,
        signs=np.exp(natural.log_signs),
        tells=tells(),
        nodes=nodes,
        weight=weight / weight.sum(),
    )
    return Point(terms, by, effects, reach, modern, float(designed))


def _last(effects: Floats, years: int) -> Floats:
    return np.concatenate([np.zeros(years - len(effects)), effects])


def run(
    model: Model,
    theta: Floats,
    *,
    final: Floats = ALL,
    ahead: int = 0,
    slopes: bool = False,
    now: bool = False,
) -> tuple[Followed, Point]:
    """Follow the county's lots at a parameter vector; see :func:`follow`."""
    point = point_at(model, theta)
    lots = model.lots
    followed = follow(
        lots.histories,
        lots.office,
        point.terms,
        final=final,
        ahead=ahead,
        window=lots.window,
        slopes=slopes,
        now=now,
    )
    return followed, point


def log_posterior(model: Model, theta: Floats) -> tuple[float, Floats]:
    """Logarithm of likelihood times prior (without constants), and its gradient (p,)."""
    followed, point = run(model, theta, slopes=True)
    off = (theta - model.mean) / model.sd
    value = float(followed.log_like[model.lots.fitted_on].sum() - 0.5 * (off**2).sum())
    gradient = _summed_slopes(model, followed, point)
    return value, gradient - off / model.sd


def _summed_slopes(model: Model, followed: Followed, point: Point) -> Floats:
    """Return the sum (p,) of the slopes of the lots that the model is fitted to."""
    lots, calls = model.lots, followed.slopes.calls
    dense, hazard = _dense_slopes(model, followed, point)
    on, places = lots.fitted_on, len(lots.neighborhoods)
    place = lots.neighborhood[on]
    by_place = [np.bincount(place, part[on], places) for part in (hazard, calls)]
    return np.concatenate([dense[on].sum(axis=0), *by_place])


def lot_slopes(model: Model, followed: Followed, point: Point) -> sparse.csr_array:
    """Return the derivatives (n, p) of each lot's log-likelihood by the parameter vector.

    Parameters
    ----------
    model
        The model.
    followed
        What :func:`run` gave, with slopes.
    point
        The point it ran at.
    """
    lots = model.lots
    dense, hazard = _dense_slopes(model, followed, point)
    row, place = np.arange(len(lots.ids)), lots.neighborhood
    shape = (len(lots.ids), len(lots.neighborhoods))
    slopes_of_lots = sparse.hstack(
        [
            sparse.csr_array(dense),
            sparse.csr_array((hazard, (row, place)), shape),
            sparse.csr_array((followed.slopes.calls, (row, place)), shape),
        ]
    )
    return sparse.csr_array(slopes_of_lots)


def _dense_slopes(model: Model, followed: Followed, point: Point) -> tuple[Floats, Floats]:
    """Slopes (n, .) of each lot by all but its neighborhood's effects, and by its hazard (n,)."""
    lots, slopes = model.lots, followed.slopes
    per_system = slopes.hazard[:, None]
    by_factor = per_system * lots.limits_of_systems * point.effects
    designed = -point.designed * (1 - point.designed) * point.modern[:, None] * ~lots.of_system
    of_systems = np.column_stack(
        [
            by_factor * point.reach,
            slopes.hazard * point.modern,
            slopes.hazard * lots.renewed,
            (by_factor * designed).sum(axis=1),
            slopes.hazard,
        ]
    )
    of_lots = np.add.reduceat(of_systems, lots.histories.system)
    factors = of_lots[:, : len(lots.factors)]
    modern, renewed, design, hazard = of_lots[:, len(lots.factors) :].T
    shared = slopes.rates @ point.by
    shared[:, NAMES.index("weights")] += factors.sum(axis=1)
    shared[:, NAMES.index("modern")] += modern
    shared[:, NAMES.index("renewed")] += renewed
    shared[:, NAMES.index("designed")] += design
    shared[:, NAMES.index("call_lot")] += slopes.calls * lots.closeness
    return np.column_stack([shared, factors, slopes.year_wear, slopes.year_calls]), hazard
