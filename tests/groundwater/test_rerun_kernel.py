"""The scalar formulas of a re-run against the assessment's own, over wide ranges."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.special import erfcx

from riskmap.groundwater import rerun_kernel
from riskmap.groundwater.arrival import arrived_frac
from riskmap.groundwater.plume import left_after
from riskmap.groundwater.rerun_kernel import PlumeSource, Window, layer_mean_of, window_mean_of
from riskmap.groundwater.slabs import layer_mean, window_mean
from riskmap.spatial.neighbors import neighbor_list, sum_within

Floats = NDArray[np.float64]
NAN = float("nan")


def window(top: float, bottom: float, b: float) -> Window:
    low, high = np.pi * top / b, np.pi * bottom / b
    return Window(
        top, bottom, 0.0, 0.0,
        float(np.cos(low)), float(np.sin(low)), float(np.cos(high)), float(np.sin(high)),
    )  # fmt: skip


def source(depth: float, b: float) -> PlumeSource:
    angle = np.pi * depth / b
    return PlumeSource(1.0, 15.0, depth, NAN, float(np.cos(angle)), float(np.sin(angle)))


class TestAgainstTheAssessment:
    def test_spread_sideways(self) -> None:
        rng = np.random.default_rng(1)
        offset, half = rng.uniform(0, 120, 4000), 10 ** rng.uniform(-1, 2, 4000)
        side, sigma = rng.uniform(2, 40, 4000), 10 ** rng.uniform(-0.3, 2, 4000)
        expected = window_mean(offset - half, offset + half, -side, side, sigma)
        found = [
            window_mean_of(o - h, o + h, -s, s, g)
            for o, h, s, g in zip(offset, half, side, sigma, strict=True)
        ]
        np.testing.assert_allclose(found, expected, rtol=1e-8, atol=1e-14)
        narrow = 2 * half < 0.2 * sigma
        assert narrow.sum() > 300
        assert (~narrow).sum() > 300

    @pytest.mark.parametrize("b", [5.0, 20.0, 80.0])
    def test_spread_downwards(self, b: float) -> None:
        rng = np.random.default_rng(2)
        n = 3000
        depth = np.minimum(rng.uniform(0.5, 4.0, n), b)
        slab = rng.uniform(0, 1, n) * (b - depth)
        top = rng.uniform(0, b - 1, n)
        bottom = top + (b - top) * rng.uniform(0.02, 1, n)
        sigma = b * 10 ** rng.uniform(-2.5, 0.2, n)
        expected = layer_mean(top, bottom, slab, slab + depth, sigma, thickness=b)
        found = [
            layer_mean_of(window(t, u, b), s, source(d, b), g, b)
            for t, u, s, d, g in zip(top, bottom, slab, depth, sigma, strict=True)
        ]
        # four images on each side against the endless series: 1e-7 of a mixed layer apart
        np.testing.assert_allclose(found, expected, rtol=1e-8, atol=1e-7 / b)
        slim = sigma < b  # where the endless series and the images agree; images round at 1e-13
        np.testing.assert_allclose(np.array(found)[slim], expected[slim], rtol=1e-8, atol=1e-12)

    def test_arrival_and_decay(self) -> None:
        rng = np.random.default_rng(3)
        n = 3000
        x, t = 10 ** rng.uniform(0, 3.2, n), 10 ** rng.uniform(0, 4.3, n)
        age, along = 10 ** rng.uniform(0, 4.3, n), 10 ** rng.uniform(-1, 2, n)
        expected = [
            float(arrived_frac(a, b, c, dispersivity_m=d))
            for a, b, c, d in zip(x, t, age, along, strict=True)
        ]
        found = [
            rerun_kernel.arrived_of(a, b, c, d) for a, b, c, d in zip(x, t, age, along, strict=True)
        ]
        np.testing.assert_allclose(found, expected, rtol=1e-8, atol=1e-15)
        assert rerun_kernel.arrived_of(50.0, 250.0, NAN, 10.0) == 1.0
        left = [rerun_kernel.left_of(a, b, 3e-4, d) for a, b, d in zip(x, t, along, strict=True)]
        kept = [
            float(left_after(a, b, decay_1_d=3e-4, dispersivity_m=d))
            for a, b, d in zip(x, t, along, strict=True)
        ]
        np.testing.assert_allclose(left, kept, rtol=1e-12)

    def test_scaled_error_function(self) -> None:
        z = np.linspace(0, 60, 500)
        found = [rerun_kernel.scaled_erfc(float(v)) for v in z]
        np.testing.assert_allclose(found, erfcx(z), rtol=1e-11)


class TestPublishedValues:
    def test_ogata_and_banks(self) -> None:
        # Ogata and Banks (1961): v = .2 m/d, D = 2 m2/d, x = 50 m, 250 d
        assert rerun_kernel.arrived_of(50.0, 250.0, 250.0, 10.0) == pytest.approx(
            0.616163, abs=1e-6
        )


class TestBounds:
    def test_no_addition_passes_the_bound(self) -> None:
        """The bound that spares work holds for the whole formula."""
        rng = np.random.default_rng(4)
        for _ in range(3000):
            side, sigma, half = rng.uniform(1, 40), 10 ** rng.uniform(-0.5, 2), rng.uniform(0, 60)
            offset = rng.uniform(0, 300)
            b = rng.uniform(3, 60)
            depth = min(rng.uniform(0.5, 4), b)
            top = rng.uniform(0, b - 1)
            bottom = rng.uniform(top + 0.5, b)
            slab, down = rng.uniform(0, b - depth), b * 10 ** rng.uniform(-2, 0.1)
            across = window_mean_of(offset - half, offset + half, -side, side, sigma)
            deep = layer_mean_of(window(top, bottom, b), slab, source(depth, b), down, b)
            above = max(top - slab - depth, slab - bottom, 0.0) / down
            most = min(1 / depth, 1 / b + 0.8 / down)
            limit = rerun_kernel.at_most(1.0, max(offset - half - side, 0.0), side, sigma, most)
            assert across * deep <= limit
            assert deep <= 1.0001 * most * np.exp(-0.5 * above**2) + 1e-9


class TestNeighbors:
    def test_against_another_program(self) -> None:
        # scipy's tree lists the same neighbors
        rng = np.random.default_rng(5)
        xy = rng.uniform(0, 3000, (700, 2))
        weights = rng.uniform(0, 9, 700)
        near = neighbor_list(xy[:, 0], xy[:, 1], radius_m=400.0)
        tree = cKDTree(xy).query_ball_point(xy, 400.0)
        expected = [weights[np.array(others)].sum() for others in tree]
        np.testing.assert_allclose(near.sums(weights), expected, rtol=1e-12)
        assert [sorted(near.other[near.start[i] : near.start[i + 1]]) for i in (0, 99)] == [
            sorted(tree[0]), sorted(tree[99]),
        ]  # fmt: skip

    def test_unknown_places_and_weights(self) -> None:
        x = [0.0, 10.0, NAN, 5000.0]
        weights = [1.0, NAN, 4.0, 8.0]
        near = neighbor_list(x, np.zeros(4), radius_m=50.0)
        expected = sum_within(
            x, np.zeros(4), weights, target_x_m=x, target_y_m=np.zeros(4), radius_m=50.0
        )
        np.testing.assert_array_equal(near.sums(weights), expected)
        np.testing.assert_array_equal(near.sums(weights), [1.0, 1.0, NAN, 8.0])
        assert len(neighbor_list([], [], radius_m=1.0).sums([])) == 0
