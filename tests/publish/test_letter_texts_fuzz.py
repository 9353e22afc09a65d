"""Damaged letter files: each is taken whole, or refused in one sentence that names the place."""

from __future__ import annotations

import datetime
import random
import tomllib
from pathlib import Path
from typing import Any

import pytest

from riskmap.contract.errors import OutputError
from riskmap.publish.paper.letter_texts import (
    LANGUAGES,
    county_letters,
    default_letter,
    filled,
    forbidden_words,
    read_letter,
)
from tests.damage.outcomes import cases, outcome
from tests.damage.structures import TOML_VALUES, damage, toml_text
from tests.damage.texts import damage_bytes


def check_letter(folder: Path, language: str) -> None:
    """Hold an accepted letter against what the printing takes for granted."""
    found = county_letters(folder)
    texts = read_letter(found[language], language)
    day, name = datetime.date(2026, 6, 1), f"letter_{language}.toml"
    ready = filled(texts, county="Nowhere", contact="", date=day, source=name)
    assert not forbidden_words(texts)
    assert all(text.strip() for text in words_of(ready))


def words_of(texts: Any) -> list[str]:
    if isinstance(texts, dict | list):
        parts = texts.values() if isinstance(texts, dict) else texts
        return [text for part in parts for text in words_of(part)]
    assert isinstance(texts, str)
    return [texts]


@pytest.mark.fuzz
@pytest.mark.parametrize("language", LANGUAGES)
def test_damaged_values_and_keys(tmp_path: Path, language: str) -> None:
    content = tomllib.loads(default_letter(language).read_text(encoding="utf-8"))
    path = tmp_path / f"letter_{language}.toml"
    for case in cases(200):
        done = damage(content, random.Random(case), TOML_VALUES)
        path.write_text(toml_text(done.content), encoding="utf-8")
        found = outcome(lambda: check_letter(tmp_path, language))
        assert found.kind in ("read", "refused"), (case, done.place, done.what, found.words)
        if found.kind == "refused":
            assert isinstance(found.value, OutputError)
            assert path.name in found.words
            assert len(found.words) < 2000


@pytest.mark.fuzz
def test_damaged_bytes(tmp_path: Path) -> None:
    path = tmp_path / "letter_en.toml"
    for case in cases(120):
        new, what = damage_bytes(default_letter("en").read_bytes(), random.Random(case))
        path.write_bytes(new)
        found = outcome(lambda: check_letter(tmp_path, "en"))
        assert found.kind in ("read", "refused"), (case, what, found.words)
        assert found.kind == "refused" or what not in ("page", "nothing", "deep", "utf_16")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("[signs]", "[sings]", "unknown key 'sings'. Did you mean signs"),
        ("{contact}", "{contakt}", "contact"),
        ("Dear neighbor,", "Dear \\u0007neighbor,", "household.greeting"),
    ],
)
def test_single_values(tmp_path: Path, old: str, new: str, words: str) -> None:
    text = default_letter("en").read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "letter_en.toml").write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(OutputError, match=words):
        county_letters(tmp_path)
