from __future__ import annotations

from typing import Any

import pytest

from riskmap.contract.errors import ModelError
from riskmap.contract.features import FEATURES
from riskmap.ranking.model import parse_model
from riskmap.region.model_file import model_content, model_text, read_model


def default_content() -> dict[str, Any]:
    return model_content(model_text())


def test_default_model_is_sound_and_sourced() -> None:
    model = read_model(features=FEATURES)
    for kind in ("failure", "groundwater"):
        assert sum(factor.weight for factor in model.of(kind)) == 100
    assert all(factor.source and factor.reason and factor.label for factor in model.factors)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda c: c.pop("failure_share"), "lacks failure_share"),
        (lambda c: c.update(failure_shar=1), "Did you mean failure_share"),
        (lambda c: c.update(log_hazard_per_point=-1), "must not be negative"),
        (lambda c: c["factor"][0].update(wieght=1), "Did you mean weight"),
        (lambda c: c["factor"][0].pop("source"), "'age' lacks source"),
        (lambda c: c["factor"][0].update(weight=99), "low <= weight <= high"),
        (lambda c: c["factor"][0].update(curve=[[0, 0], [0, 1]]), "rising value"),
        (lambda c: c["factor"][0].update(curve=[[0, 0], [1, 1], [2, 0.5]]), "only rise or only"),
        (lambda c: c["factor"][0].update(curve=[[0, 0], [1, 2]]), "between 0 and 1"),
        (lambda c: c["factor"][0].update(feature="age_year"), "Did you mean age_yr"),
        (lambda c: c["factor"][0].update(table={"a": 1}), "either curve or table"),
        (lambda c: c["factor"].append(c["factor"][0]), "same name"),
        (lambda c: c["factor"][0].update(score="water"), "one of failure, groundwater"),
    ],
)
def test_contradictions_are_named(change: Any, words: str) -> None:
    content = default_content()
    change(content)
    with pytest.raises(ModelError, match=words):
        parse_model(content, features=FEATURES)


def test_weights_can_be_replaced() -> None:
    model = read_model()
    changed = model.with_weights({"age": 25})
    assert {f.name: f.weight for f in changed.factors}["age"] == 25
    with pytest.raises(ModelError, match="Did you mean age"):
        model.with_weights({"agee": 25})
