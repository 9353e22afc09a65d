"""Local Gi* against published and recomputed values.

Sources: Getis and Ord (1992), Ord and Getis (1995); the Columbus crime data (Anselin 1988) as
shipped with libpysal; figures recomputed with R spdep 1.2.7 and esda 2.9.0, which agree.
"""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from riskmap.ranking.hotspots import contiguity_weights, gi_star, hot_spots


@pytest.fixture(scope="module")
def columbus() -> tuple[NDArray[np.float64], list[int], list[int]]:
    """Crime values and queen neighbors of the 49 districts, from libpysal's own files."""
    libpysal = pytest.importorskip("libpysal")
    crime = geopandas.read_file(libpysal.examples.get_path("columbus.dbf"))["CRIME"].to_numpy()
    words = Path(libpysal.examples.get_path("columbus.gal")).read_text().split()
    pairs, place = [], words.index("1", 1)  # after the header: id, count, then the neighbors
    while place < len(words):
        own, count = int(words[place]), int(words[place + 1])
        pairs += [(own - 1, int(w) - 1) for w in words[place + 2 : place + 2 + count]]
        place += 2 + count
    return crime, [i for i, _ in pairs], [j for _, j in pairs]


class TestPublishedValues:
    def test_columbus_crime_gi_star(
        self, columbus: tuple[NDArray[np.float64], list[int], list[int]]
    ) -> None:
        crime, first, second = columbus
        z = gi_star(crime, contiguity_weights(first, second, count=49))
        expected = [-1.43277965, -1.34000810, -0.77199868, -0.13173336, 1.28536280]
        np.testing.assert_allclose(z[:5], expected, atol=1e-6)
        assert z.argmax() == 15
        assert z.max() == pytest.approx(3.475051, abs=1e-6)
        assert z.argmin() == 31
        assert z.min() == pytest.approx(-2.851023, abs=1e-6)

    def test_columbus_against_spdep_file(
        self, columbus: tuple[NDArray[np.float64], list[int], list[int]], shared_data: Path
    ) -> None:
        crime, first, second = columbus
        path = shared_data / "reference/reference_datasets/columbus_local_stats.csv"
        expected = pd.read_csv(path)
        np.testing.assert_array_equal(crime, expected["CRIME"])
        z = gi_star(crime, contiguity_weights(first, second, count=49))
        np.testing.assert_allclose(z, expected["gi_star"], atol=1e-10)

    def test_six_points_in_a_distance_band(self) -> None:
        # Example in esda's documentation: band 15, binary.
        x, y = [10, 20, 40, 15, 30, 30], [10, 10, 10, 20, 20, 30]
        table = hot_spots(x, y, [2, 3, 3.2, 5, 8, 7], radius_m=15.0)
        expected = [-1.3972763, -0.2891776, 0.6506496, -0.2891776, 1.2345209, 2.0242433]
        np.testing.assert_allclose(table["gi_star_z"], expected, atol=1e-7)


class TestAgainstOtherSoftware:
    def test_esda_gi_star_on_random_points(self) -> None:
        esda = pytest.importorskip("esda")
        libpysal = pytest.importorskip("libpysal")
        rng = np.random.default_rng(5)
        places = rng.uniform(0, 1000, (300, 2))
        values = rng.gamma(2.0, 3.0, 300)
        band = libpysal.weights.DistanceBand(
            places, threshold=120.0, binary=True, silence_warnings=True
        )
        theirs = esda.G_Local(values, band, transform="B", star=True, permutations=0)
        ours = hot_spots(places[:, 0], places[:, 1], values, radius_m=120.0)
        np.testing.assert_allclose(ours["gi_star_z"], theirs.Zs, atol=1e-10)
