"""Learning on a sample county whose visits are written anew, so that the answer is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest
from scipy.stats import rankdata

from riskmap.ranking.contenders import Design, Visits
from riskmap.ranking.table import ranked_table
from riskmap.stages.county import County
from riskmap.stages.doubt import doubt_columns, scenarios_of
from riskmap.stages.learning import Learning, fit_again, follow_learning, learn_from_visits
from riskmap.stages.learning_inputs import at_most, inventory_as_of, prepare_lesson, window
from riskmap.stages.result import Result

BLOCK_M = 700.0


def allowing(assessed: Result, visits: pd.DataFrame, use: str = "allow") -> County:
    """Return the county with other visits, no repair permits, and learning allowed."""
    region = assessed.region
    tables = dict(assessed.county.tables) | {"inspections": visits}
    permits = tables["permits"]
    tables["permits"] = permits[permits["action"] != "repair"]
    # fewer trees and resamples: what is tested here is the stage, not the learner
    rules = replace(region.learning, use=use, block_m=BLOCK_M, repeats=1, rounds=25, resamples=100)
    return replace(assessed.county, tables=tables, region=replace(region, learning=rules))


def visits_of(parcels: pd.Index, failed: np.ndarray, reason: str = "audit") -> pd.DataFrame:
    return pd.DataFrame(
        {
            "parcel_id": parcels,
            "date": pd.Timestamp(2024, 5, 1),
            "reason": reason,
            "stage": np.where(failed, "failed", "sound"),
            "ponding_cm": np.nan,
            "last_pumped": pd.NaT,
        }
    )


@pytest.fixture(scope="module")
def onsite(features: pd.DataFrame) -> pd.DataFrame:
    return features[features["rank"].notna()]


@pytest.fixture(scope="module")
def by_slope(onsite: pd.DataFrame) -> pd.DataFrame:
    """Failures follow a factor to which the score gives little weight, with one in ten wrong."""
    rng = np.random.default_rng(3)
    steep = onsite["slope_pct"].rank(pct=True).to_numpy() > 0.8
    return visits_of(onsite.index, steep ^ (rng.random(len(onsite)) < 0.1))


def ranked_by_score(features: pd.DataFrame, assessed: Result) -> pd.DataFrame:
    return ranked_table(features, assessed.model, units="us")


class TestAsOfTheStart:
    def test_window_ends_with_the_day_of_the_run(self) -> None:
        start, end = window(date(2024, 2, 29), 2.5)
        assert (start, end) == (pd.Timestamp(2021, 9, 1), pd.Timestamp(2024, 3, 1))

    def test_ages_and_records_are_those_of_the_day(
        self, assessed: Result, features: pd.DataFrame
    ) -> None:
        then = inventory_as_of(date(2019, 12, 31), features, assessed.county)
        now = features.loc[then.index]
        same = then["installed_year"].eq(now["installed_year"])
        assert same.mean() > 0.7
        assert (now["age_yr"] - then["age_yr"])[same].eq(7.0).all()
        assert not (then["last_visit_year"] > 2019).any()
        assert (then["repairs"] <= now["repairs"]).all()
        built = assessed.county.tables["parcels"].set_index("parcel_id")["year_built"]
        assert not (built.reindex(then.index) > 2019).any()
        late = built[built > 2019].index.intersection(features.index[features["rank"].notna()])
        assert len(late) > 0
        assert not then.index.isin(late).any()

    def test_a_repair_in_the_window_is_a_failure_and_not_a_feature(
        self, assessed: Result, features: pd.DataFrame
    ) -> None:
        county, model = assessed.county, assessed.model
        lesson = prepare_lesson(features, county, model, years=5, min_failures=1, min_visits=1)
        permits = county.tables["permits"]
        day = permits["inspected"].fillna(permits["issued"])
        inside = permits["action"].eq("repair") & (day >= lesson.start) & (day < lesson.end)
        rows = lesson.labels.index.intersection(permits.loc[inside, "parcel_id"].dropna())
        assert len(rows) > 10
        assert lesson.labels.loc[rows, "failed"].eq(1).all()
        known = lesson.visits.design.features.loc[rows]
        assert (known["repairs"].fillna(0) < features.loc[rows, "repairs"]).all()
        aged = lesson.visits.design.features.loc[rows, "age_yr"] + 5
        renewed = features.loc[rows, "age_yr"]
        assert (renewed <= 6).mean() > 0.9
        assert (aged > renewed).mean() > 0.9

    def test_complaints_do_not_judge_where_other_visits_suffice(
        self, assessed: Result, onsite: pd.DataFrame
    ) -> None:
        half = len(onsite) // 2
        failed = np.arange(half) % 4 == 0
        asked = visits_of(onsite.index[:half], failed, "sale")
        complained = visits_of(onsite.index[half:], np.ones(len(onsite) - half, bool), "complaint")
        county = allowing(assessed, pd.concat([asked, complained], ignore_index=True))
        few = {"years": 5, "min_failures": 20, "min_visits": 50}
        lesson = prepare_lesson(onsite, county, assessed.model, **few)
        assert lesson.judged_on == "visits that no complaint prompted"
        assert lesson.visits.evaluate.sum() <= half
        assert lesson.visits.evaluate.sum() < len(lesson.labels)
        weights = lesson.visits.figure_weight
        assert np.allclose(weights[~lesson.visits.evaluate], 0)


class TestDecision:
    def test_few_labels_are_declined(self, assessed: Result, features: pd.DataFrame) -> None:
        few = visits_of(features.index[:40], np.arange(40) < 9)
        found = learn_from_visits(allowing(assessed, few), features, assessed.model)
        assert found is not None
        assert found.decided_by == "condition model"
        assert "Learning was declined" in " ".join(found.words)

    def test_no_visits_at_all_is_declined_too(
        self, assessed: Result, features: pd.DataFrame
    ) -> None:
        none = visits_of(features.index[:0], np.zeros(0, bool)).astype(
            {"date": "datetime64[ns]", "last_pumped": "datetime64[ns]"}
        )
        found = learn_from_visits(allowing(assessed, none), features, assessed.model)
        assert found is not None
        assert "0 failures found" in " ".join(found.words)

    def test_noise_keeps_the_score(self, assessed: Result, onsite: pd.DataFrame) -> None:
        failed = np.random.default_rng(8).random(len(onsite)) < 0.2
        found = learn_from_visits(
            allowing(assessed, visits_of(onsite.index, failed)), onsite, assessed.model
        )
        assert found is not None
        assert (found.decided_by, found.decision.replaced) == ("condition model", False)
        assert "The condition model is kept" in found.words[-1]

    def test_off_means_off(self, assessed: Result, features: pd.DataFrame) -> None:
        assert learn_from_visits(assessed.county, features, assessed.model) is None
        assert assessed.learning is None
        assert assessed.parcels["decided_by"].eq("condition model").all()


@pytest.fixture(scope="module")
def learning(assessed: Result, features: pd.DataFrame, by_slope: pd.DataFrame) -> Learning:
    found = learn_from_visits(allowing(assessed, by_slope), features, assessed.model)
    assert found is not None
    return found


class TestFollowing:
    def test_a_better_ranking_takes_over_only_where_allowed(
        self, assessed: Result, features: pd.DataFrame, by_slope: pd.DataFrame, learning: Learning
    ) -> None:
        assert learning.decision.replaced
        assert learning.decided_by in ("classifier", "score corrected by learning")
        compared = learn_from_visits(
            allowing(assessed, by_slope, "compare"), features, assessed.model
        )
        assert compared is not None
        assert (compared.decided_by, compared.classifier) == ("condition model", None)
        assert "asks for a comparison only" in compared.words[-1]

    def test_ranks_reasons_and_shares(
        self, assessed: Result, features: pd.DataFrame, learning: Learning
    ) -> None:
        before = ranked_by_score(features, assessed)
        region = replace(assessed.region, lists=replace(assessed.region.lists, inspections=60))
        county = replace(assessed.county, region=region)
        table, told = follow_learning(county, before, features, learning, assessed.model)
        assert told is not None
        listed = table[(table["rank"] <= 60).fillna(False).to_numpy(bool)].sort_values("rank")
        assert listed["priority"].is_monotonic_decreasing
        ranked = table["rank"].notna() | table["apart_rank"].notna()
        learned = (100 * table["learned_chance_frac"]).round(3)
        assert np.allclose(table.loc[ranked, "priority"], learned[ranked], atol=1e-9)
        assert table["failure_score"].equals(before["failure_score"])
        # exact: base and shares are the log-odds
        assert learning.classifier is not None
        assert learning.present is not None
        odds = learning.classifier.decision_function(
            learning.present.features.loc[told.shares.index]
        )
        assert np.allclose(told.base + told.shares.sum(axis=1), odds, atol=1e-9)
        chance = table.loc[told.shares.index, "learned_chance_frac"]
        assert np.allclose(np.log(chance / (1 - chance)), odds)
        assert table.loc[ranked, "decided_by"].eq(learning.decided_by).all()
        reasons = listed[["reason_1", "reason_2"]].astype(str).agg(" ".join, axis=1)
        assert reasons.str.contains(r"\(learned from visits\)").mean() > 0.8
        assert reasons.str.contains("slopes").mean() > 0.5

    def test_unscored_parcels_stay_unscored(
        self, assessed: Result, features: pd.DataFrame, learning: Learning
    ) -> None:
        before = ranked_by_score(features, assessed)
        table, _ = follow_learning(assessed.county, before, features, learning, assessed.model)
        none = before["priority"].isna()
        assert none.any()
        assert table.loc[none, ["priority", "rank", "learned_chance_frac"]].isna().all(axis=None)
        assert sorted(table["rank"].dropna()) == list(range(1, int(before["rank"].max()) + 1))

    def test_the_same_again(
        self, assessed: Result, features: pd.DataFrame, by_slope: pd.DataFrame, learning: Learning
    ) -> None:
        again = learn_from_visits(allowing(assessed, by_slope), features, assessed.model)
        assert again is not None
        assert again.words == learning.words
        before = ranked_by_score(features, assessed)
        tables = [
            follow_learning(assessed.county, before, features, one, assessed.model)[0]
            for one in (learning, again)
        ]
        pd.testing.assert_frame_equal(*tables)

    def test_chances_are_at_the_level_of_the_judging_visits(
        self, assessed: Result, onsite: pd.DataFrame, by_slope: pd.DataFrame
    ) -> None:
        """Complaints double the failures taught; the chances must not double with them."""
        extra = by_slope[by_slope["stage"] == "failed"].iloc[::2].assign(reason="complaint")
        county = allowing(assessed, pd.concat([by_slope, extra], ignore_index=True))
        found = learn_from_visits(county, onsite, assessed.model)
        assert found is not None
        before = ranked_by_score(onsite, assessed)
        table, _ = follow_learning(assessed.county, before, onsite, found, assessed.model)
        share = by_slope["stage"].eq("failed").mean()
        assert abs(table["learned_chance_frac"].mean() - share) < 0.05


class TestDoubtFollows:
    """Ranges and chances speak of the learned ranking where it has taken over."""

    def test_ranges_and_chances_are_those_of_the_learned_ranking(
        self, assessed: Result, features: pd.DataFrame, learning: Learning
    ) -> None:
        before = ranked_by_score(features, assessed)
        table, _ = follow_learning(assessed.county, before, features, learning, assessed.model)
        rows = features[table["rank"].notna()]
        found, _ = doubt_columns(
            rows,
            scenarios_of(assessed.with_things(learning=learning), rows.index),
            replace(assessed.region, run=replace(assessed.region.run, draws=256)),
        )
        listed = table.loc[rows.index]
        inside = listed["priority"].between(found["priority_low"], found["priority_high"])
        assert inside.mean() > 0.7
        assert spearman(found["top_chance"], -listed["rank"].astype(float)) > 0.7
        plain, _ = doubt_columns(
            rows,
            scenarios_of(assessed.with_things(learning=None), rows.index),
            replace(assessed.region, run=replace(assessed.region.run, draws=256)),
        )
        by_score = -before.loc[rows.index, "rank"].astype(float)
        assert spearman(plain["top_chance"], by_score) > spearman(found["top_chance"], by_score)
        wrong = listed["priority"].between(plain["priority_low"], plain["priority_high"])
        assert inside.mean() > wrong.mean()

    def test_learners_of_resampled_visits_differ_and_agree_on_the_whole(
        self, learning: Learning
    ) -> None:
        assert learning.present is not None
        assert learning.classifier is not None
        members = fit_again(learning, 4, seed=1)
        numbers = learning.present.features.dropna(how="all")
        odds = np.stack([member.decision_function(numbers) for member in members])
        whole = learning.classifier.decision_function(numbers)
        assert (odds.std(axis=0) > 0).mean() > 0.9
        assert min(spearman(one, whole) for one in odds) > 0.5
        again = fit_again(learning, 4, seed=1)
        assert (again[2].decision_function(numbers) == odds[2]).all()


def spearman(first: npt.ArrayLike, second: npt.ArrayLike) -> float:
    return float(np.corrcoef(rankdata(first), rankdata(second))[0, 1])


def test_no_more_visits_than_asked_are_compared() -> None:
    rng = np.random.default_rng(5)
    numbers = {
        name: rng.random(500) for name in ("failed", "weight", "x_m", "y_m", "judged_weight")
    }
    visits = Visits(
        design=Design(pd.DataFrame({"age_yr": numbers["x_m"] * 2}), (1,)),
        given={"score": numbers["y_m"] + 1},
        evaluate=rng.random(500) > 0.5,
        **numbers,
    )
    assert at_most(visits, 500, seed=3) is visits
    some = at_most(visits, 120, seed=3)
    assert len(some.failed) == len(some.design.features) == 120
    # rows stay whole: what belonged together still does
    np.testing.assert_array_equal(some.design.features["age_yr"], some.x_m * 2)
    np.testing.assert_array_equal(some.given["score"], some.y_m + 1)
    np.testing.assert_array_equal(at_most(visits, 120, seed=3).failed, some.failed)
