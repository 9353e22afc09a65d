"""What samples teach about wells, on the small county of the stages."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from riskmap.ranking.settings import LearningSettings
from riskmap.stages.county import County
from riskmap.stages.groundwater import Groundwater
from riskmap.stages.result import Result
from riskmap.stages.validation import measured_nitrate, validate_county
from riskmap.stages.well_samples import learn_from_samples

BLOCKS = LearningSettings(block_m=600.0)


def with_samples(result: Result, samples: pd.DataFrame | None) -> County:
    """The county with other samples, held out by blocks that fit its size."""
    region = replace(result.region, learning=BLOCKS)
    tables = {**result.county.tables, "well_samples": samples}
    return replace(result.county, region=region, tables=tables)


@pytest.fixture(scope="module")
def result(assessed: Result) -> Result:
    return assessed


@pytest.fixture(scope="module")
def groundwater(result: Result) -> Groundwater:
    assert result.groundwater is not None
    return result.groundwater


class TestValidation:
    def test_held_out_figures_of_the_county(self, groundwater: Groundwater, result: Result) -> None:
        county = with_samples(result, result.county.tables["well_samples"])
        found = validate_county(county, groundwater)
        assert found is not None
        assert found.samples == found.table["samples"].iloc[0] > 50
        assert set(found.table["split"]) == {"none", "blocks", "single wells"}
        ranked = found.table["rank_correlation"].dropna()
        assert ranked.between(-1, 1).all()
        assert len(ranked) == len(found.table)
        learned = found.table.set_index(["method", "split"]).loc["samples"]
        assert learned["held_by_range_frac"].between(0.8, 1).all()
        assert found.published["r2"].tolist() == [0.38, 0.33]
        assert "33% to 38%" in found.words
        assert "not to judge any well" in found.words

    def test_own_sample_stands_beside_a_prediction_without_it(
        self, result: Result, groundwater: Groundwater
    ) -> None:
        samples = result.county.tables["well_samples"]
        before = learn_from_samples(result.county, groundwater)
        assert before is not None
        sampled = before.index[before["last_nitrate_mg_l"].notna()]
        well = groundwater.wells.loc[sampled[0], "well_id"]
        own = (samples["well_id"] == well).to_numpy()
        changed = samples.assign(nitrate_mg_l=samples["nitrate_mg_l"].where(~own, 40.0))
        after = learn_from_samples(with_samples(result, changed), groundwater)
        assert after is not None
        assert after.loc[sampled[0], "last_nitrate_mg_l"] == 40.0
        without = learn_from_samples(with_samples(result, samples[~own]), groundwater)
        assert without is not None
        column = "nitrate_predicted_mg_l"
        # the spreads are learned with it, so it is nearly, not exactly, the same
        assert after.loc[sampled[0], column] == pytest.approx(
            without.loc[sampled[0], column], rel=0.1
        )

    def test_without_samples_there_is_no_answer(
        self, result: Result, groundwater: Groundwater
    ) -> None:
        empty = pd.DataFrame({"well_id": [], "nitrate_mg_l": [], "nitrate_below_limit": []})
        assert validate_county(with_samples(result, None), groundwater) is None
        assert validate_county(with_samples(result, empty), groundwater) is None
        few = pd.DataFrame({"well_id": groundwater.wells["well_id"].head(9), "nitrate_mg_l": 1.0})
        assert validate_county(with_samples(result, few), groundwater) is None

    def test_a_well_counts_once_by_its_median(self) -> None:
        samples = pd.DataFrame(
            {
                "well_id": ["a", "a", "a", "b"], "nitrate_mg_l": [1.0, 9.0, 3.0, 0.5],
                "nitrate_below_limit": [False, False, False, True],
            }
        )  # fmt: skip
        found = measured_nitrate(samples)
        assert found["measured_mg_l"].to_dict() == {"a": 3.0, "b": 0.25}
        assert found["below"].to_dict() == {"a": False, "b": True}
