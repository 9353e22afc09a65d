from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
from lifelines import CoxPHFitter, KaplanMeierFitter, WeibullFitter
from scipy.optimize import minimize

from riskmap.contract.errors import NotEnoughDataError
from riskmap.failure.aging import DEFAULT_AGING, survival_frac
from riskmap.failure.hazards import hazard_ratios
from riskmap.failure.service_life import fit_aging, fit_weibull, survival_table

SHAPE, SCALE = 2.1, 40.0


def _county(n: int = 6000, seed: int = 5) -> pd.DataFrame:
    """Systems installed 1950-2015 with a known Weibull life; records run from 1995 to 2020.

    A system that failed before 1995 was replaced and is not on record; one that lives on is
    censored in 2020.
    """
    rng = np.random.default_rng(seed)
    installed = rng.uniform(1950, 2015, n)
    life = SCALE * rng.weibull(SHAPE, n)
    on_record = installed + life > 1995
    end = np.minimum(life, 2020 - installed)
    table = pd.DataFrame(
        {"age": end, "failed": life <= end, "entry": np.maximum(1995 - installed, 0.0)}
    )
    return table[on_record].reset_index(drop=True)


class TestAgainstEnumeration:
    """A simulated county in which the truth is known."""

    def test_delayed_entry_recovers_the_truth_and_ignoring_it_does_not(self) -> None:
        county = _county()
        ours = fit_weibull(county["age"], county["failed"], entry_age_yr=county["entry"])
        plain = fit_weibull(county["age"], county["failed"])
        assert ours.shape_interval is not None
        assert ours.scale_interval_yr is not None
        assert ours.shape_interval[0] < SHAPE < ours.shape_interval[1]
        assert ours.scale_interval_yr[0] < SCALE < ours.scale_interval_yr[1]
        truth = float(survival_frac(30.0, shape=SHAPE, scale_yr=SCALE))
        good = float(survival_frac(30.0, shape=ours.shape, scale_yr=ours.scale_yr))
        wrong = float(survival_frac(30.0, shape=plain.shape, scale_yr=plain.scale_yr))
        assert good == pytest.approx(truth, abs=0.03)
        assert wrong > truth + 0.10, "survivors make the old systems look sturdy"
        assert plain.scale_interval_yr is not None
        assert plain.scale_interval_yr[0] > SCALE

    def test_the_table_agrees_with_the_truth_too(self) -> None:
        """Mean over eight counties, standard error about .004."""
        truth = float(survival_frac(30.0, shape=SHAPE, scale_yr=SCALE))
        found, naive = [], []
        for seed in range(5, 13):
            county = _county(seed=seed)
            age, failed, entry = (county[c] for c in ("age", "failed", "entry"))
            for entries, kept in ((entry, found), (0.0, naive)):
                table = survival_table(age, failed, entry_age_yr=entries)
                kept.append(table[table["age_yr"] <= 30].iloc[-1]["survival_frac"])
        assert np.mean(found) == pytest.approx(truth, abs=0.012)
        assert np.min(naive) > truth + 0.10

    def test_table_by_hand(self) -> None:
        """Five systems: at 2 years 3 at risk, 1 fails; at 4 years 3 at risk, 1 fails; 2/3, 4/9."""
        table = survival_table([2, 3, 4, 5, 6], [1, 0, 1, 0, 0], entry_age_yr=[0, 0, 1, 3, 5])
        assert table["age_yr"].tolist() == [2, 4]
        assert table["at_risk"].tolist() == [3, 2]
        np.testing.assert_allclose(table["survival_frac"], [2 / 3, 1 / 3])


class TestAgainstOtherSoftware:
    def test_kaplan_meier_with_entry(self) -> None:
        """lifelines KaplanMeierFitter."""
        county = _county(800)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            theirs = KaplanMeierFitter().fit(county["age"], county["failed"], entry=county["entry"])
        ours = survival_table(county["age"], county["failed"], entry_age_yr=county["entry"])
        expected = theirs.survival_function_["KM_estimate"].loc[ours["age_yr"]]
        np.testing.assert_allclose(ours["survival_frac"], expected, rtol=1e-9)

    def test_weibull_with_entry(self) -> None:
        """The likelihood written out: density and survival over survival at entry; scipy."""
        county = _county(1500)
        age, failed, entry = (county[c].to_numpy() for c in ("age", "failed", "entry"))

        def minus_log_likelihood(p: np.ndarray) -> float:
            shape, scale = np.exp(p)
            hazard = np.log(shape / scale) + (shape - 1) * np.log(age / scale)
            spent = (age / scale) ** shape - (entry / scale) ** shape
            return -float(np.sum(failed * hazard - spent))

        best = minimize(minus_log_likelihood, [0.5, 3.5], method="Nelder-Mead", tol=1e-10)
        model = fit_weibull(age, failed, entry_age_yr=entry)
        np.testing.assert_allclose([model.shape, model.scale_yr], np.exp(best.x), rtol=1e-3)

    @pytest.mark.parametrize("seed", [5, 6, 7])
    def test_weibull_with_entry_and_its_intervals(self, seed: int) -> None:
        """lifelines WeibullFitter, which stops at 1e-6 or so; curves, intervals, likelihood."""
        county = _county(1200, seed)
        age, failed, entry = (county[c].to_numpy() for c in ("age", "failed", "entry"))
        ours = fit_weibull(age, failed, entry_age_yr=entry)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            theirs = WeibullFitter().fit(age, failed, entry=entry)
            table = theirs.summary
        assert ours.scale_yr == pytest.approx(theirs.lambda_, rel=1e-5)
        assert ours.shape == pytest.approx(theirs.rho_, rel=1e-5)
        assert ours.log_likelihood == pytest.approx(theirs.log_likelihood_, abs=1e-6)
        for interval, name in ((ours.scale_interval_yr, "lambda_"), (ours.shape_interval, "rho_")):
            ends = table.loc[name, ["coef lower 95%", "coef upper 95%"]].to_numpy(float)
            np.testing.assert_allclose(interval, ends, rtol=1e-5)

    def test_hazard_ratios_with_entry_and_ties(self) -> None:
        """lifelines CoxPHFitter (Efron), ages in whole years so that most failures are tied."""
        county = _county(1500)
        rng = np.random.default_rng(2)
        data = pd.DataFrame(
            {"wet": rng.random(len(county)) < 0.4, "clay": rng.normal(30, 9, len(county))}
        )
        age, entry = np.ceil(county["age"]) + 1, np.floor(county["entry"])
        ours = hazard_ratios(data, age, county["failed"], entry_age_yr=entry)
        whole = data.astype(float).assign(age=age, failed=county["failed"], entry=entry)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            theirs = CoxPHFitter().fit(whole, "age", "failed", entry_col="entry").summary
        np.testing.assert_allclose(ours["log_ratio"], theirs["coef"], atol=1e-7)
        np.testing.assert_allclose(ours["se"], theirs["se(coef)"], rtol=1e-6)
        np.testing.assert_allclose(ours["p_value"], theirs["p"], atol=1e-6)


class TestReport:
    def test_used_only_with_enough_failures_and_reported_either_way(self) -> None:
        county = _county(1500)
        kind = np.where(np.arange(len(county)) % 20 == 0, "mound", "trench")
        few = county["failed"] & (kind == "mound")
        models = fit_aging(
            kind,
            county["age"],
            county["failed"],
            entry_age_yr=county["entry"],
            min_events=int(few.sum()) + 1,
        )
        assert set(models) == set(DEFAULT_AGING)
        assert models["trench"].fitted
        assert models["trench"].systems == (kind == "trench").sum()
        assert not models["mound"].fitted
        assert models["mound"].events == few.sum()
        assert models["mound"].shape == DEFAULT_AGING["mound"].shape
        assert "needed" in models["mound"].why
        assert models["bed"].systems == 0

    def test_unusable_records_are_left_out(self) -> None:
        county = _county(900)
        holed = pd.concat(
            [county, pd.DataFrame({"age": [np.nan, 5, -3], "failed": 1, "entry": [0, 9, 0]})]
        )
        kind = np.full(len(holed), "trench")
        model = fit_aging(kind, holed["age"], holed["failed"], entry_age_yr=holed["entry"])
        assert model["trench"].systems == len(county)

    def test_no_failures_no_fit(self) -> None:
        with pytest.raises(NotEnoughDataError, match="No failure"):
            fit_weibull([5.0, 6.0], [False, False])
        assert survival_table([5.0, 6.0], [False, False]).empty

    def test_hazard_ratio_of_a_known_truth(self) -> None:
        """Hazard doubled by a feature, with delayed entry: the interval holds 2."""
        rng = np.random.default_rng(8)
        wet = rng.random(5000) < 0.4
        life = SCALE * rng.weibull(SHAPE, 5000) * np.where(wet, 2 ** (-1 / SHAPE), 1.0)
        entry = rng.uniform(0, 30, 5000)
        seen = life > entry
        end = np.minimum(life, entry + 20)
        found = hazard_ratios(
            pd.DataFrame({"wet": wet[seen]}),
            end[seen],
            (life <= end)[seen],
            entry_age_yr=entry[seen],
        ).loc["wet"]
        assert found["ratio_lower"] < 2 < found["ratio_upper"]
        assert found["ratio_lower"] > 1.5

    def test_features_that_say_nothing_are_refused(self) -> None:
        with pytest.raises(NotEnoughDataError):
            hazard_ratios(pd.DataFrame({"x": [1.0, 1.0, 1.0]}), [1.0, 2.0, 3.0], [1, 1, 0])

    def test_features_that_repeat_or_tell_for_certain_are_refused(self) -> None:
        county = _county(400)
        clay = np.linspace(5, 60, len(county))
        for other in (2 * clay, np.where(county["failed"], 1.0, 0.0)):
            with pytest.raises(NotEnoughDataError, match="repeat each other"):
                hazard_ratios(
                    pd.DataFrame({"clay": clay, "other": other}),
                    county["age"],
                    county["failed"],
                    entry_age_yr=county["entry"],
                )

    def test_failures_all_at_the_last_age_fit_no_curve(self) -> None:
        with pytest.raises(NotEnoughDataError, match="fits"):
            fit_weibull([5.0, 5.0, 2.0], [True, True, False])
