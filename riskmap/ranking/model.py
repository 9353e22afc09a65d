"""The scoring model as data: factors with curves, weights, bounds, sources and reasons."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from itertools import pairwise
from typing import Any, Final

from riskmap.contract.columns import Column
from riskmap.contract.errors import ModelError
from riskmap.contract.given_values import is_line, is_number
from riskmap.contract.suggest import nearest, refuse_unknown

SCORES: Final = ("failure", "groundwater")
MAY_BE_EMPTY: Final = ("label", "source", "reason", "reason_at_zero")
REASON_PARTS: Final = re.compile(r"([^{}]*)(?:\{(\w+)\}|$)")
"""Plain words of a reason, and the name in braces behind them."""


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
        Plain words with ``{value}`` where the feature's value goes, and ``{name}`` for the value
        of another feature.
    reason_at_zero
        The same where the feature reads as 0; empty: as ``reason``.
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
    reason_at_zero: str = ""

    @property
    def rises(self) -> bool:
        """Whether a larger feature value means a larger limitation."""
        return self.curve[-1][1] >= self.curve[0][1]


@dataclass(frozen=True)
class Model:
    """A complete scoring model.

    ``failure_share`` is the share of the failure score in the priority, the groundwater score has
    the rest. A parcel of which less than ``min_known_frac`` of a score's weight is known gets no
    score. ``log_hazard_per_point`` turns the failure factors' weights into what the condition model
    holds of them before a county's records.
    """

    name: str
    factors: tuple[Factor, ...]
    failure_share: float
    min_known_frac: float
    log_hazard_per_point: float = 0.0

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


def parse_model(
    content: Mapping[str, Any], *, features: Mapping[str, Column] | None = None
) -> Model:
    """Make a model from the tables of a scoring-model file.

    Parameters
    ----------
    content
        Top-level keys: the fields of :class:`Model`, the factors as a list ``factor``.
    features
        Known features; a factor that reads another, or words as numbers, is refused.

    Raises
    ------
    ModelError
        Naming the factor and key at fault.
    """
    numbers = ("failure_share", "min_known_frac", "log_hazard_per_point")
    top = {"name", *numbers, "factor"}
    refuse_unknown(content, top, "the scoring model", ModelError)
    missing = sorted(top - set(content))
    if missing:
        raise ModelError(f"the scoring model lacks {', '.join(missing)}.")
    factors = content["factor"]
    if not isinstance(factors, list):
        raise ModelError("factor: expected a list of [[factor]] tables.")
    model = Model(
        name=_text(content, "name", "the scoring model"),
        factors=tuple(_factor(table) for table in factors),
        **{name: _number(content[name], f"the scoring model: {name}") for name in numbers},
    )
    _check(model, features)
    return model


def _factor(table: Any) -> Factor:
    named = table.get("name") if isinstance(table, Mapping) else None
    place = f"factor {named!r:.80}" if named else "a factor without a name"
    known = {field.name for field in fields(Factor)}
    refuse_unknown(table, known, place, ModelError)
    for name in sorted(known - {"curve", "table", "reason_at_zero"}):
        if name not in table:
            raise ModelError(f"{place} lacks {name}.")
    if ("curve" in table) == ("table" in table):
        raise ModelError(f"{place}: give either curve or table.")

    def text(name: str) -> str:
        return _text(table, name, place)

    def number(name: str) -> float:
        return _number(table[name], f"{place}: {name}")

    return Factor(
        name=text("name"),
        score=text("score"),
        feature=text("feature"),
        label=text("label"),
        weight=number("weight"),
        low=number("low"),
        high=number("high"),
        unknown=number("unknown"),
        source=text("source"),
        reason=text("reason"),
        curve=_points(table["curve"], place) if "curve" in table else (),
        table=_words(table["table"], place) if "table" in table else (),
        reason_at_zero=text("reason_at_zero") if "reason_at_zero" in table else "",
    )


def _text(table: Mapping[str, Any], name: str, place: str) -> str:
    value = table[name]
    if value == "" and name in MAY_BE_EMPTY:
        return ""
    if not is_line(value):
        raise ModelError(f"{place}: {name} = {value!r:.80}: expected one line of text.")
    return value


def _number(value: object, place: str) -> float:
    if not is_number(value):
        raise ModelError(f"{place} = {value!r:.80}: expected a number.")
    return float(value)


def _points(given: object, place: str) -> tuple[tuple[float, float], ...]:
    points = given if isinstance(given, list) else []
    pairs = [point for point in points if isinstance(point, list) and len(point) == 2]
    if len(points) < 2 or len(pairs) < len(points):
        raise ModelError(f"{place}: curve: expected two or more points [value, limitation].")
    where = f"{place}: curve"
    return tuple((_number(x, where), _number(y, where)) for x, y in pairs)


def _words(given: object, place: str) -> tuple[tuple[str, float], ...]:
    if not isinstance(given, Mapping) or not given:
        raise ModelError(f"{place}: table: expected words with their limitations.")
    return tuple((word, _number(y, f"{place}: table {word}")) for word, y in given.items())


def _check(model: Model, features: Mapping[str, Column] | None = None) -> None:
    names = [factor.name for factor in model.factors]
    if len(set(names)) != len(names):
        raise ModelError("two factors of the scoring model have the same name.")
    if model.log_hazard_per_point < 0:
        raise ModelError("log_hazard_per_point must not be negative.")
    if not 0 <= model.failure_share <= 1 or not 0 <= model.min_known_frac <= 1:
        raise ModelError("failure_share and min_known_frac must lie between 0 and 1.")
    for factor in model.factors:
        _check_factor(factor)
        if features is not None:
            _check_features(factor, features)
    for score in SCORES:
        if not sum(factor.weight for factor in model.of(score)) > 0:
            raise ModelError(f"the weights of the {score} score add up to nothing.")


def _check_features(factor: Factor, features: Mapping[str, Column]) -> None:
    """Refuse features that are not there, and curves over words or tables over numbers."""
    place = f"factor {factor.name!r}"
    reasons = factor.reason + factor.reason_at_zero
    named = {name for _, name in REASON_PARTS.findall(reasons) if name} - {"value"}
    for name in (factor.feature, *sorted(named)):
        if name not in features:
            raise ModelError(f"{place}: unknown feature {name!r}.{nearest(name, features)}")
    domain = features[factor.feature].domain
    if bool(domain) != bool(factor.table):
        hint = "words: give a table" if domain else "numbers: give a curve"
        raise ModelError(f"{place}: feature {factor.feature!r} has {hint}.")
    for word, _ in factor.table:
        if word not in domain:
            hint = nearest(word, domain) or f" Known: {', '.join(domain)}."
            raise ModelError(f"{place}: table: unknown word {word!r}.{hint}")


def _check_factor(factor: Factor) -> None:
    place = f"factor {factor.name!r}"
    if factor.score not in SCORES:
        raise ModelError(f"{place}: score must be one of {', '.join(SCORES)}.")
    if not 0 <= factor.low <= factor.weight <= factor.high:
        raise ModelError(f"{place}: 0 <= low <= weight <= high does not hold.")
    limits = [y for _, y in factor.curve] or [y for _, y in factor.table]
    if not all(0 <= y <= 1 for y in [*limits, factor.unknown]):
        raise ModelError(f"{place}: limitations must lie between 0 and 1.")
    if re.search(r"[{}]", re.sub(r"\{\w+\}", "", factor.reason + factor.reason_at_zero)):
        raise ModelError(f"{place}: reason: a brace has no partner; write {{value}}.")
    xs = [x for x, _ in factor.curve]
    if xs and (len(xs) < 2 or any(b <= a for a, b in pairwise(xs))):
        raise ModelError(f"{place}: the curve needs two or more points of rising value.")
    if xs and limits not in (sorted(limits), sorted(limits, reverse=True)):
        raise ModelError(f"{place}: the curve must only rise or only fall.")
