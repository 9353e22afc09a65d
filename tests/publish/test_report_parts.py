"""Parts of the report one by one: sums by hand, words, units, curves."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from riskmap.features import FEATURES
from riskmap.model_file import read_model
from riskmap.publish.report_method import curve_picture
from riskmap.publish.report_risk import drivers
from riskmap.publish.report_section import table_of
from riskmap.publish.report_words import evidence_counts, shown_value
from riskmap.ranking.model import Model
from riskmap.units import FOOT_M


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


class TestWords:
    def test_units_of_the_reader(self) -> None:
        assert shown_value("well_distance_m", 100 * FOOT_M, units="us") == "100 ft"
        assert shown_value("well_distance_m", 30.48, units="si") == "30.5 m"
        assert shown_value("nitrogen_kg_yr", 2.5, units="us") == "2.5 kg a year"

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
