"""The prediction against other software, a refit, enumeration and limits."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.optimize import approx_fprime
from scipy.stats import norm
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern

from riskmap.contract.arrays import Floats
from riskmap.groundwater import well_nitrate
from riskmap.groundwater.censored import NO_RESULTS, Results, pseudo_values, results_of
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.groundwater.well_nitrate import (
    PRIORS,
    Known,
    Nitrate,
    expected_log,
    known_of_wells,
    parts_of,
    predict_nitrate,
)

WATER = GroundwaterSettings()


def county(count: int, seed: int = 1) -> tuple[pd.DataFrame, Floats]:
    rng = np.random.default_rng(seed)
    wells = pd.DataFrame(
        {
            "x_m": rng.uniform(0, 5000, count), "y_m": rng.uniform(0, 5000, count),
            "expected_at_screen_mg_l": rng.gamma(0.5, 2.0, count),
            "expected_on_top_mg_l": rng.gamma(1.0, 3.0, count),
            "dug": rng.random(count) < 0.1, "age_yr": rng.uniform(0, 70, count),
        }
    )  # fmt: skip
    return wells, rng.uniform(3, 50, count)


def predicted(wells: pd.DataFrame, depth: Floats, results: Results) -> Nitrate:
    return predict_nitrate(
        known_of_wells(wells, depth_m=depth), wells["x_m"], wells["y_m"], results,
        water=WATER, seed=0,
    )  # fmt: skip


def results(well: list[int], mg_l: list[float], below: list[bool] | None = None) -> Results:
    flags = np.zeros(len(well), bool) if below is None else np.array(below)
    return Results(np.array(well), np.log(mg_l), flags, np.full(len(well), 0.05))


class TestSum:
    def test_slopes_are_those_of_differences(self) -> None:
        wells, depth = county(30)
        known = known_of_wells(wells, depth_m=depth)
        numbers = np.array([prior.middle for prior in PRIORS.values()]) + 0.1
        _, slopes = expected_log(known, numbers, WATER)
        for well in range(0, 30, 7):
            one = known.of(np.array([well]))
            near = approx_fprime(numbers, lambda at, w=one: expected_log(w, at, WATER)[0][0], 1e-7)
            np.testing.assert_allclose(slopes[well], near, rtol=1e-4, atol=1e-6)

    def test_limits(self) -> None:
        base = np.zeros((3, len(well_nitrate.BACKGROUND)))
        none, lots = np.zeros(3), np.full(3, 1e6)
        middle = np.array([prior.middle for prior in PRIORS.values()])
        clean, _ = expected_log(Known(base, none, none), middle, WATER)
        assert np.exp(clean) == pytest.approx(WATER.background_mg_l)
        strong, _ = expected_log(Known(base, lots, lots), middle, WATER)
        assert np.exp(strong) == pytest.approx(WATER.background_mg_l + WATER.effluent_mg_l)


class TestAgainstOtherSoftware:
    def test_scikit_learn_with_the_same_kernel(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Spreads held fixed, numbers certain: kriging as scikit-learn does it."""
        wells, depth = county(120)
        monkeypatch.setattr(well_nitrate, "_tuned", lambda *given: given[-1])
        fixed = {n: p._replace(sd=1e-9) for n, p in PRIORS.items()}
        monkeypatch.setattr(well_nitrate, "PRIORS", fixed)
        rng = np.random.default_rng(2)
        well = np.arange(80)
        given = Results(well, rng.normal(0, 1, 80), np.zeros(80, bool), rng.uniform(0.02, 0.3, 80))
        found = predicted(wells, depth, given)
        known = known_of_wells(wells, depth_m=depth)
        mean, _ = expected_log(known, np.array([p.middle for p in PRIORS.values()]), WATER)
        (shared, _), (reach, _), (own, _) = well_nitrate.SPREADS.values()
        kernel = ConstantKernel(shared**2, "fixed") * Matern(reach, "fixed", nu=1.5)
        place = wells[["x_m", "y_m"]].to_numpy()
        other = GaussianProcessRegressor(kernel, alpha=given.variance + own**2, optimizer=None)
        other.fit(place[:80], given.log_value - mean[:80])
        said, sd = other.predict(place[80:], return_std=True)
        np.testing.assert_allclose(found.mean[80:], mean[80:] + said, rtol=1e-6, atol=1e-8)
        variance = sd**2 + own**2 + given.fresh_variance
        np.testing.assert_allclose(found.sd[80:] ** 2, variance, rtol=1e-6)

    def test_below_a_limit_by_integration(self) -> None:
        """One well with a result below a limit: mean and variance of the cut normal."""
        given = results([0], [0.5], [True])
        value, variance = pseudo_values(np.array([[0.8]]), np.array([0.3]), given)

        def weight(x: float) -> float:
            return float(
                norm.pdf(x, 0.3, np.sqrt(0.8)) * norm.cdf((np.log(0.5) - x) / np.sqrt(0.05))
            )

        whole, first, second = (
            quad(lambda x, k=k: x**k * weight(x), -8, 8, epsabs=1e-12)[0] for k in range(3)
        )
        mean, spread = first / whole, second / whole - (first / whole) ** 2
        joined = 1 / (1 / 0.8 + 1 / variance[0])
        assert joined == pytest.approx(spread, rel=1e-4)
        assert joined * (0.3 / 0.8 + value[0] / variance[0]) == pytest.approx(mean, rel=1e-3)

    def test_a_well_is_predicted_without_its_own_sample(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """Leaving a well out by the inverse equals predicting it from the others' samples."""
        monkeypatch.setattr(well_nitrate, "_tuned", lambda *given: given[-1])
        fixed = {n: p._replace(sd=1e-9) for n, p in PRIORS.items()}
        monkeypatch.setattr(well_nitrate, "PRIORS", fixed)
        wells, depth = county(40)
        rng = np.random.default_rng(5)
        every = Results(
            np.arange(40), rng.normal(0, 1, 40), np.zeros(40, bool), np.full(40, 0.05)
        )  # fmt: skip
        found = predicted(wells, depth, every)
        for left in (0, 7, 23):
            kept = every.well != left
            others = Results(
                every.well[kept], every.log_value[kept], every.below[kept], every.variance[kept]
            )
            again = predicted(wells, depth, others)
            assert found.mean[left] == pytest.approx(again.mean[left], abs=1e-7)
            assert found.sd[left] == pytest.approx(again.sd[left], abs=1e-7)
            assert again.samples[left] == found.samples[left] == 39


class TestLearning:
    def test_what_systems_add_never_makes_a_high_value_less_likely(self) -> None:
        wells, depth = county(50)
        clean = wells.assign(expected_at_screen_mg_l=0.0, expected_on_top_mg_l=0.0)
        with_them, without = (predicted(w, depth, NO_RESULTS) for w in (wells, clean))
        chances = [norm.sf((np.log(10.0) - n.mean) / n.sd) for n in (with_them, without)]
        assert (chances[0] >= chances[1]).all()

    def test_no_sample_leaves_the_priors_and_one_sample_moves_a_little(self) -> None:
        wells, depth = county(60)
        before = predicted(wells, depth, NO_RESULTS)
        after = predicted(wells, depth, results([0], [20.0]))
        moved = after.mean - before.mean
        assert (moved[1:] > 0).all()
        assert moved[1:].max() < np.log(20.0) - before.mean[1:].min()
        assert before.samples.tolist() == [0] * 60
        assert after.samples.tolist() == [0] + [1] * 59

    def test_learns_what_made_the_samples(self) -> None:
        wells, depth = county(700, seed=3)
        known = known_of_wells(wells, depth_m=depth)
        truth = np.array([prior.middle for prior in PRIORS.values()])
        truth[0] += 1.0
        mean, _ = expected_log(known, truth, WATER)
        rng = np.random.default_rng(6)
        value = mean + rng.normal(0, 0.4, 700)
        given = Results(np.arange(500), value[:500], np.zeros(500, bool), np.full(500, 1e-3))
        found = predicted(wells, depth, given)
        rest = np.arange(500, 700)
        assert np.corrcoef(found.mean[rest], mean[rest])[0, 1] > 0.97
        assert found.sd[rest].mean() == pytest.approx(np.sqrt(0.16 + given.fresh_variance), rel=0.2)
        assert np.abs(found.mean[rest] - mean[rest]).mean() < 0.15

    def test_a_result_below_a_limit_lowers_and_never_raises(self) -> None:
        wells, depth = county(30)
        none = predicted(wells, depth, NO_RESULTS)
        low = predicted(wells, depth, results([0, 1, 2], [0.1, 0.1, 0.1], [True] * 3))
        high = predicted(wells, depth, results([0, 1, 2], [90.0, 90.0, 90.0], [True] * 3))
        assert (low.mean[3:] < none.mean[3:]).all()
        assert (high.mean[3:] <= none.mean[3:] + 1e-9).all()
        np.testing.assert_allclose(high.mean[3:], none.mean[3:], atol=0.05)

    def test_a_well_without_a_place_is_not_predicted_and_its_sample_not_used(self) -> None:
        wells, depth = county(20)
        wells.loc[0, "x_m"] = np.nan
        with_it = predicted(wells, depth, results([0], [40.0]))
        none = predicted(wells, depth, NO_RESULTS)
        assert np.isnan(with_it.mean[0])
        np.testing.assert_array_equal(with_it.mean[1:], none.mean[1:])

    def test_parts_hold_every_well_once(self) -> None:
        rng = np.random.default_rng(0)
        place = rng.uniform(0, 9000, (900, 2))
        place[:50] = place[0]
        sampled = rng.random(900) < 0.5
        parts = parts_of(place, sampled, most=60)
        assert sorted(np.concatenate(parts).tolist()) == list(range(900))
        assert max(sampled[part].sum() for part in parts) <= 60


class TestSamples:
    def test_dates_repeats_and_strangers(self) -> None:
        table = pd.DataFrame(
            {
                "well_id": ["a", "a", "b", "x", "b"], "nitrate_mg_l": [1.0, 2.0, 0.5, 9.0, np.nan],
                "nitrate_below_limit": [False, False, True, False, False],
                "date": ["2026-06-01", "2016-06-01", None, "2020-01-01", "2020-01-01"],
            }
        )  # fmt: skip
        found = results_of(table, pd.Series(["a", "b", "c"]), today=pd.Timestamp("2026-06-01"))
        assert found.well.tolist() == [0, 0, 1]
        assert found.below.tolist() == [False, False, True]
        fresh, old, undated = found.variance - found.fresh_variance
        assert fresh == 0
        assert old == pytest.approx(0.02, rel=1e-3)
        assert undated > old

    def test_none_is_none(self) -> None:
        assert results_of(None, pd.Series(["a"]), today=pd.Timestamp("2026-06-01")) is NO_RESULTS
