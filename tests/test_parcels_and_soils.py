"""Parcels and a soil survey are enough, once it is said that there are no sewers."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pandas as pd
import pytest

import riskmap
from riskmap.contract.errors import RegionError
from riskmap.publish.words.unranked import nothing_ranked, why_unranked
from sample_region.make import make_county

ONLY = ("parcels", "soil_survey")


def cut(text: str, kept: tuple[str, ...]) -> str:
    """Leave out the tables of the other layers."""
    parts = text.split("\n[")
    layers = tomllib.loads(text)["layers"]
    dropped = tuple(f"layers.{name}{end}" for name in layers for end in ("]", ".columns]")
                    if name not in kept)  # fmt: skip
    return "\n[".join(part for part in parts if not part.startswith(dropped))


@pytest.fixture(scope="module")
def county(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("county")
    make_county(folder, parcels=200)
    return folder


def region_file(county: Path, name: str, line: str, kept: tuple[str, ...] = ONLY) -> Path:
    text = cut((county / "region.toml").read_text("utf-8"), kept)
    path = county / name
    path.write_text(text.replace('units = "us"', f'units = "us"\n{line}'), encoding="utf-8")
    return path


def test_without_sewers_all_built_parcels_are_ranked(county: Path, tmp_path: Path) -> None:
    path = region_file(county, "none.toml", 'sewers = "none"')
    result = riskmap.run(riskmap.open_region(path), out=tmp_path / "result")
    parcels = result.parcels
    assert sorted(result.county.tables)[0] == "parcels"
    assert parcels["rank"].notna().sum() > 0.9 * parcels["service"].eq("onsite").sum() > 150
    assert len(pd.read_csv(tmp_path / "result/lists/inspections.csv")) > 150
    assert nothing_ranked(parcels) == []
    assert "No parcel is ranked" not in (tmp_path / "result/index.html").read_text("utf-8")


def test_otherwise_the_front_page_says_which_layer_is_missing(county: Path, tmp_path: Path) -> None:
    path = region_file(county, "some.toml", "")
    result = riskmap.run(riskmap.open_region(path), out=tmp_path / "result")
    assert result.parcels["rank"].isna().all()
    first = why_unranked(result.parcels)[0]
    assert (first.layer, first.parcels > 150) == ("sewer_area", True)
    page = (tmp_path / "result/index.html").read_text("utf-8")
    assert "No parcel is ranked" in page
    assert "[layers.sewer_area]" in page
    assert "sewers = &#34;none&#34;" in page


def test_a_sewer_map_and_no_sewers_contradict_each_other(county: Path) -> None:
    path = region_file(county, "both.toml", 'sewers = "none"', (*ONLY, "sewer_area"))
    with pytest.raises(RegionError, match="gives a sewer map"):
        riskmap.open_region(path)


def test_each_reason_has_its_cure() -> None:
    ranked = pd.DataFrame(
        {"rank": [1, None, None, None],
         "not_ranked_reason": ["", "no building, no sewage", "too little is known to score",
                               "service unknown: ranked apart"],
         "service_reason": ["permit", "", "", "no record"]}
    )  # fmt: skip
    found = {one.reason: one.layer for one in why_unranked(ranked)}
    assert found == {
        "no building, no sewage": "",
        "too little is known to score": "soil_survey",
        "service unknown: ranked apart": "parcels",
    }
    assert len(nothing_ranked(ranked.iloc[1:])) == 2
