"""Parts of the report one by one: sums by hand, words, units, curves."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from riskmap.contract.features import FEATURES, words
from riskmap.contract.units import ACRE_M2, FOOT_M, POUND_KG
from riskmap.publish.report.method import curve_picture
from riskmap.publish.report.plan import nitrate_table, weights_table, zones_by_kind
from riskmap.publish.report.quality import look_up_facts
from riskmap.publish.report.risk import drivers
from riskmap.publish.report.section import table_of
from riskmap.publish.words.report_text import evidence_counts
from riskmap.ranking.model import Model
from riskmap.region.model_file import read_model


@pytest.fixture(scope="module")
def model() -> Model:
    return read_model(None, features=FEATURES)


class TestByHand:
    def test_drivers_by_hand(self, model: Model) -> None:
        table = pd.DataFrame({"rank": pd.array([1, 2, 3, None], "Int64")})
        for factor in model.factors:
            table[f"{factor.name}_points"] = [0.0, 0.0, 0.0, 99.0]
        table["age_points"] = [10.0, 6.0, 2.0, 99.0]
        found = drivers(table, model, top=1)
        share_of_failure = model.failure_share
        assert found.index[0] == "age"
        assert found.loc["age", "top"] == pytest.approx(10 * share_of_failure)
        assert found.loc["age", "rest"] == pytest.approx(4 * share_of_failure)
        assert found.loc["age", "leads"] == 1

    def test_an_assumed_value_counts_as_missing(self) -> None:
        marks = ["measured", "assumed", None, "inferred"]
        table = pd.DataFrame({"kind": ["bed", "bed", "bed", None], "kind_evidence": marks})
        assert evidence_counts(table, "kind") == [1, 0, 0, 1, 2]


class TestPlanTables:
    def test_zones_by_hand(self) -> None:
        zones = pd.DataFrame(
            {
                "kind": ["nitrate", "capture", "nitrate"],
                "area_m2": [10 * ACRE_M2, 5 * ACRE_M2, 2.5 * ACRE_M2],
                "systems": [1000, 2, 30],
                "wells": [1, 2, 3],
                "people": [4, 5, 6],
            }
        )
        table = zones_by_kind(zones)
        assert table.columns[2] == "Land (acres)"
        assert table.rows == [
            ("Capture area of wells", "1", "5", "2", "2", "5"),
            ("High predicted nitrate", "2", "12.5", "1,030", "4", "10"),
        ]
        assert zones_by_kind(zones, units="si").rows[0][2] == "2.02"

    def test_no_machine_words(self, model: Model) -> None:
        found = pd.DataFrame(
            {
                "method": ["plumes as predicted", "random_forest"],
                "split": ["none", "blocks"],
                "r2": [-2.59, 0.07],
                "rank_correlation": [0.15, np.nan],
                "found_in_first_10_pct_frac": [0.31, np.nan],
                "said_above_frac": [0.034, np.nan],
                "found_above_frac": [0.048, np.nan],
                "held_by_range_frac": [0.9, np.nan],
                "samples": [722, 722],
                "above_limit": [36, 36],
                "suspect": [False, False],
            }
        )
        moves = pd.DataFrame(
            {
                "factor": ["last_visit"],
                "weight": [5.0],
                "moved_to": [20.0],
                "rank_correlation": [0.9761],
                "kept": [0.774],
            }
        )
        weights = weights_table(moves, model, top=200)
        assert weights.rows == [("Last visit", "5", "20", "77%", "0.976")]
        assert "Of the first 200, kept" in weights.columns
        nitrate = nitrate_table(found)
        assert nitrate.rows[0][4:] == ("31%", "3.4%", "4.8%", "90%")
        assert nitrate.rows[1][2:] == ("0.07", *5 * ("\u2013",))
        assert "722 sampled wells, 36 above" in nitrate.note
        for table in (weights, nitrate):
            words = [*table.columns, *(str(cell) for row in table.rows for cell in row)]
            assert not [word for word in words if "_" in word]


class TestWords:
    def test_units_of_the_reader(self) -> None:
        read = {
            ("well_distance_m", 100 * FOOT_M, "us"): "100 ft",
            ("well_distance_m", 30.48, "si"): "30 m",
            ("nitrogen_kg_yr", 10 * POUND_KG, "us"): "10.0 lb a year",
            ("nitrogen_kg_yr", 2.5, "si"): "2.5 kg a year",
        }
        for (name, value, units), want in read.items():
            assert words(pd.Series([value]), name, units).tolist() == [want]

    def test_tables_from_frames(self) -> None:
        frame = pd.DataFrame({"a": [1, 2], "b": [0.5, np.nan], "c": ["x", None]})
        table = table_of(frame)
        assert table.rows == (("1", "0.5", "x"), ("2", "–", "–"))
        assert table.numbers == {0, 1}

    def test_curve_picture_passes_through_the_curve(self, model: Model) -> None:
        factor = next(f for f in model.factors if f.name == "age")
        svg = curve_picture(factor, units="us").svg
        points = re.search(r'points="([^"]+)"', svg)
        assert points
        xy = np.array([tuple(map(float, pair.split(","))) for pair in points[1].split()])
        inner = xy[1:-1]
        limits = (inner[0, 1] - inner[:, 1]) / (inner[0, 1] - inner[-1, 1])
        np.testing.assert_allclose(limits, [y for _, y in factor.curve], atol=0.01)
        years = (inner[:, 0] - inner[0, 0]) / (inner[-1, 0] - inner[0, 0]) * factor.curve[-1][0]
        np.testing.assert_allclose(years, [x for x, _ in factor.curve], atol=0.1)


def test_one_record_is_named_as_worth_an_hour() -> None:
    """What an hour brings comes from the draws alone, and is not said where nothing is gained."""
    brings = pd.DataFrame({"label": ["last pump-out", "number of people"], "gain": [5.0, 2.0]})
    told = look_up_facts(brings)
    assert told == ["Most useful record to look up first: last pump-out."]
    for nothing in (None, brings.assign(gain=0.0), brings.iloc[:0]):
        assert look_up_facts(nothing) == []
