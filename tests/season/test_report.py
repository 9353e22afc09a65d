"""What a season found: figures against other software and simulation, and the two pages."""

from __future__ import annotations

import datetime
import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pypdf import PdfReader
from scipy import stats

import riskmap
from riskmap.action.season_figures import (
    LEVEL,
    by_reason,
    by_visit,
    county_share,
    ratio_to_expected,
    share_of,
)
from riskmap.contract.errors import NotEnoughDataError, SourceMissingError
from riskmap.outcomes.log import log_state
from riskmap.publish.words.imprint import run_name
from riskmap.region.sections import Region
from riskmap.season.recording import record
from riskmap.season.reporting import season_of, write_report
from riskmap.stages.result import Result
from tests.season.filling import TODAY

SEASONS = 4000


class TestShares:
    @pytest.mark.parametrize(("hits", "visits"), [(0, 20), (1, 20), (7, 35), (20, 20)])
    def test_a_share_is_as_another_program_gives_it(self, hits: int, visits: int) -> None:
        told = share_of([True] * hits + [False] * (visits - hits))
        exact = stats.binomtest(hits, visits).proportion_ci(LEVEL, method="exact")
        assert (told.low, told.high) == pytest.approx((exact.low, exact.high), abs=1e-12)

    def test_published_limits(self) -> None:
        """Clopper and Pearson (1934): for 10 trials and 3 hits 95% limits 0.067 and 0.652."""
        told = share_of([True] * 3 + [False] * 7)
        assert (round(told.low, 3), round(told.high, 3)) == (0.067, 0.652)

    def test_a_count_is_as_the_poisson_tail_says(self) -> None:
        told = ratio_to_expected(10, 1.0)
        assert stats.poisson.sf(9, told.low) == pytest.approx(0.025, abs=1e-9)
        assert stats.poisson.cdf(10, told.high) == pytest.approx(0.025, abs=1e-9)
        assert ratio_to_expected(0, 2.0).low == 0.0
        assert np.isnan(ratio_to_expected(3, 0.0).share)

    @pytest.mark.parametrize(
        ("share", "drawn", "systems"),
        [(0.05, 60, 3000), (0.12, 60, 3000), (0.3, 100, 400), (0.1, 250, 500)],
    )
    def test_the_interval_holds_the_truth_as_often_as_it_says(
        self, share: float, drawn: int, systems: int
    ) -> None:
        dice = np.random.default_rng(7)
        failed = np.arange(systems) < round(share * systems)
        held = 0
        for hits in dice.hypergeometric(failed.sum(), (~failed).sum(), drawn, SEASONS):
            table = pd.DataFrame(
                {"visit": "audit", "found": ["failed"] * hits + ["sound"] * (drawn - hits)}
            )
            told = county_share(table, systems=systems)
            held += told.low <= failed.mean() <= told.high
        error = np.sqrt(LEVEL * (1 - LEVEL) / SEASONS)
        assert held / SEASONS >= LEVEL - 3 * error
        assert held / SEASONS <= 0.995

    def test_unequal_draws_are_weighed(self) -> None:
        """Half the systems, the likelier to fail, drawn four times as often as the others."""
        dice = np.random.default_rng(3)
        systems = 4000
        likely = np.arange(systems) < systems // 2
        failed = dice.random(systems) < np.where(likely, 0.2, 0.05)
        chance = np.where(likely, 0.08, 0.02)
        held, shares = 0, []
        for _ in range(SEASONS // 4):
            drawn = dice.random(systems) < chance
            told = share_of(failed[drawn], 1 / chance[drawn], of=systems)
            shares.append(told.share)
            held += told.low <= failed.mean() <= told.high
        assert np.mean(shares) == pytest.approx(failed.mean(), abs=0.004)
        assert held / (SEASONS // 4) >= LEVEL - 0.02
        assert share_of(failed).share == failed.mean()

    def test_everybody_visited_leaves_no_doubt(self) -> None:
        told = share_of([True, False, False, True], of=4)
        assert (told.low, told.share, told.high) == (0.5, 0.5, 0.5)

    def test_nobody_visited_tells_nothing(self) -> None:
        assert np.isnan(share_of([]).share)


class TestTables:
    VISITS = pd.DataFrame(
        {
            "visit": ["list"] * 12 + ["audit"] * 3 + ["follow-up"],
            "found": ["failed"] * 3 + ["sound"] * 8 + ["could not tell", "sound", "sound", None,
                      "failed"],
            "chance": [0.25] * 12 + [0.1] * 3 + [0.0],
            "reason_1": ["Field 31 years old"] * 4 + ["Field 8 years old"] * 4 + ["Rare"] * 4
            + [None] * 4,
        }
    )  # fmt: skip

    def test_by_why_one_went_there(self) -> None:
        table = by_visit(self.VISITS)
        assert table.loc["list", ["visits", "told", "failed"]].tolist() == [12, 11, 3]
        assert table.loc["list", "expected"] == pytest.approx(2.75)
        assert table.loc["list", "hits"] == pytest.approx(100 * 3 / 11)
        assert table.loc["audit", ["told", "failed"]].tolist() == [2, 0]
        assert np.isnan(table.loc["follow-up", "ratio"])

    def test_by_reason_numbers_apart(self) -> None:
        table = by_reason(self.VISITS)
        assert table.index.tolist() == ["Field … years old", "other reasons"]
        assert table["failed"].tolist() == [3, 0]


@pytest.fixture
def result_folder(assessed: Result, tmp_path: Path) -> Path:
    """The part of a result folder that the report reads."""
    folder = tmp_path / "result"
    folder.mkdir()
    assessed.parcels.to_parquet(folder / "parcels.parquet")
    date = assessed.region.county.date.isoformat()
    content = {
        "inputs_sha256": dict(assessed.inputs),
        "settings": {"in_force": {"county": {"date": date}}},
    }
    (folder / "run.json").write_text(json.dumps(content))
    return folder


@pytest.fixture
def season(own: Region, listed: pd.DataFrame, tmp_path: Path) -> Region:
    """The county after twenty audits and forty visits from the list."""
    ranked = listed[listed["rank"].notna()].sort_values("rank").index
    lines = ["Parcel,Visit,Visited on,Found,By"]
    for number, parcel in enumerate(ranked[:40]):
        day = datetime.date(2026, 6, 3) + datetime.timedelta(days=number // 8)
        found = "failed" if number % 5 == 0 else "sound"
        lines.append(f"{parcel},list,{day},{found},A B")
    lines += [f"{p},audit,2026-07-01,{'failed' if n < 2 else 'sound'},C D"
              for n, p in enumerate(ranked[100:120])]  # fmt: skip
    path = tmp_path / "season.csv"
    path.write_text("\n".join(lines) + "\n")
    (done,) = record(own, [path], today=TODAY)
    assert done.new == 60
    return replace(own, outcomes=log_state(own.log_place))


class TestReport:
    def test_two_pages(
        self, season: Region, result_folder: Path, assessed: Result, tmp_path: Path
    ) -> None:
        told = season_of(season, result_folder)
        assert told.run == run_name(assessed.region, assessed.inputs)
        assert told.kinds.loc["list", "failed"] == 8
        assert told.share.share == pytest.approx(0.1)
        assert told.systems == int(assessed.parcels["rank"].notna().sum())
        path = tmp_path / "report.pdf"
        write_report(told, path)
        write_report(told, path)
        pages = [" ".join(page.extract_text().split()) for page in PdfReader(path).pages]
        assert len(pages) == 2
        assert "60 visits were made" in pages[0]
        assert "10.0%" in pages[0]
        assert "2026-06-03 to 2026-07-01" in pages[0]
        assert told.run in pages[0]
        assert "What each reason was worth" in pages[1]
        assert [one.name for one in tmp_path.glob("report*")] == ["report.pdf"]

    def test_what_moved_on_the_list_is_told_on_the_same_two_pages(
        self, season: Region, result_folder: Path, tmp_path: Path
    ) -> None:
        second = riskmap.assess(replace(season, county=replace(season.county, date=TODAY)))
        after = tmp_path / "after"
        shutil.copytree(result_folder, after)
        second.parcels.to_parquet(after / "parcels.parquet")
        content = json.loads((after / "run.json").read_text())
        content["settings"]["in_force"]["county"]["date"] = TODAY.isoformat()
        (after / "run.json").write_text(json.dumps(content))
        told = season_of(season, result_folder, after)
        assert told.moves is not None
        found = told.moves.by_finding
        assert found["systems"].sum() == int(second.parcels["rank"].notna().sum())
        assert found.loc["failed", "systems"] == 10
        assert found.loc["failed", "on_file"] == 10
        assert found.loc["sound", "chance_after"] < found.loc["sound", "chance_before"]
        assert told.moves.stayed + told.moves.visited + told.moves.other == told.moves.first
        assert len(told.moves.came) == told.moves.visited + told.moves.other
        path = tmp_path / "report.pdf"
        write_report(told, path)
        pages = [" ".join(page.extract_text().split()) for page in PdfReader(path).pages]
        assert len(pages) == 2
        assert "What changed on the list, and why" in pages[1]
        assert told.moves.came.index[0] in pages[1]
        with pytest.raises(SourceMissingError, match="not after the season's lists"):
            season_of(season, result_folder, result_folder)

    def test_nothing_was_recorded(self, own: Region, result_folder: Path) -> None:
        with pytest.raises(NotEnoughDataError, match="Nothing was recorded yet"):
            season_of(own, result_folder)

    def test_no_visit_after_that_run(self, season: Region, result_folder: Path) -> None:
        path = result_folder / "run.json"
        path.write_text(path.read_text().replace("2026-06-01", "2027-06-01"))
        with pytest.raises(NotEnoughDataError, match="No visit after 2027-06-01"):
            season_of(season, result_folder)

    def test_a_folder_that_is_no_result(self, season: Region, tmp_path: Path) -> None:
        with pytest.raises(SourceMissingError, match="no result of a run"):
            season_of(season, tmp_path)
