"""Whole runs on damaged counties: every lot that was read comes out, scored or with the reason."""

from __future__ import annotations

import random
import shutil
from pathlib import Path
from typing import Final

import pandas as pd
import pytest

import riskmap
from data_pipelines.registry import read_layer
from sample_region.make import make_county
from tests.damage.outcomes import cases, outcome
from tests.fuzz.blows import KINDS, strike
from tests.fuzz.damage import Blow

pytestmark = [pytest.mark.slow, pytest.mark.fuzz]

FORMS: Final = {".csv": "text", ".txt": "text", ".geojson": "json"}
CASES: Final = cases(8)


@pytest.fixture(scope="module")
def county(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small county without draws, run once, so that only what is struck is done again."""
    folder = tmp_path_factory.mktemp("sound") / "county"
    make_county(folder, parcels=100, seed=11)
    path = folder / "region.toml"
    path.write_text(path.read_text() + "\n[run]\ndraws = 0\n")
    riskmap.assess(path)
    return folder


def struck(county: Path, folder: Path, number: int) -> str:
    """Copy the county and damage one file of one layer; says which."""
    draw = random.Random(number)
    place = shutil.copytree(county, folder / "county")
    sources = [s.files[0] for s in riskmap.open_region(place / "region.toml").sources.values()]
    chosen = draw.choice(sources)
    beside = chosen if chosen.is_dir() else chosen.parent
    parts = sorted(path for path in beside.rglob("*") if path.is_file())
    files = {path.relative_to(place).as_posix(): path.read_bytes() for path in parts}
    main = draw.choice(sorted(files))
    kinds = KINDS[FORMS.get(Path(main).suffix, "binary")]
    blows = [
        Blow(draw.choice(kinds), draw.random(), draw.random(), draw.randrange(10**6))
        for _ in range(draw.randint(1, 3))
    ]
    damaged = strike(files, main, blows).files
    for name in files.keys() | damaged.keys():
        (place / name).unlink(missing_ok=True)
    for name, content in damaged.items():
        (place / name).write_bytes(content)
    return f"{main}: {blows}"


@pytest.mark.parametrize("number", CASES)
def test_lots_that_are_read_come_out(county: Path, tmp_path: Path, number: int) -> None:
    what = struck(county, tmp_path, number)
    region = riskmap.open_region(tmp_path / "county" / "region.toml")
    ended = outcome(lambda: riskmap.assess(region), seconds=300)
    assert ended.kind in ("read", "refused"), f"{what}: {ended.words}"
    if ended.kind == "refused":
        assert len(ended.words) > 20, what
        return
    result = ended.value
    read = read_layer(region.sources["parcels"], result.parcels.crs)
    table = result.parcels
    assert set(table.index) == set(read.frame["parcel_id"]), what
    told = result.data_quality
    layers = pd.concat([told["layer"], read.defects["layer"]])
    assert set(read.defects["check"]) <= set(told.loc[told["layer"] == "parcels", "check"]), what
    assert layers.notna().all()
    ranked = table["rank"].notna()
    assert (ranked | (table["not_ranked_reason"] != "")).all(), what
    assert (table.loc[ranked, "not_ranked_reason"] == "").all(), what
