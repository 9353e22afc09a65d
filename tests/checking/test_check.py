"""`riskmap check`: all errors at once, what joins, what is covered, what it costs, its cure."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.checking.check import Checked, check_county, costs_of
from riskmap.checking.coverage import coverage_of, covered, squares_of
from riskmap.checking.cures import CURES
from riskmap.checking.findings import grades
from riskmap.checking.lot_sizes import lot_size_trouble
from riskmap.checking.page import check_page
from riskmap.checking.screen import WIDTH, screen_text
from riskmap.cli import main
from riskmap.contract.features import FEATURES
from riskmap.contract.grid import grid_from_bounds
from riskmap.contract.units import ACRE_M2, SQUARE_FOOT_M2
from riskmap.ranking.model import SCORES
from riskmap.ranking.score import score
from riskmap.region.model_file import read_model
from riskmap.region.read import read_region
from sample_region.make import make_county


@pytest.fixture(scope="module")
def county(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("county")
    make_county(folder, parcels=200)
    return folder


def table(county: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(county / name, dtype=str, keep_default_na=False)


@pytest.fixture(scope="module")
def dirty(county: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The county with numbers spelled otherwise, an own code, dates to come, no sewer map."""
    folder = tmp_path_factory.mktemp("dirty") / "county"
    shutil.copytree(county, folder)
    permits = table(folder, "permits/permits.csv")
    permits["PIN"] = permits["PIN"].str.replace("-", "")
    permits.loc[:4, "PIN"] = "99999999"
    permits.loc[permits["TYPE"].eq("MOUND"), "TYPE"] = "HILL"
    permits.loc[5:9, "ISSUED"] = "2066-08-03"
    permits.to_csv(folder / "permits/permits.csv", index=False)
    text = (folder / "region.toml").read_text("utf-8")
    text = text[: text.index("[layers.sewer_area]")] + text[text.index("[lists]") :]
    acres = 'recorded_area_m2 = { column = "ACRES", unit = "m2" }\nparcel_id = "PIN"'
    text = text.replace('parcel_id = "PIN"', acres, 1)
    (folder / "region.toml").write_text(text, encoding="utf-8")
    return folder / "region.toml"


@pytest.fixture(scope="module")
def checked(dirty: Path) -> Checked:
    return check_county(read_region(dirty))


class TestWhatIsFound:
    def said(self, checked: Checked, layer: str, column: str) -> pd.DataFrame:
        rows = checked.findings
        return rows[rows["layer"].eq(layer) & rows["column"].eq(column)]

    def test_the_match_sheet_counts_what_another_spelling_gains(self, checked: Checked) -> None:
        row = checked.matches.set_index("layer").loc["permits"]
        assert row["as_they_stand"] == 0
        assert row["other_spelling"] > 100
        assert row["lost"] == 1
        assert row["keys"] == row["other_spelling"] + 1

    def test_unknown_codes_stand_with_counts_and_the_words_allowed(self, checked: Checked) -> None:
        row = self.said(checked, "permits", "kind").iloc[0]
        assert re.search(r"HILL \(\d+\)", row["example"])
        assert "seepage_pit" in row["finding"]
        assert "values" in row["cure"]

    def test_dates_to_come_are_serious(self, checked: Checked) -> None:
        row = self.said(checked, "permits", "issued").set_index("finding").loc["future date"]
        assert (row["rows"], row["weight"]) == (5, "serious")

    def test_lot_sizes_are_held_against_acres(self, checked: Checked) -> None:
        row = self.said(checked, "parcels", "recorded_area_m2").iloc[0]
        assert row["weight"] == "serious"
        assert "in acres and said to be in square meters" in row["finding"]

    def test_nothing_ranked_says_which_layer_is_missing(self, checked: Checked) -> None:
        assert checked.ranked < 0.5 * checked.parcels
        first = checked.unranked[0]
        assert first.layer == "sewer_area"
        assert checked.grades["sewer_area"] == "missing"
        assert "[layers.sewer_area]" in screen_text(checked)

    def test_grades(self, checked: Checked) -> None:
        assert checked.grades["permits"] == "poor"
        assert checked.grades["elevation"] == "good"
        rows = pd.DataFrame({"layer": ["wells"], "weight": ["minor"]})
        assert grades(rows, ["wells", "streams"], ["streams", "sewer_area"]) == {
            "wells": "fair", "streams": "good", "sewer_area": "missing"
        }  # fmt: skip

    def test_costs_are_shares_of_the_weight_by_hand(self, checked: Checked) -> None:
        model = read_model(None, features=FEATURES)
        rows = pd.DataFrame({name: pd.Series(pd.NA, index=["a", "b"]) for name in FEATURES})
        rows["service"], rows["age_yr"] = "onsite", [20.0, None]
        costs = costs_of(rows, model).set_index(["score", "factor"])
        age = next(factor for factor in model.of("failure") if factor.feature == "age_yr")
        share = age.weight / sum(factor.weight for factor in model.of("failure"))
        assert costs.loc[("failure", age.label), "lost_frac"] == pytest.approx(share / 2)
        for kind in SCORES:
            known = score(rows, model).known_frac[kind].mean()
            lost = costs.loc[kind, "lost_frac"].sum()
            assert lost == pytest.approx(1 - known)
        assert len(checked.costs) == len(costs)


class TestShown:
    def test_the_screen_is_a_hundred_letters_wide(self, checked: Checked) -> None:
        lines = screen_text(checked).splitlines()
        assert len(lines) > 30
        assert max(map(len, lines)) <= WIDTH == 100

    def test_the_page_shows_all_and_asks_nothing_of_the_network(self, checked: Checked) -> None:
        page = check_page(checked)
        assert page.count("<svg") == len(checked.coverage) >= 8
        assert "HILL" in page
        assert not re.search(r"(src|href)=.(https?:)?//", page)

    def test_folder_and_exit_codes(
        self, dirty: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        out = tmp_path / "check"
        assert main(["check", str(dirty), "--out", str(out), "--quiet"]) == 0
        assert main(["check", str(dirty), "--strict", "--quiet"]) == 3
        assert "SERIOUS" in capsys.readouterr().out
        found = pd.read_csv(out / "findings.csv")
        assert found["weight"].isin(["serious", "minor"]).all()
        assert found[["cost", "cure"]].notna().all(axis=None)
        for name in ("matches.csv", "coverage.csv", "costs.csv", "defects.csv", "index.html"):
            assert (out / name).stat().st_size > 50, name


class TestErrorsAtOnce:
    def test_every_layer_that_cannot_be_read_is_told(
        self, county: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        text = (county / "region.toml").read_text("utf-8")
        for name in ("wells/wells.csv", "sewer/sewer.geojson", "terrain/dem_10m.tif"):
            text = text.replace(name, name + ".gone")
        path = county / "broken.toml"
        path.write_text(text, encoding="utf-8")
        assert main(["check", str(path), "--quiet"]) == 2
        out = capsys.readouterr().out
        assert "ERRORS: 3 stop a run" in out
        for layer in ("wells", "sewer_area", "elevation"):
            assert re.search(rf"^- {layer}:", out, re.MULTILINE)
        assert "permits.parcel_id in parcels" in out

    def test_soils_of_another_county(self, county: Path, shared_data: Path) -> None:
        text = (county / "region.toml").read_text("utf-8")
        other = (shared_data / "soil_survey/ia073_area").resolve().as_posix()
        path = county / "elsewhere.toml"
        path.write_text(text.replace("soils/ZZ001", other), encoding="utf-8")
        faults = check_county(read_region(path)).faults
        assert len(faults) == 1
        assert "map units lies near the parcels" in faults[0]
        assert "latitude 41.9" in faults[0]


class TestParts:
    LOTS = gpd.GeoDataFrame(
        geometry=[shapely.box(100 * n, 0, 100 * n + 80, 80) for n in range(10)],
        index=pd.Index([f"p{n}" for n in range(10)], name="parcel_id"), crs=32616,
    )  # fmt: skip

    def test_coverage_of_each_kind_of_layer(self) -> None:
        half = gpd.GeoDataFrame(geometry=[shapely.box(-5, -5, 490, 100)], crs=32616)
        near = gpd.GeoDataFrame(geometry=[shapely.Point(-760, 40)], crs=32616)
        line = gpd.GeoDataFrame(geometry=[shapely.LineString([(-760, -9), (-760, 99)])], crs=32616)
        grid = grid_from_bounds(west_m=0, north_m=100, cell_m=50, values=np.ones((2, 6)))
        named = pd.DataFrame({"parcel_id": ["p1", "p7", "zz"]})
        shares = [covered(layer, self.LOTS).sum() for layer in (half, near, line, grid, named)]
        assert shares == [5, 3, 3, 3, 2]

    def test_squares_keep_every_parcel(self) -> None:
        flags = np.arange(10) < 4
        squares = squares_of(flags, self.LOTS)
        assert squares.shape[1] == 24
        assert np.nansum(squares) == 4
        assert np.isfinite(squares).sum() == 10
        assert coverage_of("sewer_area", pd.DataFrame({"name": []}), self.LOTS).share == 0

    @pytest.mark.parametrize(
        ("factor", "words"),
        [
            (SQUARE_FOOT_M2, "the lots are in feet and said to be in meters"),
            (1 / ACRE_M2, "in acres and said to be in square meters"),
            (ACRE_M2 / SQUARE_FOOT_M2, "in square feet and said to be in acres"),
            (0.2, "times as large"),
        ],
    )
    def test_lot_sizes(self, factor: float, words: str) -> None:
        lots = gpd.GeoDataFrame(
            {"recorded_area_m2": np.full(30, 6400.0)}, geometry=[shapely.box(0, 0, 80, 80)] * 30
        )
        assert lot_size_trouble(lots) == ""
        wrong = lots.assign(recorded_area_m2=6400.0 * factor)
        assert words in lot_size_trouble(wrong)

    def test_cures_are_of_checks_that_readers_make(self, repo: Path) -> None:
        code = "".join(path.read_text("utf-8") for path in (repo / "data_pipelines").rglob("*.py"))
        unknown = [check for check in CURES if f'"{check}"' not in code]
        assert unknown == []
