"""Damaged region files: each is read, or refused in one sentence that names the place.

The number of cases is multiplied by ``FUZZ_TIMES``.
"""

from __future__ import annotations

import random
import tomllib
from pathlib import Path
from typing import Any

import pytest

from riskmap.contract.errors import RegionError
from riskmap.contract.sources import Source
from riskmap.publish.map.county_map import base_map
from riskmap.region.read import read_region
from riskmap.region.sections import Region
from tests.damage.outcomes import cases, outcome
from tests.damage.structures import TOML_VALUES, damage, toml_text
from tests.damage.texts import damage_bytes

TEXTS = ("layer", "form", "table", "x", "y", "second_x", "second_y", "crs", "unit")
EXTRA = """
[layers.soil_survey]
files = ["soils/a", "soils/b.zip"]
[rules]
horizon_yr = 6
sizing = [{ flow_rule = "bedroom_illinois", accept_rule = "illinois_percolation", to = 1989 }]
[groundwater]
conductivity_m_d = 12.5
[lists]
inspections = 50
letter_texts = "letters"
[map]
base_map_tiles = "https://tiles.example/{z}/{x}/{y}.png"
[public]
threshold = 10
[run]
draws = 64
seed = 3
[learning]
use = "compare"
[fairness]
standing = "income.csv"
[model]
file = "model.toml"
"""
"""Keys that the sample region leaves at their defaults."""


@pytest.fixture(scope="module")
def sample(repo: Path) -> dict[str, Any]:
    content = tomllib.loads((repo / "sample_region" / "region.toml").read_text(encoding="utf-8"))
    for section, values in tomllib.loads(EXTRA).items():
        content[section] = content.get(section, {}) | values
    return content


def check_region(region: Region) -> None:
    """Hold an accepted region against what the rest of the program takes for granted."""
    assert region.county.name.strip()
    assert 1850 <= region.county.date.year <= 2100
    for source in region.sources.values():
        check_source(source)
    base_map(region)


def check_source(source: Source) -> None:
    assert source.files
    assert all(isinstance(file, Path) for file in source.files)
    for name in TEXTS:
        value = getattr(source, name)
        assert value is None or (isinstance(value, str) and value.isprintable())
    for column in source.columns.values():
        assert isinstance(column.column, str | None)
        assert (column.column is None) != (column.constant is None)
        assert all(isinstance(v, str | bool | int | float) for v in (column.values or {}).values())


def test_the_undamaged_file_is_read(tmp_path: Path, sample: dict[str, Any]) -> None:
    path = tmp_path / "region.toml"
    path.write_text(toml_text(sample), encoding="utf-8")
    check_region(read_region(path))


@pytest.mark.fuzz
@pytest.mark.parametrize("part", range(4))
def test_damaged_values_and_keys(tmp_path: Path, sample: dict[str, Any], part: int) -> None:
    path = tmp_path / "region.toml"
    for case in cases(400)[part::4]:
        done = damage(sample, random.Random(case), TOML_VALUES)
        path.write_text(toml_text(done.content), encoding="utf-8")
        found = outcome(lambda: check_region(read_region(path)))
        assert found.kind in ("read", "refused"), (case, done.place, done.what, found.words)
        if found.kind == "refused":
            assert isinstance(found.value, RegionError)
            named = [str(key) for key in done.place if isinstance(key, str)]
            assert any(name in found.words for name in named), (done.place, found.words)
            assert all(len(line) < 2000 for line in found.words.splitlines())


@pytest.mark.fuzz
def test_damaged_bytes(tmp_path: Path, repo: Path) -> None:
    data = (repo / "sample_region" / "region.toml").read_bytes()
    path = tmp_path / "region.toml"
    for case in cases(120):
        dice = random.Random(case)
        new, what = damage_bytes(data, dice)
        path.write_bytes(new)
        found = outcome(lambda: check_region(read_region(path)))
        assert found.kind in ("read", "refused"), (case, what, found.words)
        assert found.kind == "refused" or what not in ("page", "nothing", "deep", "utf_16")


def test_a_key_without_a_name(tmp_path: Path) -> None:
    path = tmp_path / "region.toml"
    path.write_text('[model]\n"" = "model.toml"\n[county]\nname = "x"\ndate = 2026-06-01\n')
    with pytest.raises(RegionError, match=r"\[model\]: unknown key ''"):
        read_region(path)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("date = 9999-12-31", "a day from 1850 to 2100"),
        ("date = 2026-06-01T12:00:00", "date"),
        ('name = ""', "expected one line of text"),
        ('contact = "x\\u0000"', "expected one line of text"),
        ("units = 0", "units = 0"),
    ],
)
def test_single_values(tmp_path: Path, text: str, words: str) -> None:
    lines = {"name": 'name = "Nowhere"', "date": "date = 2026-06-01"}
    lines[text.split(" ")[0]] = text
    path = tmp_path / "region.toml"
    layers = '\n[layers.parcels]\nfile = "p"\n[layers.soil_survey]\nfile = "s"\n'
    path.write_text("[county]\n" + "\n".join(lines.values()) + layers, encoding="utf-8")
    with pytest.raises(RegionError, match=words):
        read_region(path)


def test_wrong_files(tmp_path: Path) -> None:
    (tmp_path / "big.toml").write_bytes(b"# x\n" * 1_000_000)
    for name, words in (
        ("nowhere.toml", "no such file"),
        (".", "no such file"),
        ("big.toml", "longer"),
    ):
        with pytest.raises(RegionError, match=words):
            read_region(tmp_path / name)
