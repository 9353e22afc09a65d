from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from riskmap.groundwater.density import (
    DRAINFIELDS_NEAR_WELL_M,
    drainfields_near_wells,
    systems_density,
)
from riskmap.spatial.neighbors import sum_within


class TestAgainstEnumeration:
    @given(st.integers(0, 1000), st.floats(0.5, 400))
    @settings(max_examples=40, deadline=None)
    def test_weighted_sums_over_all_pairs(self, seed: int, radius: float) -> None:
        rng = np.random.default_rng(seed)
        x, y = rng.uniform(-500, 500, (2, 60))
        tx, ty = rng.uniform(-700, 700, (2, 25))
        weights = rng.normal(size=(60, 2))
        near = np.hypot(tx[:, None] - x, ty[:, None] - y) <= radius
        found = sum_within(x, y, weights, target_x_m=tx, target_y_m=ty, radius_m=radius)
        np.testing.assert_allclose(found, near @ weights, atol=1e-10)

    def test_edge_counts_as_inside_and_unknown_is_left_out(self) -> None:
        count = drainfields_near_wells(
            [0.0, np.nan], [0.0, 0.0],
            system_x_m=[229.0, 229.01, np.nan, 0.0], system_y_m=[0.0, 0.0, 0.0, 0.0],
        )  # fmt: skip
        assert count[0] == 2
        assert np.isnan(count[1])

    def test_no_systems_at_all(self) -> None:
        assert drainfields_near_wells([1.0], [1.0], system_x_m=[], system_y_m=[]).tolist() == [0]


class TestAgainstOtherSoftware:
    def test_counts_of_ckdtree(self) -> None:
        rng = np.random.default_rng(9)
        systems = np.concatenate([rng.normal(0, 300, (3000, 2)), rng.uniform(-9e3, 9e3, (500, 2))])
        wells = rng.normal(0, 900, (400, 2))
        theirs = cKDTree(systems).query_ball_point(
            wells, DRAINFIELDS_NEAR_WELL_M, return_length=True
        )
        ours = drainfields_near_wells(
            wells[:, 0], wells[:, 1], system_x_m=systems[:, 0], system_y_m=systems[:, 1]
        )
        np.testing.assert_array_equal(ours, theirs)


class TestProperties:
    def test_lone_system_counts_itself(self) -> None:
        table = systems_density([0.0, np.nan], [0.0, 0.0], radius_m=1000 / np.sqrt(np.pi))
        assert table["systems_near"][0] == 1
        assert table["systems_per_km2"][0] == pytest.approx(1.0)
        assert np.isnan(table["systems_per_km2"][1])
        assert table["dense"].tolist() == [False, False]
