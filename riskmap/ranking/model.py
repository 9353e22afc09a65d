"""The scoring model as data: factors with curves, weights, bounds, sources and reasons."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from itertools import pairwise
from typing import Any, Final

from riskmap.contract.errors import ModelError
from riskmap.contract.suggest import nearest, refuse_unknown

SCORES: Final = ("failure", "groundwater")


@dataclass(frozen=True)
class Factor:
    """One factor of a score.

    Parameters
    ----------
    name
        Unique name; the points column of the factor is ``<name>_points``.
    score
        ``failure`` or ``groundwater``.
    feature
        Inventory column it reads.
    label
        Short words for legends and bars.
    weight, low, high
        Weight and the bounds within which judgment may move it.
    curve
        Points (feature value, limitation), rising in value, monotone in limitation; linear
        between points, level beyond the ends.
    table
        For features that are words: word -> limitation.
    unknown
        Limitation used where the feature is unknown; such parcels carry the factor in ``unknown``.
    source
        Where curve and weight come from.
    reason
        Plain words with ``{value}`` where the feature's value stands, and ``{name}`` for the value
        of another feature.
    """

    name: str
    score: str
    feature: str
    label: str
    weight: float
    low: float
    high: float
    unknown: float
    source: str
    reason: str
    curve: tuple[tuple[float, float], ...] = ()
    table: tuple[tuple[str, float], ...] = ()

    @property
    def rises(self) -> bool:
        """Whether a larger feature value means a larger limitation."""
        return self.curve[-1][1] >= self.curve[0][1]


@dataclass(frozen=True)
class Model:
    """A complete scoring model.

    ``failure_share`` is the share of the failure score in the priority, the groundwater score has
    the rest. A parcel of which less than ``min_known_frac`` of a score's weight is known gets no
    score. ``log_hazard_per_point`` and ``reference_points`` turn failure points into a multiplier
    of the aging curve's hazard; see :func:`riskmap.ranking.score.hazard_multiplier`.
    """

    name: str
    factors: tuple[Factor, ...]
    failure_share: float
    min_known_frac: float
    log_hazard_per_point: float = 0.0
    reference_points: float = 0.0

    def of(self, score: str) -> tuple[Factor, ...]:
        """Return the factors of one score."""
        return tuple(factor for factor in self.factors if factor.score == score)

    def share(self, score: str) -> float:
        """Return the share of one score in the priority."""
        return self.failure_share if score == "failure" else 1.0 - self.failure_share

    def scale(self, score: str) -> float:
        """Return the points that one unit of weight is worth in a score (100 / sum of weights)."""
        return 100.0 / sum(factor.weight for factor in self.of(score))

    def with_weights(self, weights: Mapping[str, float]) -> Model:
        """Return a copy with some weights replaced; unknown names raise ModelError."""
        names = [factor.name for factor in self.factors]
        for name in weights:
            if name not in names:
                raise ModelError(f"weight for unknown factor {name!r}.{nearest(name, names)}")
        changed = tuple(
            replace(factor, weight=float(weights.get(factor.name, factor.weight)))
            for factor in self.factors
        )
        model = replace(self, factors=changed)
        _check(model)
        return model


def parse_model(content: Mapping[str, Any], *, features: Iterable[str] | None = None) -> Model:
    """Make a model from the tables of a scoring-model file.

    Parameters
    ----------
    content
        Top-level keys: the fields of :class:`Model`, the factors as a list ``factor``.
    features
        Known feature names; a factor that reads another is refused.

    Raises
    ------
    ModelError
        Naming the factor and key at fault.
    """
    numbers = ("failure_share", "min_known_frac", "log_hazard_per_point", "reference_points")
    top = {"name", *numbers, "factor"}
    refuse_unknown(content, top, "the scoring model", ModelError)
    missing = sorted(top - set(content))
    if missing:
        raise ModelError(f"the scoring model lacks {', '.join(missing)}.")
    model = Model(
        name=str(content["name"]),
        factors=tuple(_factor(table) for table in content["factor"]),
        **{number: float(content[number]) for number in numbers},
    )
    _check(model, features)
    return model


def _factor(table: Mapping[str, Any]) -> Factor:
    place = f"factor {table.get('name', '(without name)')!r}"
    known = {field.name for field in fields(Factor)}
    refuse_unknown(table, known, place, ModelError)
    for name in sorted(known - {"curve", "table"}):
        if name not in table:
            raise ModelError(f"{place} lacks {name}.")
    if ("curve" in table) == ("table" in table):
        raise ModelError(f"{place}: give either curve or table.")
    return Factor(
        name=str(table["name"]),
        score=str(table["score"]),
        feature=str(table["feature"]),
        label=str(table["label"]),
        weight=float(table["weight"]),
        low=float(table["low"]),
        high=float(table["high"]),
        unknown=float(table["unknown"]),
        source=str(table["source"]),
        reason=str(table["reason"]),
        curve=tuple((float(x), float(y)) for x, y in table.get("curve", ())),
        table=tuple((str(word), float(y)) for word, y in table.get("table", {}).items()),
    )


def _check(model: Model, features: Iterable[str] | None = None) -> None:
    names = [factor.name for factor in model.factors]
    if len(set(names)) != len(names):
        raise ModelError("two factors of the scoring model have the same name.")
    if model.log_hazard_per_point < 0:
        raise ModelError("log_hazard_per_point must not be negative.")
    if not 0 <= model.failure_share <= 1 or not 0 <= model.min_known_frac <= 1:
        raise ModelError("failure_share and min_known_frac must lie between 0 and 1.")
    for factor in model.factors:
        _check_factor(factor)
        if features is not None and factor.feature not in (known := set(features)):
            hint = nearest(factor.feature, known)
            raise ModelError(f"factor {factor.name!r}: unknown feature {factor.feature!r}.{hint}")
    for score in SCORES:
        if not sum(factor.weight for factor in model.of(score)) > 0:
            raise ModelError(f"the weights of the {score} score add up to nothing.")


def _check_factor(factor: Factor) -> None:
    place = f"factor {factor.name!r}"
    if factor.score not in SCORES:
        raise ModelError(f"{place}: score must be one of {', '.join(SCORES)}.")
    if not 0 <= factor.low <= factor.weight <= factor.high:
        raise ModelError(f"{place}: 0 <= low <= weight <= high does not hold.")
    limits = [y for _, y in factor.curve] or [y for _, y in factor.table]
    if not all(0 <= y <= 1 for y in [*limits, factor.unknown]):
        raise ModelError(f"{place}: limitations must lie between 0 and 1.")
    xs = [x for x, _ in factor.curve]
    if xs and (len(xs) < 2 or any(b <= a for a, b in pairwise(xs))):
        raise ModelError(f"{place}: the curve needs two or more points of rising value.")
    if xs and limits not in (sorted(limits), sorted(limits, reverse=True)):
        raise ModelError(f"{place}: the curve must only rise or only fall.")
