from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.features import FEATURES as DECLARED
from riskmap.ranking.curves import limitation
from riskmap.ranking.model import Factor, Model
from riskmap.ranking.reasons import leading_reasons, unknown_list
from riskmap.ranking.score import rank, score
from riskmap.region.model_file import read_model

DEFAULT = read_model(features=DECLARED)


def factor(name: str, score: str, feature: str, weight: float, **more: object) -> Factor:
    return Factor(
        name=name, score=score, feature=feature, label=name, weight=weight, low=0, high=99,
        unknown=0.5, source="made", reason="It is {value}", **more,  # type: ignore[arg-type]
    )  # fmt: skip


# failure: age 0..40 years -> 0..1, weight 3; lot 0..1000 m2 -> 1..0, weight 1
# groundwater: well 0..100 m -> 1..0, weight 2
SMALL = Model(
    name="small",
    factors=(
        factor("age", "failure", "age_yr", 3, curve=((0, 0), (40, 1))),
        factor("lot", "failure", "lot_m2", 1, curve=((0, 1), (1000, 0))),
        factor("well", "groundwater", "well_distance_m", 2, curve=((0, 1), (100, 0))),
    ),
    failure_share=0.5,
    min_known_frac=0.5,
)


def small_features() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "age_yr": [20.0, 40.0, np.nan, np.nan],
            "lot_m2": [500.0, 1000.0, 0.0, np.nan],
            "well_distance_m": [50.0, 0.0, 0.0, 0.0],
        },
        index=["p1", "p2", "p3", "p4"],
    )


def test_known_by_eye() -> None:
    result = score(small_features(), SMALL)
    # p1: failure 75 * 0.5 + 25 * 0.5 = 50; groundwater 100 * 0.5 = 50; priority 50
    # p2: failure 75 * 1 + 25 * 0 = 75; groundwater 100; priority 87.5
    # p3: age unknown (0.5): only a quarter of the weight known, below one half: no score
    assert result.scores.loc["p1"].tolist() == [50.0, 50.0, 50.0]
    assert result.scores.loc["p2"].tolist() == [75.0, 100.0, 87.5]
    assert result.scores.loc[["p3", "p4"]].isna().all(axis=None)
    assert result.points.loc["p3"].tolist() == [37.5, 25.0, 100.0]


def test_points_add_up_exactly() -> None:
    features = random_features(500)
    result = score(features, DEFAULT)
    for kind in ("failure", "groundwater"):
        names = [f.name for f in DEFAULT.of(kind)]
        by_hand = result.points[names].sum(axis=1).round(3)
        pd.testing.assert_series_equal(
            by_hand, result.scores[f"{kind}_score"], check_names=False, rtol=0, atol=1e-9
        )
    half = 0.6 * result.scores["failure_score"] + 0.4 * result.scores["groundwater_score"]
    assert (half - result.scores["priority"]).abs().max() <= 0.0005 + 1e-9


def test_rank_ties_follow_the_stated_rule() -> None:
    scores = pd.DataFrame(
        {
            "priority": [50.0, 50.0, 50.0, 60.0, np.nan],
            "failure_score": [40.0, 60.0, 40.0, 10.0, np.nan],
            "groundwater_score": [65.0, 35.0, 65.0, 90.0, np.nan],
        },
        index=["b", "c", "a", "d", "e"],
    )
    ranks = rank(scores, np.array([True] * 5))
    assert ranks.to_dict() | {"e": None} == {"d": 1, "c": 2, "a": 3, "b": 4, "e": None}
    assert pd.isna(ranks["e"])
    assert rank(scores, np.array([True, True, True, False, True])).dropna().tolist() == [3, 1, 2]


def random_features(rows: int, seed: int = 3) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    # what reasons name beside a factor's own feature
    columns: dict[str, object] = {
        "ponding_m": rng.uniform(0, 1, rows),
        "nearest_reached_m": rng.uniform(1, 900, rows),
        "wells_reached": rng.integers(0, 9, rows).astype(float),
        "replacement": pd.Series(["mound"] * rows, dtype="string"),
    }
    for f in DEFAULT.factors:
        if f.table:
            words = np.array([word for word, _ in f.table] + [None], dtype=object)
            columns[f.feature] = pd.Series(rng.choice(words, rows), dtype="string")
        else:
            xs = [x for x, _ in f.curve]
            values = rng.uniform(xs[0] - 1, xs[-1] * 1.2, rows)
            columns[f.feature] = np.where(rng.random(rows) < 0.15, np.nan, values)
    index = [f"r{i}" for i in range(rows)]
    return pd.DataFrame({k: np.asarray(v, object) for k, v in columns.items()}, index=index)


CURVED = [f for f in DEFAULT.factors if f.curve]


class TestProperties:
    @settings(max_examples=60, deadline=None)
    @given(
        which=st.sampled_from(CURVED),
        seed=st.integers(0, 10_000),
        ends=st.tuples(st.floats(0, 1), st.floats(0, 1)),
    )
    def test_worse_inputs_never_lower_the_score(
        self, which: Factor, seed: int, ends: tuple[float, float]
    ) -> None:
        features = random_features(20, seed)
        low, high = which.curve[0][0] - 1, which.curve[-1][0] + 1
        better, worse = sorted(low + e * (high - low) for e in ends)
        same_feature = [f for f in CURVED if f.feature == which.feature]
        assert len({f.rises for f in same_feature}) == 1
        if not which.rises:
            better, worse = worse, better
        before = score(features.assign(**{which.feature: better}), DEFAULT).scores
        after = score(features.assign(**{which.feature: worse}), DEFAULT).scores
        assert (after - before >= 0).all(axis=None)

    @settings(max_examples=40, deadline=None)
    @given(seed=st.integers(0, 10_000))
    def test_scores_stay_between_0_and_100(self, seed: int) -> None:
        scores = score(random_features(30, seed), DEFAULT).scores.to_numpy()
        assert np.nanmin(scores) >= 0
        assert np.nanmax(scores) <= 100


def test_curve_against_numpy_interp() -> None:
    values = pd.Series(np.linspace(-5, 60, 200))
    x, y = np.array(DEFAULT.factors[0].curve).T
    np.testing.assert_allclose(limitation(DEFAULT.factors[0], values), np.interp(values, x, y))


def test_reasons_name_the_strongest_known_factors() -> None:
    features = small_features()
    reasons = leading_reasons(features, score(features, SMALL), SMALL, units="us")
    # p1 parts of the priority: age 37.5 * .5, lot 12.5 * .5, well 50 * .5
    assert reasons.loc["p1"].tolist() == ["It is 164 ft", "It is 20 years", "It is 0.12 acres"]
    assert reasons.loc["p4"].tolist() == ["It is 0 ft", "", ""]


def test_unknown_is_said() -> None:
    features = small_features()
    found = unknown_list(score(features, SMALL), SMALL).tolist()
    assert found == [
        "",
        "",
        "Year installed",
        "Year installed; lot",
    ]


@pytest.mark.parametrize("units", ["us", "si"])
def test_default_reasons_read_as_sentences(units: str) -> None:
    features = random_features(300)
    reasons = leading_reasons(features, score(features, DEFAULT), DEFAULT, units=units)
    text = pd.concat([reasons[c] for c in reasons])
    text = text[text != ""]
    assert len(text) > 600
    assert not text.str.contains(r"\{|\}|nan|<NA>|_").any()
    assert text.str.match(r"^[A-Z0-9]").all()
