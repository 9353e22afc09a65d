"""One small sample county, read and described once for all stages."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

import riskmap
from riskmap.region.sections import Region
from riskmap.stages.result import Result
from sample_region.make import make_county

PARCELS = 700


@pytest.fixture(scope="session")
def county_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("stage_county")
    make_county(folder, parcels=PARCELS)
    return folder


@pytest.fixture(scope="session")
def region(county_folder: Path) -> Region:
    opened = riskmap.open_region(county_folder / "region.toml")
    return replace(
        opened,
        run=replace(opened.run, draws=64),
        learning=replace(opened.learning, use="off"),
    )


@pytest.fixture(scope="session")
def assessed(region: Region) -> Result:
    return riskmap.assess(region)


@pytest.fixture(scope="session")
def features(assessed: Result) -> pd.DataFrame:
    return pd.DataFrame(assessed.parcels.drop(columns="geometry"))
