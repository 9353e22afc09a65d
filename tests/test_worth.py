"""The benchmark of the ranking: what is on file, figures by eye and by other software, tables."""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import average_precision_score

from benchmarks import worth, worth_county, worth_tables
from benchmarks.worth_county import (
    LIST,
    SIMPLE_ORDERS,
    calibration_slope,
    chance_draws,
    on_file,
    order_draws,
    read_systems,
)
from sample_region.worlds import WORLDS

COUNT = 240
RESAMPLES = 40


@pytest.fixture(autouse=True)
def few_samples(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worth_county, "RESAMPLES", RESAMPLES)


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(line.strip() for line in text.strip().splitlines()) + "\n", "utf-8")


@pytest.fixture
def county(tmp_path: Path) -> Path:
    """Visits and permits of seven parcels; what is on file of each stands beside it."""
    _write(
        tmp_path / "inspections" / "inspections.csv",
        """PARCEL,VISITED,REASON,FOUND
        failed,03/01/2020,COMPLAINT,FAILED
        repaired,03/01/2020,SALE,FAILED
        failed again,03/01/2012,SALE,FAILED
        failed again,03/01/2024,AUDIT,FAILED
        then sound,03/01/2015,SALE,FAILED
        then sound,03/01/2022,SALE,OK
        complained,05/01/2019,COMPLAINT,OK
        complained,07/01/2021,COMPLAINT,STRESSED
        before repair,05/01/2010,COMPLAINT,OK
        ,05/01/2019,COMPLAINT,FAILED""",
    )
    _write(
        tmp_path / "permits" / "permits.csv",
        """PIN,ISSUED,ACTION
        repaired,2020-06-01,REPAIR
        failed again,2013-06-01,REPAIR
        before repair,2011-06-01,REPAIR
        before repair,1999-06-01,REPAIR
        complained,2020-06-01,NEW
        failed,2019-02-30,REPAIR
        only repaired,2001-01-01,REPAIR""",
    )
    return tmp_path


@pytest.fixture
def systems() -> pd.DataFrame:
    """Systems with a truth that one order and one chance know of, in blocks."""
    rng = np.random.default_rng(3)
    lean = rng.normal(-2, 1.5, COUNT)
    chance = 1 / (1 + np.exp(-lean))
    table = pd.DataFrame(index=[f"p{n}" for n in range(COUNT)])
    table["failed"] = (rng.random(COUNT) < chance).astype(float)
    table["stressed"] = 0.0
    table["fails_in_yr"] = np.where(table.failed == 1, 0.0, np.where(lean > 0, 4.0, np.nan))
    table["known"] = (table.failed == 1) & (rng.random(COUNT) < 0.3)
    table["block"] = np.arange(COUNT) // 12
    for name in (*SIMPLE_ORDERS, LIST):
        table[name] = rng.random(COUNT)
    table[LIST] = lean
    table["chance:failed"] = chance
    table["chance:in_5_yr"] = chance
    return table


class TestOnFile:
    def test_known_is_found_and_not_repaired_since(self, county: Path) -> None:
        known = on_file(county)["known"]
        assert set(known.index[known]) == {"failed", "failed again", "then sound"}

    def test_burden_by_eye(self, county: Path) -> None:
        assert on_file(county)["burden"].to_dict() == {
            "failed": 110.0, "repaired": 1.0, "failed again": 101.0, "then sound": 100.0,
            "complained": 25.0, "before repair": 2.0, "only repaired": 1.0,
        }  # fmt: skip

    def test_systems_of_a_result(self, county: Path) -> None:
        ids = ["failed", "complained", "nobody knows", "sewered", "not in truth"]
        pd.DataFrame(
            {
                "parcel_id": ids, "rank": [2, 1, 3, np.nan, 4], "x_m": [0.0, 1, 5000, 0, 0],
                "y_m": 0.0, "age_yr": [10, np.nan, 30, 1, 1], "failure_score": [40.0, 50, 60, 1, 1],
                "soil_rating": [1.0, 0.5, np.nan, 0, 0], "limit_slope": [0.0, 1, 0, 0, 0],
                "chance_x": [0.1, 0.2, 0.3, 0.4, 0.5],
            }
        ).to_parquet(county / "parcels.parquet")  # fmt: skip
        pd.DataFrame(
            {
                "parcel_id": ids[:4],
                "failed": [1, 0, 0, 0],
                "stressed": 0,
                "fails_in_yr": [0, "", 5, ""],
            }
        ).to_csv(county / "truth.csv", index=False)
        table = read_systems(county, county, columns=["chance_x"], chances=["chance_x:failed"])
        assert table.index.tolist() == ids[:3]
        assert table["known"].tolist() == [True, False, False]
        assert table["block"].tolist() == [0, 0, 1]
        assert table["oldest first"].tolist() == [10, 20, 30]
        assert table["soil rule first"].tolist() == [1.0, 0.501, 0.0]
        assert table["records first"].round(3).tolist() == [110.01, 25.02, 0.03]
        assert table["on file first, then score"].tolist() == [1040, 50, 60]
        assert table[LIST].tolist() == [-2, -1, -3]
        assert table["chance_x"].tolist() == table["chance_x:failed"].tolist() == [0.1, 0.2, 0.3]


class TestFigures:
    def test_precision_is_scikit_learn_s(self, systems: pd.DataFrame) -> None:
        drawn = order_draws(systems, [LIST, "oldest first"], list(worth_tables.HEADS))
        assert len(drawn) == RESAMPLES + 1
        for name in (LIST, "oldest first"):
            expected = average_precision_score(systems.failed, systems[name])
            assert drawn[name, "average_precision"].iloc[0] == pytest.approx(expected)
        first = systems.sort_values(LIST, ascending=False).failed[: COUNT // 10]
        assert drawn[LIST, "found_per_100_visits"].iloc[0] == pytest.approx(100 * first.mean())

    def test_slope_is_scikit_learn_s(self, systems: pd.DataFrame) -> None:
        chance = systems["chance:failed"].to_numpy()
        odds = np.log(chance / (1 - chance))[:, None]
        other = LogisticRegression(C=1e9, tol=1e-10, max_iter=10_000).fit(odds, systems.failed)
        slope = calibration_slope(systems.failed.to_numpy(), chance)
        assert slope == pytest.approx(other.coef_[0, 0], rel=1e-4)

    def test_twice_too_extreme_has_half_the_slope(self, systems: pd.DataFrame) -> None:
        truth, chance = systems.failed.to_numpy(), systems["chance:failed"].to_numpy()
        odds = chance / (1 - chance)
        extreme = odds**2 / (1 + odds**2)
        inside = (extreme > 1e-4) & (extreme < 1 - 1e-4)
        once, twice = (calibration_slope(truth[inside], c[inside]) for c in (chance, extreme))
        assert twice == pytest.approx(once / 2)

    def test_one_chance_for_all_has_no_slope(self) -> None:
        assert np.isnan(calibration_slope(np.array([1.0, 0, 0]), np.full(3, 0.3)))

    def test_what_comes_is_asked_of_those_not_failed(self, systems: pd.DataFrame) -> None:
        drawn = chance_draws(systems, ["chance:failed", "chance:in_5_yr"])
        now, sound = drawn.iloc[0], systems[systems.failed == 0]
        assert now["chance:failed", "found"] == pytest.approx(systems.failed.mean())
        assert now["chance:in_5_yr", "found"] == pytest.approx((sound.fails_in_yr == 4).mean())
        assert now["chance:in_5_yr", "said"] == pytest.approx(sound["chance:in_5_yr"].mean())

    def test_unknown_chances_are_left_out(self, systems: pd.DataFrame) -> None:
        systems.iloc[:100, systems.columns.get_loc("chance:failed")] = np.nan
        said = chance_draws(systems, ["chance:failed"]).iloc[0]["chance:failed", "said"]
        assert said == pytest.approx(systems["chance:failed"].iloc[100:].mean())


class TestTables:
    def _text(self, systems: pd.DataFrame) -> str:
        counties = {"usual": {1: systems, 2: systems}, "few-records": {3: systems}}
        return worth_tables.tables(counties, columns=[], chances=["chance:failed"])

    def test_those_not_known_lead(self, systems: pd.DataFrame) -> None:
        text = self._text(systems)
        heads = [line for line in text.splitlines() if line.startswith("#")]
        assert heads == ["### Systems not known to have failed", "### All systems", "### Chances"]
        unknown = systems[~systems.known]
        assert f"mean of 2 counties, {2 * len(unknown):,} systems" in text

    def test_the_difference_to_the_best_simple_order(self, systems: pd.DataFrame) -> None:
        rows = [one for one in self._text(systems).splitlines() if one.startswith("| few-records")]
        cells = [cell.strip() for cell in rows[1].strip("|").split("|")]
        figures = [float(cell.split()[0]) for cell in cells[3 : 3 + len(SIMPLE_ORDERS) + 1]]
        assert cells[-2] == SIMPLE_ORDERS[int(np.argmax(figures[:-1]))]
        assert float(cells[-1].split()[0]) == pytest.approx(
            figures[-1] - max(figures[:-1]), abs=0.0011
        )

    def test_a_page_keeps_what_stands_around(self, tmp_path: Path) -> None:
        page = tmp_path / "page.md"
        page.write_text(f"before\n{worth_tables.BEGIN}\nold\n{worth_tables.END}\nafter\n", "utf-8")
        worth_tables.write_into(page, "new")
        lines = page.read_text("utf-8").split()
        assert lines[0] == "before"
        assert lines[-1] == "after"
        assert "new" in lines
        assert "old" not in lines

    def test_the_handbook_s_page_shows_every_world_and_order(self, repo: Path) -> None:
        page = (repo / "docs" / "methods" / "worth.md").read_text("utf-8")
        table = page.split(worth_tables.BEGIN)[1].split(worth_tables.END)[0]
        lead = table.split("### All systems")[0]
        for name in (*SIMPLE_ORDERS, LIST, *WORLDS):
            assert f"\n| {name} | " in lead, name


class TestSeeds:
    def test_no_judging_seed_was_built_with(self) -> None:
        assert list(worth.BUILDING) == list(worth.JUDGING) == list(WORLDS)
        for world in WORLDS:
            assert not set(worth.BUILDING[world]) & set(worth.JUDGING[world])
        assert len(worth.JUDGING["usual"]) >= 5

    def test_what_is_missing(self, tmp_path: Path) -> None:
        seeds = {"usual": (1, 2), "few-records": (1,)}
        (worth.county_folder(tmp_path, "usual", 1)).mkdir(parents=True)
        (worth.county_folder(tmp_path, "usual", 1) / "truth.csv").touch()
        assert worth.missing(tmp_path, seeds) == [("usual", 1), ("usual", 2), ("few-records", 1)]
        (worth.result_folder(tmp_path, "usual", 1)).mkdir(parents=True)
        (worth.result_folder(tmp_path, "usual", 1) / "parcels.parquet").touch()
        assert worth.missing(tmp_path, seeds) == [("usual", 2), ("few-records", 1)]
        assert worth.measured(tmp_path, {"few-records": (1,)}) == ""

    def test_a_county_that_cannot_be_made_is_told(self, tmp_path: Path) -> None:
        said = worth._one(tmp_path, "usual", 1, 20)
        assert said.startswith("usual_1: not made: ")
        assert "at least 100" in said

    @pytest.mark.parametrize("text", ["chance", "chance:", ":failed", "chance:soon"])
    def test_a_chance_needs_its_outcome(self, text: str) -> None:
        with pytest.raises(argparse.ArgumentTypeError, match="COLUMN:OUTCOME"):
            worth._chance(text)
