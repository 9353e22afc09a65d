"""Simulated counties in which it is known whether learning can help."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import bootstrap as bootstrap_of_scipy

from riskmap.ranking.blocks import random_folds
from riskmap.ranking.contenders import (
    LEARNED,
    SHRUNK,
    WORDS,
    Design,
    Visits,
    classifier_for,
    design,
    design_for,
    level_shift,
    predict_held_out,
)
from riskmap.ranking.judged import Judged, least_gain
from riskmap.ranking.metrics import average_precision, block_draws
from riskmap.ranking.model import parse_model
from riskmap.ranking.settings import LearningSettings
from riskmap.ranking.validation import SHUFFLES, Decision, decide, shuffled_passes

QUICK = LearningSettings(folds=4, repeats=1, resamples=120, rounds=30, block_m=1500, buffer_m=200)


def simulate(
    seed: int, *, n: int = 1200, hidden: float = 2.0, known: float = 0.6, place: float = 0.0
) -> Visits:
    """`hidden` drives failures and only learning can see it; the score sees `known`."""
    rng = np.random.default_rng(seed)
    x, y = rng.random(n) * 10_000, rng.random(n) * 10_000
    features = pd.DataFrame(rng.normal(size=(n, 4)), columns=["age_yr", "load", "wet", "noise"])
    lumps = rng.normal(size=(5, 5))[(x // 2000).astype(int), (y // 2000).astype(int)]
    odds = known * features["age_yr"] + hidden * features["load"] + place * lumps - 2.0
    odds = odds.to_numpy()
    failed = (rng.random(n) < 1 / (1 + np.exp(-odds))).astype(float)
    if place:
        features = features.assign(x_m=x, y_m=y)
    age = features["age_yr"].to_numpy()
    soil = features["wet"].to_numpy()
    return Visits(
        design=Design(features, (1, 1) + (0,) * (features.shape[1] - 2)),
        failed=failed, weight=np.ones(n), x_m=x, y_m=y,
        given={"oldest_first": age, "soil_rule": soil, "score": age + 0.1 * soil},
        evaluate=np.ones(n, dtype=bool),
    )  # fmt: skip


@pytest.fixture(scope="module")
def informative() -> Decision:
    return decide(simulate(1), QUICK, seed=0)


@pytest.fixture(scope="module")
def noise() -> Decision:
    return decide(simulate(2, hidden=0.0, known=1.0), QUICK, seed=0)


class TestKnownAnswers:
    def test_informative_features_replace_the_score(self, informative: Decision) -> None:
        assert informative.replaced
        assert informative.chosen in LEARNED
        assert informative.words[-1].startswith("Learning ")
        assert "is surely better" in informative.words[-1]
        assert informative.comparison is not None
        table = informative.comparison.differences.set_index("contender")
        assert table.loc[informative.chosen, "low"] > 0.05

    def test_where_the_score_knows_all_it_is_kept(self, noise: Decision) -> None:
        assert not noise.replaced
        assert noise.chosen == "score"
        assert noise.words[-1].startswith("The score is kept")

    def test_pure_noise_keeps_the_score(self) -> None:
        found = decide(simulate(3, hidden=0.0, known=0.0), QUICK, seed=0)
        assert found.chosen == "score"
        assert found.comparison is not None
        share = found.comparison.failures / found.comparison.visits
        for name in LEARNED:
            value = found.comparison.figure(name, "average_precision")["value"]
            assert value == pytest.approx(share, abs=0.06)

    def test_shuffled_outcomes_hardly_ever_pass(self, informative: Decision) -> None:
        """What passes on the true outcomes passes on a few in a hundred shuffled ones at most."""
        assert informative.replaced
        assert informative.comparison is not None
        assert informative.comparison.shuffled is not None
        assert informative.comparison.shuffled <= 0.05 * SHUFFLES
        said = " ".join(informative.words)
        assert f"shuffled among these visits {SHUFFLES} times" in said
        assert f"pass {informative.comparison.shuffled} times" in said

    def test_the_shuffles_count_what_passes(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Without the shuffling the same count is of all labelings: it can be other than none."""
        draw = np.random.default_rng(3)
        truth = (draw.random(300) < 0.3).astype(float)
        told = truth + draw.normal(0, 0.3, 300)
        ranking = dict.fromkeys(LEARNED, told[None, :]) | {"score": draw.random((1, 300))}
        samples = block_draws(np.arange(300), resamples=40, seed=3)
        given = (ranking, Judged(truth, np.ones(300), samples))
        how = {"learned": LEARNED, "base": "score", "seed": 1}
        assert shuffled_passes(*given, **how) <= 0.05 * SHUFFLES

        class Unmixed:
            def permutation(self, values: np.ndarray) -> np.ndarray:
                return values

        monkeypatch.setattr(np.random, "default_rng", lambda _seed: Unmixed())
        assert shuffled_passes(*given, **how) == SHUFFLES

    def test_a_rule_that_noise_passes_decides_nothing(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        for passes, replaced in ((0.05 * SHUFFLES, True), (0.05 * SHUFFLES + 1, False)):
            monkeypatch.setattr(
                "riskmap.ranking.validation.shuffled_passes", lambda *_, n=passes, **__: int(n)
            )
            found = decide(simulate(1), QUICK, seed=0)
            assert found.replaced == replaced
            assert (found.chosen in LEARNED) == replaced
        assert "passes too easily on shuffled outcomes" in found.words[-1]

    def test_the_leaked_future_is_named_and_declined(self) -> None:
        county = simulate(4)
        rng = np.random.default_rng(0)
        leak = county.failed + rng.normal(0, 0.05, len(county.failed))
        features = county.design.features.assign(repair_cost=leak)
        found = decide(replace(county, design=Design(features, (1, 1, 0, 0, 0))), QUICK, seed=0)
        assert found.chosen == "score"
        assert "repair_cost all but gives the outcome away" in found.words[0]
        assert found.comparison is None

    @pytest.mark.parametrize(
        ("n", "hidden", "words"),
        [(40, 2.0, "failures found, at least 15"), (90, 3.0, "visits, at least 100")],
    )
    def test_tiny_data_is_declined(self, n: int, hidden: float, words: str) -> None:
        found = decide(simulate(5, n=n, hidden=hidden), QUICK, seed=0)
        assert found.words[0].startswith("Learning was declined")
        assert words in found.words[0]
        assert found.chosen == "score"

    def test_few_visits_are_enough_for_a_strongly_shrunk_model(self) -> None:
        found = decide(simulate(6, n=160, hidden=4.0, known=0.1), QUICK, seed=0)
        assert found.comparison is not None
        assert list(found.comparison.differences["contender"]) == [SHRUNK]
        assert found.replaced
        assert found.chosen == SHRUNK
        assert WORDS[SHRUNK] in found.words[-1]
        shrunk = classifier_for(SHRUNK, simulate(6, n=160).design, rounds=5, seed=0)
        county = simulate(6, n=160)
        shrunk.fit(county.design.features.to_numpy(), county.failed)
        free = classifier_for("logistic", county.design, rounds=5, seed=0)
        free.set_params(strengths=(1.0,)).fit(county.design.features.to_numpy(), county.failed)
        largest = [np.abs(one.learner_[-1].coef_).max() for one in (shrunk, free)]
        assert largest[0] < 0.5 * largest[1]

    def test_one_place_is_declined(self) -> None:
        county = simulate(6)
        squeezed = replace(county, x_m=county.x_m / 10, y_m=county.y_m / 10)
        assert "separate places" in decide(squeezed, QUICK, seed=0).words[0]

    def test_a_random_split_flatters_where_place_matters(self) -> None:
        quick = replace(QUICK, block_m=2000)
        found = decide(simulate(7, hidden=0.0, known=0.3, place=3.0), quick, seed=0)
        assert found.comparison is not None
        table = found.comparison.optimism.set_index("contender")
        boosted = table.loc["boosting"]
        assert boosted["random_split"] > boosted["held_out_blocks"] + 0.1

    def test_visits_chosen_by_complaint_are_judged_on_audits(self) -> None:
        """Among visits by complaint the hidden driver looks useless; among audits it is not."""
        county = simulate(8, n=2600)
        rng = np.random.default_rng(1)
        audited = rng.random(2600) < 0.4
        loud = (county.failed > 0) & (county.design.features["load"].to_numpy() < 0.5)
        seen = audited | loud
        rows = np.flatnonzero(seen)
        visits = replace(
            county,
            design=Design(county.design.features.iloc[rows], county.design.signs),
            failed=county.failed[rows], weight=np.ones(len(rows)), x_m=county.x_m[rows],
            y_m=county.y_m[rows], given={k: v[rows] for k, v in county.given.items()},
            evaluate=audited[rows],
        )  # fmt: skip
        found = decide(visits, QUICK, seed=0)
        assert found.comparison is not None
        assert found.comparison.visits == audited.sum()
        assert found.comparison.failures == county.failed[audited].sum()
        share = found.comparison.failures / found.comparison.visits
        assert share == pytest.approx(county.failed.mean(), abs=0.03)
        assert found.replaced


def as_of_scipy(told: np.ndarray, base: np.ndarray, judged: Judged, level: float) -> float:
    """Lower bound by a general library: its method on our draws, blocks its observations."""
    blocks = [
        np.flatnonzero(judged.samples.block == k) for k in range(judged.samples.times.shape[1])
    ]

    def gain(numbers: np.ndarray) -> float:
        rows = np.concatenate([blocks[int(k)] for k in numbers])
        truth, weight = judged.truth[rows], judged.weight[rows]
        return float(
            average_precision(truth, told[rows], weight)
            - average_precision(truth, base[rows], weight)
        )

    class Draws:
        bootstrap_distribution = np.array(
            [gain(np.repeat(np.arange(len(blocks)), times)) for times in judged.samples.times]
        )

    found = bootstrap_of_scipy(
        (np.arange(len(blocks)),), gain, method="BCa", vectorized=False, n_resamples=0,
        confidence_level=level, bootstrap_result=Draws,
    )  # fmt: skip
    return float(found.confidence_interval.low)


@pytest.fixture(scope="module")
def judged() -> Judged:
    draw = np.random.default_rng(5)
    blocks = draw.integers(0, 25, 400)
    failed = (draw.random(400) < 0.15 + 0.2 * (blocks % 3 == 0)).astype(float)
    return Judged(failed, draw.uniform(0.5, 2, 400), block_draws(blocks, resamples=500, seed=1))


class TestLeastGain:
    @pytest.mark.parametrize("noise", [0.5, 1.0, 3.0])
    def test_same_as_other_software(self, judged: Judged, noise: float) -> None:
        draw = np.random.default_rng(6)
        told, base = judged.truth + noise * draw.normal(size=(2, 400))
        found = least_gain(told[None], base[None], judged, may_err=0.05)
        assert found == pytest.approx(as_of_scipy(told, base, judged, 0.90), abs=1e-12)

    def test_of_itself_nothing_is_gained(self, judged: Judged) -> None:
        ranking = np.random.default_rng(7).normal(size=(2, 400))
        assert least_gain(ranking, ranking, judged, may_err=0.05) == 0.0

    def test_holds_the_true_difference_as_often_as_it_says(self) -> None:
        """Simulated counties whose true gain is known; the plain interval misses low more often."""
        missed, counties, n = 0, 200, 300
        truth_of = np.random.default_rng(0)
        large = truth_of.random(200_000) < 0.15
        gains = [
            float(average_precision(large.astype(float), large * s + truth_of.normal(size=200_000),
                                    np.ones(200_000)))
            for s in (1.5, 1.0)
        ]  # fmt: skip
        for seed in range(counties):
            draw = np.random.default_rng(seed + 1)
            failed = (draw.random(n) < 0.15).astype(float)
            told, base = (failed * s + draw.normal(size=n) for s in (1.5, 1.0))
            judged = Judged(failed, np.ones(n), block_draws(np.arange(n), resamples=200, seed=seed))
            missed += least_gain(told[None], base[None], judged, may_err=0.05) > gains[0] - gains[1]
        assert missed <= 0.05 * counties + 3 * np.sqrt(0.05 * 0.95 * counties)


class TestFigures:
    def test_every_contender_has_every_figure(self, informative: Decision) -> None:
        assert informative.comparison is not None
        table = informative.comparison.figures
        counts = table.groupby("contender").size()
        assert sorted(counts.index) == sorted(["oldest_first", "soil_rule", "score", *LEARNED])
        assert set(WORDS) == {*counts.index, "condition", "records_first", SHRUNK}
        assert (counts == 6).all()
        assert (table["low"] <= table["high"]).all()
        inside = (table["low"] <= table["value"]) & (table["value"] <= table["high"])
        assert inside.mean() > 0.9

    def test_chances_are_calibrated_on_held_out_blocks(self, informative: Decision) -> None:
        assert informative.comparison is not None
        for name in ("boosting", "logistic"):
            table = informative.comparison.reliability[name]
            gap = np.average((table["said"] - table["found"]).abs(), weights=table["visits"])
            assert gap < 0.06

    def test_same_seed_same_words(self, noise: Decision) -> None:
        again = decide(simulate(2, hidden=0.0, known=1.0), QUICK, seed=0)
        assert again.words == noise.words


class TestDesign:
    MODEL = parse_model(
        {
            "name": "m", "failure_share": 0.5, "min_known_frac": 0.0,
            "log_hazard_per_point": 0.0,
            "factor": [
                {"name": name, "score": score, "feature": feature, "label": "", "weight": 1,
                 "low": 0, "high": 2, "unknown": 0.5, "source": "", "reason": "", **shape}
                for name, score, feature, shape in (
                    ("age", "failure", "age_yr", {"curve": [[0, 0], [40, 1]]}),
                    ("wet", "failure", "wet_depth_cm", {"curve": [[0, 1], [150, 0]]}),
                    ("zone", "failure", "flood_zone", {"table": {"out": 0.0, "in": 1.0}}),
                    ("past", "failure", "complaints", {"curve": [[0, 0], [3, 1]]}),
                    ("well", "groundwater", "well_distance_m", {"curve": [[0, 1], [90, 0]]}),
                )
            ],
        }
    )  # fmt: skip

    def test_directions_come_from_the_model(self) -> None:
        frame = pd.DataFrame(
            {
                "age_yr": [10.0, None], "wet_depth_cm": [50.0, 60.0], "flood_zone": ["in", None],
                "complaints": [0, 1], "well_distance_m": [1.0, 2.0],
            }
        )  # fmt: skip
        found = design(frame, self.MODEL)
        signs = dict(zip(found.features, found.signs, strict=True))
        assert signs == {"age_yr": 1, "wet_depth_cm": -1, "flood_zone": 1, "complaints": 1}
        assert found.features["flood_zone"].tolist()[0] == 1.0
        assert found.features["complaints"].tolist() == [0.0, 1.0]
        assert found.features.isna().sum().sum() == 2

    def test_the_score_is_one_more_rising_feature(self) -> None:
        county = simulate(1, n=50)
        plan = design_for("score_and_learning", county)
        assert list(plan.features)[-1] == "score"
        assert plan.signs[-1] == 1
        assert design_for("boosting", county) is county.design
        assert classifier_for("boosting", plan, rounds=5, seed=0).signs == plan.signs
        assert classifier_for("logistic", plan, rounds=5, seed=0).method == "logistic"


@pytest.fixture(scope="module")
def complained() -> Visits:
    """Complaints double the failures taught."""
    plain = simulate(6)
    extra = np.flatnonzero(plain.failed)
    rows = np.r_[np.arange(len(plain.failed)), extra]
    judged = np.arange(len(rows)) < len(plain.failed)
    return replace(
        plain,
        design=Design(plain.design.features.iloc[rows], plain.design.signs),
        given={name: values[rows] for name, values in plain.given.items()},
        failed=plain.failed[rows], weight=plain.weight[rows],
        x_m=plain.x_m[rows], y_m=plain.y_m[rows],
        evaluate=judged, judged_weight=judged.astype(float),
    )  # fmt: skip


class TestLevel:
    """Chances must keep the level of the judging visits."""

    def test_shift_by_hand(self, complained: Visits) -> None:
        n, failures = complained.evaluate.sum(), complained.failed[complained.evaluate].sum()
        there, taught = failures / (n - failures), 2 * failures / (n - failures)
        assert level_shift(complained) == pytest.approx(np.log(there / taught))
        assert level_shift(replace(complained, judged_weight=None)) == 0.0
        sound = np.flatnonzero(complained.failed == 0)
        assert level_shift(complained, sound) == 0.0

    def test_held_out_chances_have_the_level(self, complained: Visits) -> None:
        folds = list(random_folds(len(complained.failed), folds=3, seed=0))
        held = predict_held_out(complained, folds, block_m=1500, rounds=20, seed=0)
        share = complained.failed[complained.evaluate].mean()
        for name, chance in held.chance.items():
            assert chance[0, complained.evaluate].mean() == pytest.approx(share, abs=0.03), name
