from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.errors import NotEnoughDataError
from riskmap.groundwater.kriging import Measurements, krige, leave_one_out, merge_places
from riskmap.groundwater.variogram import (
    VARIOGRAM_KINDS,
    Variogram,
    fit_variogram,
    sample_variogram,
)

MODEL = Variogram("exponential", 0.2, 1.5, 300.0)


def scattered(n: int, seed: int = 0, *, drift: bool = False) -> Measurements:
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 1000, (2, n))
    land = 50 + 10 * np.sin(x / 200) + rng.normal(0, 2, n)
    values = 20 + 0.01 * x + rng.normal(0, 1, n) + (0.5 * land if drift else 0)
    return Measurements(x, y, values, land if drift else None)


class TestAgainstOtherSoftware:
    @pytest.mark.parametrize("kind", VARIOGRAM_KINDS)
    def test_pykrige_ordinary(self, kind: str) -> None:
        ok = pytest.importorskip("pykrige.ok")
        data = scattered(60)
        model = Variogram(kind, 0.2, 1.5, 300.0)  # type: ignore[arg-type]
        # pykrige: exponential 1 - exp(-3h/r), gaussian 1 - exp(-(7h/4r)^2)
        length = {"spherical": 300.0, "exponential": 900.0, "gaussian": 300.0 * 7 / 4}[kind]
        theirs = ok.OrdinaryKriging(
            data.x_m, data.y_m, data.values, variogram_model=kind,
            variogram_parameters={"psill": 1.5, "range": length, "nugget": 0.2},
        )  # fmt: skip
        x, y = np.random.default_rng(1).uniform(0, 1000, (2, 40))
        estimate, variance = theirs.execute("points", x, y)
        ours = krige(data, x_m=x, y_m=y, variogram=model)
        np.testing.assert_allclose(ours.estimate, estimate, atol=1e-8)
        np.testing.assert_allclose(ours.variance, variance, atol=1e-8)

    def test_pykrige_external_drift(self) -> None:
        uk = pytest.importorskip("pykrige.uk")
        data = scattered(60, drift=True)
        theirs = uk.UniversalKriging(
            data.x_m, data.y_m, data.values, variogram_model="exponential",
            variogram_parameters={"psill": 1.5, "range": 900.0, "nugget": 0.2},
            drift_terms=["specified"], specified_drift=[data.drift],
        )  # fmt: skip
        x, y = np.random.default_rng(1).uniform(0, 1000, (2, 40))
        land = 50 + 10 * np.sin(x / 200)
        estimate, variance = theirs.execute("points", x, y, specified_drift_arrays=[land])
        ours = krige(data, x_m=x, y_m=y, drift=land, variogram=MODEL)
        np.testing.assert_allclose(ours.estimate, estimate, atol=1e-7)
        np.testing.assert_allclose(ours.variance, variance, atol=1e-7)


class TestAgainstEnumeration:
    def test_two_points_by_hand(self) -> None:
        # Half way between two points the weights are one half each: (10 + 14) / 2.
        data = Measurements(np.array([0.0, 100.0]), np.zeros(2), np.array([10.0, 14.0]))
        found = krige(data, x_m=[50.0], y_m=[0.0], variogram=MODEL)
        assert found.estimate[0] == pytest.approx(12.0, abs=1e-12)
        gap = MODEL.semivariance([50.0, 100.0])
        assert found.variance[0] == pytest.approx(2 * gap[0] - gap[1] / 2, abs=1e-12)

    @pytest.mark.parametrize("drift", [False, True])
    def test_leave_one_out_equals_refitting(self, drift: bool) -> None:
        data = scattered(25, drift=drift)
        fast = leave_one_out(data, variogram=MODEL)
        for i in range(len(data)):
            rest = np.arange(len(data)) != i
            fewer = Measurements(
                data.x_m[rest], data.y_m[rest], data.values[rest],
                None if data.drift is None else data.drift[rest],
            )  # fmt: skip
            here = None if data.drift is None else data.drift[[i]]
            slow = krige(fewer, x_m=data.x_m[[i]], y_m=data.y_m[[i]], drift=here, variogram=MODEL)
            assert fast.estimate[i] == pytest.approx(slow.estimate[0], abs=1e-8)
            assert fast.variance[i] == pytest.approx(slow.variance[0], abs=1e-8)

    @pytest.mark.parametrize("drift", [False, True])
    def test_moving_neighborhood_of_all_equals_the_whole(self, drift: bool) -> None:
        data = scattered(30, drift=drift)
        x, y = np.random.default_rng(4).uniform(0, 1000, (2, 20))
        land = 50 + x / 100 if drift else None
        whole = krige(data, x_m=x, y_m=y, drift=land, variogram=MODEL)
        for i in range(20):
            near = np.argsort(np.hypot(data.x_m - x[i], data.y_m - y[i]))[:12]
            part = Measurements(
                data.x_m[near], data.y_m[near], data.values[near],
                None if data.drift is None else data.drift[near],
            )  # fmt: skip
            here = None if land is None else land[[i]]
            slow = krige(part, x_m=x[[i]], y_m=y[[i]], drift=here, variogram=MODEL)
            fast = krige(data, x_m=x[[i]], y_m=y[[i]], drift=here, variogram=MODEL, neighbors=12)
            assert fast.estimate[0] == pytest.approx(slow.estimate[0], abs=1e-8)
        almost = krige(data, x_m=x, y_m=y, drift=land, variogram=MODEL, neighbors=29)
        assert np.abs(almost.estimate - whole.estimate).max() < 0.2

    def test_sample_variogram_of_three_points(self) -> None:
        # Pairs: 1 m apart (1 -> 3: gamma 2), 2 m (3 -> 4: .5), 3 m (1 -> 4: 4.5).
        found = sample_variogram([0, 1, 3], [0, 0, 0], [1.0, 3.0, 4.0], cutoff_m=3.0, bins=3)
        assert found.pairs.tolist() == [1, 1, 1]
        np.testing.assert_allclose(found.distance_m, [1, 2, 3])
        np.testing.assert_allclose(found.semivariance, [2, 0.5, 4.5])


class TestProperties:
    def test_fit_recovers_an_exact_model(self) -> None:
        rng = np.random.default_rng(0)
        x, y = rng.uniform(0, 1000, (2, 100))
        sample = sample_variogram(x, y, rng.normal(size=100))
        for kind in VARIOGRAM_KINDS:
            model = Variogram(kind, 0.3, 2.0, 150.0)
            exact = type(sample)(
                sample.pairs, sample.distance_m, model.semivariance(sample.distance_m)
            )
            fit = fit_variogram(exact)
            assert fit.kind == kind
            found = (fit.nugget, fit.partial_sill, fit.range_m)
            np.testing.assert_allclose(found, (0.3, 2.0, 150.0), rtol=1e-4)

    @given(st.integers(0, 10_000), st.floats(-50, 50))
    @settings(max_examples=25, deadline=None)
    def test_exact_at_data_and_unbiased(self, seed: int, shift: float) -> None:
        data = scattered(15, seed)
        no_nugget = Variogram("spherical", 0.0, 1.0, 400.0)
        at = krige(data, x_m=data.x_m, y_m=data.y_m, variogram=no_nugget)
        np.testing.assert_allclose(at.estimate, data.values, atol=1e-7)
        assert (at.variance < 1e-8).all()
        moved = Measurements(data.x_m, data.y_m, data.values + shift)
        base = krige(data, x_m=[500.0], y_m=[500.0], variogram=MODEL)
        after = krige(moved, x_m=[500.0], y_m=[500.0], variogram=MODEL)
        assert after.estimate[0] == pytest.approx(base.estimate[0] + shift, abs=1e-8)

    def test_variance_grows_away_from_the_data(self) -> None:
        data = scattered(40)
        far = krige(data, x_m=[500, 1500, 3000], y_m=[500, 500, 500], variogram=MODEL)
        assert (np.diff(far.variance) > 0).all()
        assert far.variance[2] > MODEL.sill

    def test_a_drift_that_does_not_vary_nearby_falls_back(self) -> None:
        data = scattered(12)
        flat = Measurements(data.x_m, data.y_m, data.values, np.full(12, 7.0), drift_slope_sd=1.0)
        plain = krige(data, x_m=[400.0], y_m=[300.0], variogram=MODEL)
        found = krige(flat, x_m=[400.0], y_m=[300.0], drift=[7.0], variogram=MODEL)
        assert found.estimate[0] == pytest.approx(plain.estimate[0], abs=1e-9)
        beyond = krige(flat, x_m=[400.0], y_m=[300.0], drift=[9.0], variogram=MODEL)
        assert beyond.variance[0] > found.variance[0]

    def test_unknown_targets_stay_unknown(self) -> None:
        found = krige(scattered(9), x_m=[np.nan, 1.0], y_m=[1.0, 1.0], variogram=MODEL)
        assert np.isnan(found.estimate[0])
        assert np.isfinite(found.estimate[1])

    def test_what_cannot_be_kriged_is_refused(self) -> None:
        one = Measurements(np.zeros(1), np.zeros(1), np.ones(1))
        with pytest.raises(NotEnoughDataError):
            krige(one, x_m=[1.0], y_m=[0.0], variogram=MODEL)
        with pytest.raises(ValueError, match="share a place"):
            Measurements(np.zeros(2), np.zeros(2), np.ones(2))
        with pytest.raises(ValueError, match="without NaN"):
            Measurements(np.zeros(1), np.zeros(1), np.array([np.nan]))
        with pytest.raises(ValueError, match="drift"):
            krige(scattered(5), x_m=[1.0], y_m=[0.0], drift=[1.0], variogram=MODEL)
        with pytest.raises(NotEnoughDataError):
            sample_variogram([1.0], [1.0], [1.0])

    def test_merged_places_take_the_median(self) -> None:
        x, y, v = merge_places([1, 1, 0, 1, 5], [2, 2, 0, 2, 5], [3, 9, 7, 4, np.nan])
        assert x.tolist() == [0, 1]
        assert y.tolist() == [0, 2]
        assert v.tolist() == [7, 4]
