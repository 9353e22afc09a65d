"""One small sample county for the season's work, and lists as riskmap writes them."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

import riskmap
from riskmap.publish.lists.inspection_list import write_inspection_list
from riskmap.publish.words.imprint import imprint_of
from riskmap.region.sections import Region
from riskmap.stages.result import Result
from sample_region.make import make_county
from tests.season.filling import RUN, Fill

PARCELS = 400


@pytest.fixture(scope="session")
def county(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("season_county")
    make_county(folder, parcels=PARCELS)
    return folder


def quick(region: Region) -> Region:
    """The same county without the long steps that the season's work does not hang on."""
    return replace(
        region,
        run=replace(region.run, draws=0),
        learning=replace(region.learning, use="off"),
    )


@pytest.fixture(scope="session")
def assessed(county: Path) -> Result:
    return riskmap.assess(quick(riskmap.open_region(county / "region.toml")))


@pytest.fixture
def own(assessed: Result, tmp_path: Path) -> Region:
    """The county as its own outcome log finds it: a test may record into it."""
    season = replace(assessed.region.season, log=str(tmp_path / "outcomes.sqlite"))
    return replace(assessed.region, season=season)


@pytest.fixture
def own_file(county: Path, assessed: Result, tmp_path: Path) -> Path:
    """The region file of a copy of the county, with what is kept of it."""
    folder = tmp_path / "county"
    shutil.copytree(county, folder)
    return folder / "region.toml"


@pytest.fixture(scope="session")
def listed(assessed: Result) -> pd.DataFrame:
    return pd.DataFrame(assessed.parcels.drop(columns="geometry"))


@pytest.fixture
def workbook(listed: pd.DataFrame, assessed: Result, tmp_path: Path) -> Path:
    imprint = imprint_of(assessed.region)
    share = assessed.region.season.followup_frac
    write_inspection_list(tmp_path, listed, imprint, length=40, share=share, run=RUN)
    return tmp_path / "lists" / "inspections.xlsx"


@pytest.fixture
def fill(workbook: Path) -> Fill:
    """Fill in rows of the workbook: heading -> value; returns its path."""

    def filled(*rows: dict[str, Any], first: int = 2, name: str = "") -> Path:
        book = openpyxl.load_workbook(workbook)
        page = book["Inspections"]
        places = {cell.value: cell.column for cell in page[1]}
        for number, row in enumerate(rows, start=first):
            for title, value in row.items():
                page.cell(number, places[title]).value = value
        path = workbook.with_name(name) if name else workbook
        book.save(path)
        return path

    return filled
