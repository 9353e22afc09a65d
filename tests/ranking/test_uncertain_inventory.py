"""From inventory rows to distributions of every factor."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from riskmap.contract.features import FEATURES
from riskmap.ranking.inputs import describe_inputs
from riskmap.ranking.model import parse_model
from riskmap.ranking.priors import spread_of
from riskmap.ranking.score import score
from riskmap.ranking.uncertainty import propagate


def names(n: int) -> pd.Index:
    return pd.Index([f"lot-{i:04d}" for i in range(n)])


MODEL = parse_model(
    {
        "name": "two factors",
        "failure_share": 0.7,
        "min_known_frac": 0.0,
        "log_hazard_per_point": 0.0,
        "factor": [
            {
                "name": "age",
                "score": "failure",
                "feature": "age_yr",
                "label": "Age",
                "weight": 2,
                "low": 1,
                "high": 3,
                "unknown": 0.5,
                "source": "",
                "reason": "",
                "curve": [[0, 0], [40, 1]],
            },
            {
                "name": "drainage",
                "score": "groundwater",
                "feature": "drainage_class",
                "label": "Drainage",
                "weight": 1,
                "low": 1,
                "high": 1,
                "unknown": 0.5,
                "source": "",
                "reason": "",
                "table": {"well drained": 0.1, "poorly drained": 0.9},
            },
        ],
    }
)


class TestInventory:
    def features(self) -> pd.DataFrame:
        n = 60
        return pd.DataFrame(
            {
                "age_yr": [30.0] * 3 + [None] + list(np.linspace(0, 45, n - 4)),
                "age_yr_evidence": ["measured", "mapped", "assumed", "unknown"]
                + ["mapped"] * (n - 4),
                "drainage_class": ["well drained"] * 30 + ["poorly drained"] * 29 + [None],
            },
            index=names(n),
        )

    def test_weaker_evidence_gives_a_wider_range(self) -> None:
        found = propagate(self.features(), MODEL, top=10).table
        width = (found["failure_score_p95"] - found["failure_score_p05"]).to_numpy()[:4]
        assert (np.diff(width) > 5).all()

    def test_an_unknown_word_is_any_of_the_countys(self) -> None:
        found = propagate(self.features(), MODEL, top=10).table
        last = found.iloc[-1]
        expected = 100 * (30 * 0.1 + 29 * 0.9) / 59
        assert last["groundwater_score_mean"] == pytest.approx(expected, abs=1.5)

    def test_soil_components_are_taken_by_their_share(self) -> None:
        parts = pd.DataFrame(
            {
                "parcel_id": ["lot-0000"] * 2 + ["not here"],
                "value": [0.0, 40.0, 5.0],
                "share": [75.0, 25.0, 1.0],
            }
        )
        found = propagate(self.features(), MODEL, top=10, mixtures={"age_yr": parts}).table
        assert found["failure_score_mean"].iloc[0] == pytest.approx(25.0, abs=0.5)
        assert found["failure_score_p50"].iloc[0] == 0.0
        assert found["failure_score_p95"].iloc[0] == 100.0

    def test_factors_of_one_feature_see_the_same_error(self) -> None:
        rising = MODEL.factors[0]
        falling = replace(
            rising, name="again", score="groundwater", curve=((0.0, 1.0), (40.0, 0.0))
        )
        twice = replace(MODEL, factors=(rising, falling), failure_share=0.5)
        features = self.features()
        features["age_yr_evidence"] = "mapped"
        found = propagate(features, twice, top=10).table
        assert found["priority_p05"].to_numpy() == pytest.approx(50.0, abs=0.2)
        assert found["priority_p95"].to_numpy() == pytest.approx(50.0, abs=0.2)
        width = found["failure_score_p95"] - found["failure_score_p05"]
        assert width.iloc[3] > 50, "the unknown age is wide in each score"

    def test_words_redrawn_for_two_factors_are_the_same_word(self) -> None:
        first = MODEL.factors[1]
        second = replace(
            first,
            name="again",
            score="failure",
            table=(("well drained", 0.9), ("poorly drained", 0.1)),
        )
        twice = replace(MODEL, factors=(first, second), failure_share=0.5)
        found = propagate(self.features(), twice, top=10).table
        assert found["priority_p05"].to_numpy() == pytest.approx(50.0, abs=0.1)
        assert found["priority_p95"].to_numpy() == pytest.approx(50.0, abs=0.1)

    def test_one_component_gives_all_its_features(self) -> None:
        wet = replace(
            MODEL.factors[0],
            name="wet",
            feature="wet_depth_cm",
            score="groundwater",
            curve=((0.0, 1.0), (40.0, 0.0)),
        )
        twice = replace(MODEL, factors=(MODEL.factors[0], wet), failure_share=0.5)
        features = self.features().assign(wet_depth_cm=20.0)
        parts = pd.DataFrame(
            {"parcel_id": "lot-0000", "value": [0.0, 20.0, 40.0], "share": [30, 30, 40]}
        )
        both = {"age_yr": parts, "wet_depth_cm": parts}
        found = propagate(features, twice, top=10, mixtures=both).table.iloc[0]
        assert found["priority_p05"] == pytest.approx(50.0, abs=0.1)
        assert found["priority_p95"] == pytest.approx(50.0, abs=0.1)
        assert found["failure_score_p95"] - found["failure_score_p05"] == pytest.approx(100.0)

    def test_every_factor_is_described(self) -> None:
        made = describe_inputs(self.features(), MODEL)
        assert [entry.name for entry in made] == ["age", "drainage"]
        assert made[0].redraw[3] == 1.0
        assert made[1].redraw[0] == spread_of("drainage_class", words=True).mapped

    def test_spreads_widen_as_evidence_weakens(self) -> None:
        for name in FEATURES:
            spread = spread_of(name)
            assert spread.measured <= spread.mapped <= spread.inferred <= spread.assumed, name


def test_the_scoring_model_that_comes_with_the_program(repo: Path) -> None:
    content = tomllib.loads((repo / "riskmap" / "ranking" / "scoring_model.toml").read_text())
    model = parse_model(content)
    rng, n = np.random.default_rng(0), 200
    features = pd.DataFrame(index=names(n))
    for factor in model.factors:
        if factor.table:
            words = [word for word, _ in factor.table]
            features[factor.feature] = rng.choice(np.array([*words, None], dtype=object), n)
        elif factor.feature not in features:
            low, high = factor.curve[0][0], factor.curve[-1][0]
            known = rng.random(n) < 0.9
            features[factor.feature] = np.where(known, rng.uniform(low, high, n), np.nan)
    found = propagate(features, model, top=20, draws=256)
    sure = score(features, model).scores
    assert found.table["priority_top_chance"].sum() == pytest.approx(20)
    for kind in ("failure_score", "groundwater_score", "priority"):
        assert found.table[f"{kind}_mean"].corr(sure[kind]) > 0.8
        low, high = found.table[f"{kind}_p05"], found.table[f"{kind}_p95"]
        assert ((sure[kind] >= low) & (sure[kind] <= high)).mean() > 0.85
    streams = {f.feature for f in model.factors}
    assert len(found.plan.points) <= len(streams) + 1
