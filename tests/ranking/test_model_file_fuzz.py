"""Damaged scoring models: each is read, or refused in one sentence that names the place."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from riskmap.contract.errors import ModelError
from riskmap.contract.features import FEATURES
from riskmap.ranking.model import REASON_PARTS, SCORES, Model, parse_model
from riskmap.region.model_file import model_content, model_text, model_toml, read_model
from tests.damage.outcomes import cases, outcome
from tests.damage.structures import TOML_VALUES, damage, toml_text
from tests.damage.texts import damage_bytes


def check_model(model: Model) -> None:
    """Hold an accepted model against what scoring and its map take for granted."""
    assert parse_model(model_content(model_toml(model)), features=FEATURES) == model
    for score in SCORES:
        assert math.isfinite(model.scale(score))
        assert model.scale(score) > 0
    for factor in model.factors:
        assert factor.table or isinstance(factor.rises, bool)
        names = {name for _, name in REASON_PARTS.findall(factor.reason)} - {"", "value"}
        assert names | {factor.feature} <= set(FEATURES)


@pytest.mark.fuzz
@pytest.mark.parametrize("part", range(4))
def test_damaged_values_and_keys(tmp_path: Path, part: int) -> None:
    content = model_content(model_text())
    path = tmp_path / "model.toml"
    for case in cases(400)[part::4]:
        done = damage(content, random.Random(case), TOML_VALUES)
        path.write_text(toml_text(done.content), encoding="utf-8")
        found = outcome(lambda: check_model(read_model(path, features=FEATURES)))
        assert found.kind in ("read", "refused"), (case, done.place, done.what, found.words)
        if found.kind == "refused":
            assert isinstance(found.value, ModelError)
            named = [str(key) for key in done.place if isinstance(key, str)]
            if done.place[0] == "factor" and len(done.place) > 1:
                number = int(done.place[1])
                named += [str(content["factor"][min(number, len(content["factor"]) - 1)]["name"])]
            assert any(name in found.words for name in named), (done.place, found.words)
            assert len(found.words) < 2000


@pytest.mark.fuzz
def test_damaged_bytes(tmp_path: Path) -> None:
    path = tmp_path / "model.toml"
    for case in cases(120):
        new, what = damage_bytes(model_text().encode(), random.Random(case))
        path.write_bytes(new)
        found = outcome(lambda: check_model(read_model(path, features=FEATURES)))
        assert found.kind in ("read", "refused"), (case, what, found.words)
        assert found.kind == "refused" or what not in ("page", "nothing", "deep", "utf_16")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("failure_share = 0.6", 'failure_share = "x"', "failure_share = 'x': expected a number"),
        ("failure_share = 0.6", "failure_share = nan", "failure_share = nan: expected a number"),
        ("weight = 15", "weight = true", "'age': weight = True: expected a number"),
        ('name = "age"', 'name = ""', "name = '': expected one line of text"),
        ("about {value} old", "about {valu} old", "'age': unknown feature 'valu'"),
        ("about {value} old", "about {value old", "'age': reason: a brace has no partner"),
        ("cesspool = 1.0", "cesspol = 1.0", "unknown word 'cesspol'. Did you mean cesspool"),
        ('feature = "age_yr"', 'feature = "kind"', "feature 'kind' has words: give a table"),
        ('feature = "kind"', 'feature = "age_yr"', "feature 'age_yr' has numbers: give a curve"),
    ],
)
def test_single_values(tmp_path: Path, old: str, new: str, words: str) -> None:
    path = tmp_path / "model.toml"
    assert old in model_text()
    path.write_text(model_text().replace(old, new, 1), encoding="utf-8")
    with pytest.raises(ModelError) as caught:
        read_model(path, features=FEATURES)
    assert words in str(caught.value)


@pytest.mark.parametrize("curve", ["0", "[]", "[[0, 0]]", "[[0, 0], [1]]", "[[0, 0], [1, inf]]"])
def test_curves_that_are_none(tmp_path: Path, curve: str) -> None:
    lines = model_text().splitlines()
    first = next(n for n, line in enumerate(lines) if line.startswith("curve = "))
    lines[first] = f"curve = {curve}"
    path = tmp_path / "model.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(ModelError, match="'age': curve"):
        read_model(path)
