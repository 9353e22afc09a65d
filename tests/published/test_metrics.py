"""Hanley and McNeil (1982), Radiology 143:29-36: ratings of 109 images, table I and II."""

from __future__ import annotations

import numpy as np
import pytest

from riskmap.ranking.metrics import area_error, area_error_from_counts, area_under_roc

NORMAL = np.array([33.0, 6, 6, 11, 2])
ABNORMAL = np.array([3.0, 2, 2, 11, 33])


def ratings() -> tuple[np.ndarray, np.ndarray]:
    classes = np.arange(1.0, 6.0)
    ranking = np.concatenate(
        [np.repeat(classes, NORMAL.astype(int)), np.repeat(classes, ABNORMAL.astype(int))]
    )
    return np.repeat([0.0, 1.0], [58, 51]), ranking


class TestPublishedValues:
    def test_area(self) -> None:
        truth, ranking = ratings()
        assert area_under_roc(truth, ranking) == pytest.approx(0.893171, abs=1e-6)

    def test_standard_error_counted(self) -> None:
        """Printed .032 (from memory): half a unit of the last digit."""
        assert area_error_from_counts(NORMAL, ABNORMAL) == pytest.approx(0.032, abs=0.0005)

    def test_standard_error_by_the_approximation(self) -> None:
        """.032487 recomputed with independent software; not the same as the counted .031990."""
        assert area_error(0.893171, 51, 58) == pytest.approx(0.032487, abs=1e-6)
