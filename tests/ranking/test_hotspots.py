from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from riskmap.ranking.hotspots import (
    benjamini_hochberg,
    contiguity_weights,
    gi_star,
    hot_spots,
    name_spots,
    shuffled_p,
)


class TestAgainstEnumeration:
    def test_gi_star_by_hand_on_a_line(self) -> None:
        # Five places in a row, neighbors next door. Middle place: neighbors 2, 9, 4.
        values = np.array([1.0, 2.0, 9.0, 4.0, 4.0])
        z = gi_star(values, contiguity_weights([0, 1, 2, 3], [1, 2, 3, 4], count=5))
        mean, sd = values.mean(), values.std()
        expected = (15 - mean * 3) / (sd * np.sqrt((5 * 3 - 9) / 4))
        assert z[2] == pytest.approx(expected, abs=1e-12)

    def test_radius_route_equals_weights_route(self) -> None:
        rng = np.random.default_rng(0)
        x, y, v = rng.uniform(0, 100, 80), rng.uniform(0, 100, 80), rng.normal(5, 2, 80)
        near = np.hypot(x[:, None] - x, y[:, None] - y) <= 20
        first, second = np.nonzero(np.triu(near, 1))
        z = gi_star(v, contiguity_weights(first, second, count=80))
        np.testing.assert_allclose(hot_spots(x, y, v, radius_m=20)["gi_star_z"], z, atol=1e-10)

    def test_step_up_by_hand(self) -> None:
        # Benjamini and Hochberg (1995): adjusted p_(i) = min over j >= i of p_(j) m / j.
        adjusted = benjamini_hochberg([0.04, 0.01, 0.03, 0.5])
        np.testing.assert_allclose(adjusted, [0.16 / 3, 0.04, 0.16 / 3, 0.5])


class TestAgainstOtherSoftware:
    def test_false_discovery_control_of_scipy(self) -> None:
        p = np.random.default_rng(2).uniform(size=500) ** 2
        np.testing.assert_allclose(
            benjamini_hochberg(p), stats.false_discovery_control(p), atol=1e-14
        )


class TestProperties:
    def test_false_discoveries_are_kept_rare_on_noise(self) -> None:
        # With no pattern any named spot is false: the rate bounds the share of runs with one.
        runs_with_spot = 0
        for seed in range(60):
            rng = np.random.default_rng(seed)
            x, y = rng.uniform(0, 1000, (2, 400))
            spots = hot_spots(x, y, rng.normal(size=400), radius_m=80)["spot"]
            runs_with_spot += bool((spots != "none").any())
        assert runs_with_spot <= 9  # 5 % of 60 is 3; 9 lies beyond the 99.5 % point of chance

    def test_skewed_values_name_a_spot_in_at_most_a_tenth_of_shuffles(self) -> None:
        """The normal p named one in most of these: a few large values carry each sum."""
        rng = np.random.default_rng(11)
        x, y = rng.uniform(0, 1000, (2, 300))
        values = rng.lognormal(0, 1.6, 300)
        shuffles, named, by_normal = 40, 0, 0
        for _ in range(shuffles):
            table = hot_spots(x, y, rng.permutation(values), radius_m=80)
            named += bool((table["spot"] != "none").any())
            normal = benjamini_hochberg(2 * stats.norm.sf(table["gi_star_z"].abs()))
            by_normal += bool((normal <= 0.05).any())
        assert named <= 0.1 * shuffles
        assert by_normal > 0.5 * shuffles

    def test_p_by_enumeration(self) -> None:
        """Six places in a row, all 720 orders of their values."""
        values = np.array([1.0, 2.0, 4.0, 8.0, 16.0, 40.0])
        weights = contiguity_weights(np.arange(5), np.arange(1, 6), count=6)
        found = shuffled_p(values, weights)
        table = weights.toarray()
        sums = np.array([table @ order for order in itertools.permutations(values)])
        own = table @ values
        for place, line in enumerate(sums.T):
            tails = (line >= own[place] - 1e-9).mean(), (line <= own[place] + 1e-9).mean()
            assert found[place] == pytest.approx(min(2 * min(tails), 1.0), abs=0.02)

    def test_a_planted_cluster_is_found(self) -> None:
        rng = np.random.default_rng(3)
        x, y = rng.uniform(0, 1000, (2, 600))
        inside = np.hypot(x - 500, y - 500) < 120
        table = hot_spots(x, y, rng.normal(size=600) + 2.0 * inside, radius_m=100)
        core = np.hypot(x - 500, y - 500) < 60
        assert (table["spot"][core] == "hot").all()
        assert (table["spot"][np.hypot(x - 500, y - 500) > 350] == "hot").mean() < 0.05

    def test_unknown_takes_no_part(self) -> None:
        x, y = np.arange(6.0), np.zeros(6)
        values = np.array([1.0, 2.0, np.nan, 5.0, 6.0, 7.0])
        table = hot_spots(x, y, values, radius_m=1.0)
        kept = np.isfinite(values)
        alone = hot_spots(x[kept], y[kept], values[kept], radius_m=1.0)
        assert table["spot"][2] == "unknown"
        np.testing.assert_allclose(table["gi_star_z"][kept], alone["gi_star_z"])

    def test_nothing_varies_gives_no_spot(self) -> None:
        table = hot_spots([0, 1, 2], [0, 0, 0], [3.0, 3.0, 3.0], radius_m=1.0)
        assert table["gi_star_z"].isna().all()
        assert (name_spots([np.nan], [np.nan])["spot"] == "unknown").all()

    @given(st.lists(st.floats(-1e3, 1e3), min_size=6, max_size=30), st.floats(0.1, 10))
    @settings(max_examples=40, deadline=None)
    def test_shift_and_scale_change_nothing(self, values: list[float], scale: float) -> None:
        v = np.round(np.array(values), 3)
        x = np.arange(len(v), dtype=float)
        before = hot_spots(x, x, v, radius_m=3.0)["gi_star_z"]
        after = hot_spots(x, x, v * scale + 10.0, radius_m=3.0)["gi_star_z"]
        if v.std() > 1e-3:
            np.testing.assert_allclose(after, before, atol=1e-6)

    @given(st.lists(st.floats(0, 1), min_size=1, max_size=40))
    @settings(max_examples=40, deadline=None)
    def test_adjusting_keeps_order_and_never_lowers(self, values: list[float]) -> None:
        p = np.array(values)
        adjusted = benjamini_hochberg(p)
        order = np.argsort(p, kind="stable")
        assert (np.diff(adjusted[order]) >= 0).all()
        assert (adjusted >= p - 1e-15).all()
