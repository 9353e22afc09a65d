"""A county ranked as of an earlier day: nothing of what came later may show."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import riskmap
from riskmap.action.hindsight import first_visits
from riskmap.backtesting import write
from riskmap.contract.errors import RiskmapError
from riskmap.publish.report.backtest import backtest_section
from riskmap.running import open_result
from riskmap.stages.as_of import parcels_as_of, up_to
from riskmap.stages.progress import Progress
from riskmap.stages.result import Result
from sample_region.make import make_county

DAY = datetime.date(2021, 6, 1)
PARCELS = 120


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("as_of_county")
    make_county(place, parcels=PARCELS, seed=11)
    return place


@pytest.fixture(scope="module")
def result(folder: Path) -> Result:
    return open_result(riskmap.open_region(folder / "region.toml"))


@pytest.fixture(scope="module")
def then(result: Result) -> pd.DataFrame:
    return parcels_as_of(result, DAY, Progress(quiet=True))


def changed(result: Result) -> Result:
    """Every later record changed: findings turned around, permits and visits taken out or added."""
    day = pd.Timestamp(DAY)
    visits = result.things["layer_inspections"].copy()
    later = visits["date"] > day
    assert later.sum() > 5
    visits.loc[later, "stage"] = np.where(visits.loc[later, "stage"] == "sound", "failed", "sound")
    more = visits[later].assign(reason="complaint", parcel_id=visits["parcel_id"].iloc[0])
    visits = pd.concat([visits[~later], visits[later].iloc[::2], more], ignore_index=True)
    permits = result.things["layer_permits"].copy()
    late = permits["issued"] > day
    assert late.any()
    permits.loc[late, "action"] = "new"
    permits = permits[~late | (np.arange(len(permits)) % 2 == 0)].reset_index(drop=True)
    return result.with_things(layer_inspections=visits, layer_permits=permits)


def test_later_records_change_not_a_byte(result: Result, then: pd.DataFrame) -> None:
    other = parcels_as_of(changed(result), DAY, Progress(quiet=True))
    assert other.to_csv().encode() == then.to_csv().encode()


def test_earlier_records_do_change_it(result: Result, then: pd.DataFrame) -> None:
    """The test above can fail: what was on file then does show."""
    visits = result.things["layer_inspections"].copy()
    known = visits["date"] <= pd.Timestamp(DAY)
    visits.loc[known, "stage"] = "failed"
    other = parcels_as_of(result.with_things(layer_inspections=visits), DAY, Progress(quiet=True))
    assert other["on_file"].notna().sum() > then["on_file"].notna().sum()


def test_ages_lists_and_records_are_those_of_the_day(result: Result, then: pd.DataFrame) -> None:
    assert not (then["last_visit_year"] > DAY.year).any()
    assert not (then["installed_year"] > DAY.year)[then["list_rank"].notna()].any()
    built = result.county.tables["parcels"].set_index("parcel_id")["year_built"]
    listed = then.index[then["list_rank"].notna()]
    assert not (built.reindex(listed) > DAY.year).any()
    for _, part in then[then["list_rank"].notna()].groupby("worklist"):
        assert sorted(part["list_rank"]) == list(range(1, len(part) + 1))


def test_what_was_found_is_what_the_file_says(folder: Path, result: Result) -> None:
    """By plain reading of the county's own file."""
    raw = pd.read_csv(folder / "inspections" / "inspections.csv")
    raw["day"] = pd.to_datetime(raw["VISITED"], format="%m/%d/%Y", errors="coerce")
    run = pd.Timestamp(result.region.county.date)
    raw = raw[(raw["day"] > pd.Timestamp(DAY)) & (raw["day"] <= run) & raw["FOUND"].notna()]
    raw = raw[raw["PARCEL"].isin(result.county.tables["parcels"]["parcel_id"])]
    want = raw.sort_values("day").groupby("PARCEL")["FOUND"].first().eq("FAILED")
    got = first_visits(result.county.tables["inspections"], pd.Timestamp(DAY), run)["failed"]
    assert got.to_dict() == want.to_dict()


def test_later_dates_within_a_row_are_hidden() -> None:
    permits = pd.DataFrame(
        {
            "issued": pd.to_datetime(["2020-01-01", "2022-01-01", None]),
            "inspected": pd.to_datetime(["2021-09-01", "2022-02-01", None]),
            "last_pumped": pd.to_datetime(["2023-01-01", None, "2019-01-01"]),
        }
    )
    left = up_to(permits, pd.Timestamp(DAY), "permits")
    assert left["issued"].notna().tolist() == [True, False]
    assert left["inspected"].isna().all()
    assert left["last_pumped"].isna().tolist() == [True, False]


class TestInTheReport:
    def test_what_was_written_stands_there(self, folder: Path, tmp_path: Path) -> None:
        region = riskmap.open_region(folder / "region.toml")
        done = riskmap.backtest(region, years=5)
        write(done, tmp_path / "kept", Progress(quiet=True))
        named = replace(region, run=replace(region.run, backtest=str(tmp_path / "kept")))
        kept = riskmap.assess(named).backtest
        assert kept is not None
        assert kept.words == done.words
        pd.testing.assert_frame_equal(kept.table, done.table, check_dtype=False)
        page = backtest_section(kept)
        assert page.blocks[: len(done.words)] == done.words
        text = str(page.blocks)
        assert all(f"'{count:,}'" in text for count in done.table["visited"].unique())

    def test_without_one_it_says_how(self, result: Result) -> None:
        assert result.backtest is None
        assert "riskmap backtest REGION.toml" in str(backtest_section(None).blocks[0])

    @pytest.mark.parametrize("content", [None, "{", '{"words": [], "table": [[1]], "unlisted": 0}'])
    def test_a_folder_without_one_is_refused(
        self, folder: Path, tmp_path: Path, content: str | None
    ) -> None:
        if content is not None:
            (tmp_path / "backtest.json").write_text(content, encoding="utf-8")
        region = riskmap.open_region(folder / "region.toml")
        named = replace(region, run=replace(region.run, backtest=str(tmp_path)))
        with pytest.raises(RiskmapError, match=r"backtest"):
            riskmap.assess(named)
