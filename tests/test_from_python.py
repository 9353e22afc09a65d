"""From Python: layers in memory, paths and open regions alike, short words, pictures."""

from __future__ import annotations

import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import geopandas as gpd
import matplotlib.pyplot as plt
import pandas as pd
import pytest

import riskmap
from riskmap.contract.errors import LayerError
from riskmap.contract.vocabulary import CLASSES
from sample_region.make import make_county


@pytest.fixture(scope="module")
def county(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("county")
    make_county(folder, parcels=150)
    return folder / "region.toml"


@pytest.fixture(scope="module")
def result(county: Path) -> riskmap.Result:
    return riskmap.assess(county)


def test_the_package_shows_what_it_offers() -> None:
    assert {*riskmap.__all__, "__version__"} <= set(dir(riskmap))
    assert riskmap.__version__ == version("riskmap")


def test_layers_in_memory_give_what_the_files_give(county: Path, result: riskmap.Result) -> None:
    folder = county.parent
    given = {
        "permits": pd.read_csv(folder / "permits/permits.csv", dtype=str, keep_default_na=False),
        "sewer_area": gpd.read_file(folder / "sewer/sewer.geojson"),
        "buildings": gpd.read_file(folder / "buildings/buildings.geojson"),
    }
    again = riskmap.assess(riskmap.open_region(county), layers=given)
    assert set(again.inputs) - set(result.inputs)
    pd.testing.assert_frame_equal(
        pd.DataFrame(again.parcels.drop(columns="geometry")),
        pd.DataFrame(result.parcels.drop(columns="geometry")),
        rtol=1e-6, atol=1e-6,
    )  # fmt: skip


def test_what_cannot_be_given_is_refused(county: Path) -> None:
    with pytest.raises(LayerError, match="Did you mean permits"):
        riskmap.check(county, layers={"permit": pd.DataFrame()})
    with pytest.raises(LayerError, match="Give a GeoDataFrame"):
        riskmap.check(county, layers={"streams": pd.DataFrame({"name": ["a"]})})


def test_a_result_shows_itself_in_a_line_a_table_and_a_picture(result: riskmap.Result) -> None:
    assert len(repr(result)) < 200
    ranked = int(result.parcels["rank"].notna().sum())
    assert f"{ranked:,} of {len(result.parcels):,} parcels ranked" in repr(result)
    shown = result._repr_html_()
    assert shown.count("<tr") == 12 + 1 + len(CLASSES)  # two of headings of the list, one of counts
    assert shown.count("<svg") == 1
    assert f"<td>{int(result.parcels['priority_class'].eq('highest').sum())}</td>" in shown
    axes = result.plot("failure_score")
    drawn = sum(len(part.get_paths()) for part in axes.collections)
    assert drawn >= len(result.parcels)
    plt.close("all")
    first = str(result.parcels["rank"].idxmin())
    assert first in result.explain(first) == riskmap.explain(result, first)


def test_the_module_is_the_command() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "riskmap", "--version"], capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("riskmap ")
