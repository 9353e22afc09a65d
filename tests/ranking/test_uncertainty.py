from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtri
from scipy.stats import norm, rankdata

from riskmap.contract.chunks import crew
from riskmap.ranking.draws import FULL
from riskmap.ranking.inputs import Input, Mixture
from riskmap.ranking.layout import parcel_keys, plan
from riskmap.ranking.sequences import normal_quantile, shuffle
from riskmap.ranking.tally import rank_draws, rank_few
from riskmap.ranking.uncertainty import draw_limits, draw_scores, propagate_inputs

LINE = np.array([0.0, 1.0])


def item(name: str, value: list[float], **changes: object) -> Input:
    n = len(value)
    made = Input(
        name,
        "failure",
        1.0,
        1.0,
        1.0,
        LINE,
        LINE,
        value=np.array(value, float),
        spread=np.zeros(n),
        redraw=np.zeros(n),
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def names(n: int) -> pd.Index:
    return pd.Index([f"lot-{i:04d}" for i in range(n)])


def mixture(parts: list[list[tuple[float, float]]]) -> Mixture:
    rows = [(i, limit, share) for i, part in enumerate(parts) for limit, share in part]
    row, limit, share = zip(*rows, strict=True)
    return Mixture(np.array(row), np.array(limit), np.array(share))


TINY = {
    "soil": [
        [(0.1013, 0.6), (0.9027, 0.4)],
        [(0.3081, 0.5), (0.7119, 0.5)],
        [(0.0191, 0.2), (0.5533, 0.8)],
        [(0.4247, 1.0)],
    ],
    "wet": [
        [(0.2057, 0.5), (0.6311, 0.5)],
        [(0.2579, 0.9), (0.9893, 0.1)],
        [(0.5171, 1.0)],
        [(0.0307, 0.3), (0.8209, 0.7)],
    ],
    "well": [
        [(0.5039, 1.0)],
        [(0.1103, 0.5), (0.9161, 0.5)],
        [(0.2399, 1.0)],
        [(0.3547, 0.25), (0.4561, 0.75)],
    ],
}
WEIGHTS = {"soil": 3.0, "wet": 2.0, "well": 1.0}
SHARE = 0.6


def tiny_inputs() -> list[Input]:
    return [
        item(
            name,
            [0.0] * 4,
            weight=WEIGHTS[name],
            mixture=mixture(parts),
            score="groundwater" if name == "well" else "failure",
        )
        for name, parts in TINY.items()
    ]


def outcomes(parcel: int) -> list[tuple[float, float]]:
    """Every possible priority of a parcel of the tiny county and its probability."""
    found = []
    for soil, wet, well in product(*(TINY[name][parcel] for name in TINY)):
        failure = (3 * soil[0] + 2 * wet[0]) / 5
        score = 100 * (SHARE * failure + (1 - SHARE) * well[0])
        found.append((score, soil[1] * wet[1] * well[1]))
    return found


def enumerate_county(top: int) -> tuple[np.ndarray, np.ndarray]:
    """Exact chance of a place in the top and exact chance of every rank, (n,) and (n, n)."""
    chance, ranks = np.zeros(4), np.zeros((4, 4))
    for joint in product(*(outcomes(p) for p in range(4))):
        scores = np.array([score for score, _ in joint])
        weight = np.prod([p for _, p in joint])
        order = np.argsort(-scores, kind="stable")
        assert np.diff(np.sort(scores)).min() > 0.01, "the tiny county must have no ties"
        chance[order[:top]] += weight
        ranks[order, np.arange(4)] += weight
    return chance, ranks


def exact_quantile(parcel: int, share: float) -> float:
    pairs = sorted(outcomes(parcel))
    running = np.cumsum([p for _, p in pairs])
    return pairs[int(np.searchsorted(running, share))][0]


class TestAgainstEnumeration:
    @pytest.mark.parametrize("top", [1, 2, 3])
    def test_chance_to_be_in_the_top(self, top: int) -> None:
        found = propagate_inputs(
            tiny_inputs(), names(4), failure_share=SHARE, top=top, draws=8192, seed=5
        )
        exact, _ = enumerate_county(top)
        column = found.table["priority_top_chance"].to_numpy()
        error = found.table["priority_top_error"].to_numpy()
        assert (np.abs(column - exact) < 4 * error).all()

    def test_score_quantiles(self) -> None:
        found = propagate_inputs(
            tiny_inputs(), names(4), failure_share=SHARE, top=2, draws=8192, seed=6
        ).table
        for parcel, row in enumerate(found.itertuples()):
            mean = sum(score * p for score, p in outcomes(parcel))
            assert row.priority_mean == pytest.approx(mean, abs=0.05)
            for column, share in (("p05", 0.05), ("p50", 0.5), ("p95", 0.95)):
                near = {exact_quantile(parcel, share + shift) for shift in (-0.004, 0.004)}
                value = getattr(row, f"priority_{column}")
                assert min(abs(value - other) for other in near) < 100 / FULL

    def test_rank_quantiles(self) -> None:
        found = propagate_inputs(
            tiny_inputs(), names(4), failure_share=SHARE, top=2, draws=8192, seed=7
        ).table
        _, ranks = enumerate_county(2)
        for column, share in (("p05", 0.05), ("p50", 0.5), ("p95", 0.95)):
            running = ranks.cumsum(axis=1)
            low = (running < share - 0.01).sum(axis=1) + 1
            high = (running < share + 0.01).sum(axis=1) + 1
            value = found[f"priority_rank_{column}"].to_numpy()
            assert ((value == low) | (value == high)).all()


class TestAgainstOtherSoftware:
    def test_normal_quantile_is_scipys(self) -> None:
        p = np.concatenate(
            [np.logspace(-9, -1, 50), np.linspace(0.1, 0.9, 50), 1 - np.logspace(-9, -1, 50)]
        )
        ours = np.array([normal_quantile(x) for x in p])
        assert np.abs(ours - ndtri(p)).max() < 2e-6

    def test_normal_error_through_a_curve(self) -> None:
        xs, ys = np.array([0.0, 10.0]), np.array([0.0, 1.0])
        given_input = item("a", [5.0], curve_x=xs, curve_y=ys, spread=np.array([1.0]))
        found = propagate_inputs([given_input], names(1), failure_share=1.0, top=1, draws=4096)
        expected = 10 * norm.ppf([0.05, 0.5, 0.95], 5.0, 1.0)
        columns = ["failure_score_p05", "failure_score_p50", "failure_score_p95"]
        assert found.table[columns].to_numpy()[0] == pytest.approx(expected, abs=0.05)

    def test_lognormal_with_a_shared_error(self) -> None:
        xs, ys = np.array([0.0, 100.0]), np.array([0.0, 1.0])
        given_input = item(
            "a", [10.0], curve_x=xs, curve_y=ys, spread=np.array([0.3]), lognormal=True, shared=0.4
        )
        found = propagate_inputs([given_input], names(1), failure_share=1.0, top=1, draws=16384)
        expected = 10 * np.exp(norm.ppf([0.05, 0.5, 0.95], 0.0, 0.5))
        columns = ["failure_score_p05", "failure_score_p50", "failure_score_p95"]
        assert found.table[columns].to_numpy()[0] == pytest.approx(expected, rel=0.03)


def random_inputs(n: int, seed: int) -> list[Input]:
    rng = np.random.default_rng(seed)
    parts = [[(float(rng.random()), float(rng.random())) for _ in range(3)] for _ in range(n)]
    return [
        item("a", list(rng.normal(0.5, 0.2, n)), spread=np.full(n, 0.1)),
        item("b", list(rng.random(n)), redraw=(rng.random(n) < 0.3).astype(float), weight=2.0),
        item("c", [0.0] * n, mixture=mixture(parts)),
        item(
            "d",
            list(rng.gamma(2.0, 0.2, n)),
            spread=np.full(n, 0.3),
            lognormal=True,
            shared=0.2,
            score="groundwater",
        ),
    ]


class TestProperties:
    def test_counting_and_sorting_rank_alike(self) -> None:
        rng = np.random.default_rng(3)
        scores = rng.integers(0, 400, (500, 16)).astype(np.uint16)
        results = []
        for kernel in (rank_draws, rank_few):
            ranks, chance, cuts = scores.copy(), np.zeros((500, 16), np.float32), np.empty((2, 16))
            kernel(ranks, 0, 16, 37, 0.5, chance, cuts)
            expected = rankdata(-scores.astype(float), axis=0)
            assert (ranks * 0.5 == expected).all()
            results.append((chance, cuts))
        np.testing.assert_allclose(results[0][0], results[1][0], rtol=1e-12)
        assert (results[0][1] == results[1][1]).all()

    def test_chances_of_the_top_add_up_to_its_length(self) -> None:
        found = propagate_inputs(random_inputs(300, 1), names(300), failure_share=0.5, top=40)
        for kind in ("failure_score", "groundwater_score", "priority"):
            assert found.table[f"{kind}_top_chance"].sum() == pytest.approx(40)
            mean_rank = found.table[f"{kind}_rank_p50"].mean()
            assert 130 < mean_rank < 171

    def test_equal_parcels_share_the_edge_of_the_top(self) -> None:
        found = propagate_inputs(
            [item("a", [0.9, 0.5, 0.5, 0.1])], names(4), failure_share=1, top=2
        )
        assert found.table["priority_top_chance"].tolist() == [1.0, 0.5, 0.5, 0.0]
        assert found.table["priority_rank_p50"].tolist() == [1.0, 2.5, 2.5, 4.0]

    def test_neither_workers_nor_order_change_a_result(self) -> None:
        inputs, parcels = random_inputs(200, 2), names(200)
        with crew(1):
            one = propagate_inputs(inputs, parcels, failure_share=0.5, top=20).table
        with crew(2):
            two = propagate_inputs(inputs, parcels, failure_share=0.5, top=20).table
        pd.testing.assert_frame_equal(one, two, check_exact=True)
        turned = [_reversed(entry) for entry in inputs]
        back = propagate_inputs(turned, parcels[::-1], failure_share=0.5, top=20).table
        pd.testing.assert_frame_equal(one, back.loc[parcels], rtol=1e-12)

    @settings(max_examples=15, deadline=None)
    @given(cut=st.integers(1, 59), seed=st.integers(0, 5))
    def test_a_chunk_draws_what_the_whole_draws(self, cut: int, seed: int) -> None:
        inputs = random_inputs(60, 3)
        whole = plan(inputs, parcel_keys(names(60)), failure_share=0.5, draws=64, seed=seed)
        full = draw_scores(whole, seed=seed)
        tail = whole._replace(
            **{
                name: getattr(whole, name)[cut:]
                for name in ("value", "spread", "redraw", "begin", "end", "keys")
            }
        )
        assert (draw_scores(tail, seed=seed) == full[:, cut:]).all()

    def test_parcels_are_drawn_independently(self) -> None:
        n = 40
        layout = plan(
            [item("a", [0.5] * n, spread=np.full(n, 0.1))],
            parcel_keys(names(n)),
            failure_share=1.0,
            draws=1024,
            seed=0,
        )
        matrix = draw_limits(layout, np.arange(n), seed=0)[:, 0]
        off = np.corrcoef(matrix)[~np.eye(n, dtype=bool)]
        assert np.abs(off).max() < 5 / np.sqrt(1024)
        assert np.std(off) == pytest.approx(1 / np.sqrt(1024), rel=0.15)
        above = (matrix[0] > matrix[1]).mean()
        assert above == pytest.approx(0.5, abs=4 * 0.5 / np.sqrt(1024))

    def test_one_parcel_is_drawn_more_evenly_than_at_random(self) -> None:
        layout = plan(
            [item("a", [0.5], spread=np.array([0.1]))],
            parcel_keys(names(1)),
            failure_share=1.0,
            draws=1024,
            seed=0,
        )
        mean = draw_limits(layout, np.arange(1), seed=0).mean()
        assert mean == pytest.approx(0.5, abs=0.1 / np.sqrt(1024) / 8)

    def test_stated_error_of_the_chance_holds_over_seeds(self) -> None:
        inputs = random_inputs(80, 4)
        runs = [
            propagate_inputs(inputs, names(80), failure_share=0.5, top=20, draws=256, seed=s).table
            for s in range(30)
        ]
        chances = np.array([run["priority_top_chance"] for run in runs])
        stated = np.array([run["priority_top_error"] for run in runs]).mean(axis=0)
        contested = (chances.mean(axis=0) > 0.05) & (chances.mean(axis=0) < 0.95)
        ratio = chances.std(axis=0, ddof=1)[contested] / stated[contested]
        assert contested.sum() > 20
        assert 0.3 < ratio.mean() < 1.1

    def test_the_truth_lies_inside_the_range_as_often_as_promised(self) -> None:
        n, rng = 3000, np.random.default_rng(11)
        truth = rng.random((n, 3))
        spread = np.array([0.05, 0.2, 0.4])
        seen = truth + rng.normal(0, 1, (n, 3)) * spread
        wide = np.array([-2.0, 3.0])
        inputs = [
            item(
                f"f{k}", list(seen[:, k]), spread=np.full(n, spread[k]), curve_x=wide, curve_y=LINE
            )
            for k in range(3)
        ]
        found = propagate_inputs(inputs, names(n), failure_share=1.0, top=100, draws=512).table
        score = 100 * ((truth + 2) / 5).mean(axis=1)
        inside = (score >= found["failure_score_p05"]) & (score <= found["failure_score_p95"])
        assert inside.mean() == pytest.approx(0.9, abs=0.02)

    def test_doubt_about_weights_widens_the_range(self) -> None:
        inputs = [
            item("a", [0.9, 0.1], weight=2.0, low=1.0, high=4.0),
            item("b", [0.2, 0.6], weight=1.0, low=0.5, high=3.0),
        ]
        fixed = propagate_inputs(inputs, names(2), failure_share=1.0, top=1).table
        moving = propagate_inputs(
            inputs, names(2), failure_share=1.0, top=1, weight_doubt=True
        ).table
        assert (fixed["failure_score_p95"] == fixed["failure_score_p05"]).all()
        assert (moving["failure_score_p95"] > moving["failure_score_p05"] + 5).all()

    def test_shuffle_is_a_permutation(self) -> None:
        order = np.empty(97, np.int64)
        shuffle(order, np.uint64(12345))
        assert sorted(order.tolist()) == list(range(97))


def _reversed(entry: Input) -> Input:
    n = len(entry.value)
    parts = entry.mixture
    if parts is not None:
        parts = Mixture(n - 1 - parts.row, parts.limit, parts.share)
    return replace(
        entry,
        value=entry.value[::-1],
        spread=entry.spread[::-1],
        redraw=entry.redraw[::-1],
        mixture=parts,
    )
