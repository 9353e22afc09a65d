"""Kriging held to answers of R's gstat 2.1.0 on the Meuse zinc data (R package sp 1.6.0)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from riskmap.groundwater.kriging import Measurements, krige, leave_one_out
from riskmap.groundwater.variogram import (
    Variogram,
    fit_variogram,
    sample_variogram,
)


@pytest.fixture(scope="module")
def folder(shared_data: Path) -> Path:
    return shared_data / "reference" / "reference_datasets"


@pytest.fixture(scope="module")
def meuse(folder: Path) -> Measurements:
    table = pd.read_csv(folder / "meuse.csv")
    assert len(table) == 155
    zinc = np.log(table["zinc"].to_numpy(float))
    assert zinc.mean() == pytest.approx(5.885775852, abs=1e-9)
    return Measurements(table["x"].to_numpy(float), table["y"].to_numpy(float), zinc)


@pytest.fixture(scope="module")
def gstat_model(folder: Path) -> Variogram:
    fit = pd.read_csv(folder / "meuse_variogram_fit.csv")
    return Variogram("spherical", fit["psill"][0], fit["psill"][1], fit["range"][1])


class TestPublishedValues:
    def test_sample_variogram(self, meuse: Measurements, folder: Path) -> None:
        expected = pd.read_csv(folder / "meuse_variogram.csv")
        ours = sample_variogram(meuse.x_m, meuse.y_m, meuse.values)
        np.testing.assert_array_equal(ours.pairs, expected["np"])
        np.testing.assert_allclose(ours.distance_m, expected["dist"], atol=1e-9)
        np.testing.assert_allclose(ours.semivariance, expected["gamma"], atol=1e-12)

    def test_fit_is_gstats_fit_or_closer(self, meuse: Measurements, gstat_model: Variogram) -> None:
        # gstat stops its search early; its weighted error is 9.011194399e-06. The exact least
        # squares answer must be no worse, and within the flat bottom (2e-5 relative) of gstat's.
        sample = sample_variogram(meuse.x_m, meuse.y_m, meuse.values)
        weight = sample.pairs / sample.distance_m**2

        def error(model: Variogram) -> float:
            gap = sample.semivariance - model.semivariance(sample.distance_m)
            return float((weight * gap**2).sum())

        ours = fit_variogram(sample, kinds=["spherical"])
        assert error(gstat_model) == pytest.approx(9.011194399e-06, rel=1e-9)
        assert error(ours) <= error(gstat_model)
        assert error(ours) == pytest.approx(error(gstat_model), rel=1e-6)
        assert ours.nugget == pytest.approx(0.0506624, rel=5e-5)
        assert ours.partial_sill == pytest.approx(0.5906078, rel=2e-5)
        assert ours.range_m == pytest.approx(897.0209, rel=2e-5)

    def test_fixed_model_at_four_cells(self, meuse: Measurements) -> None:
        x, y = [181180, 180940, 180260, 179220], [333740, 333300, 331300, 329620]
        found = krige(meuse, x_m=x, y_m=y, variogram=Variogram("spherical", 0.05, 0.59, 897.0))
        estimate = [6.49987661, 6.48950766, 4.95838724, 6.42467216]
        variance = [0.31867761, 0.12571130, 0.19053526, 0.23564684]
        np.testing.assert_allclose(found.estimate, estimate, atol=1e-8)
        np.testing.assert_allclose(found.variance, variance, atol=1e-8)

    def test_whole_grid(self, meuse: Measurements, gstat_model: Variogram, folder: Path) -> None:
        grid = pd.read_csv(folder / "meuse_grid_ok_logzinc.csv")
        found = krige(meuse, x_m=grid["x"], y_m=grid["y"], variogram=gstat_model)
        np.testing.assert_allclose(found.estimate, grid["pred"], atol=1e-6)
        np.testing.assert_allclose(found.variance, grid["var"], atol=1e-6)

    def test_leave_one_out(self, meuse: Measurements, gstat_model: Variogram) -> None:
        left = leave_one_out(meuse, variogram=gstat_model)
        error = left.estimate - meuse.values
        assert -error.mean() == pytest.approx(-0.000021, abs=5e-7)
        assert np.sqrt((error**2).mean()) == pytest.approx(0.391804, abs=1e-6)
        assert (error**2 / left.variance).mean() == pytest.approx(0.818546, abs=1e-6)
        assert np.corrcoef(left.estimate, meuse.values)[0, 1] == pytest.approx(0.8393, abs=5e-5)
