"""One small sample county with draws, for scenarios."""

from __future__ import annotations

from dataclasses import replace

import pytest

import riskmap
from riskmap.stages.result import Result
from sample_region.make import make_county


@pytest.fixture(scope="session")
def county(tmp_path_factory: pytest.TempPathFactory) -> Result:
    folder = tmp_path_factory.mktemp("scenario_county")
    make_county(folder, parcels=150)
    region = riskmap.open_region(folder / "region.toml")
    region = replace(
        region,
        run=replace(region.run, draws=16),
        learning=replace(region.learning, use="off"),
    )
    return riskmap.assess(region)
