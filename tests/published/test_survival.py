"""Survival curves and fits against published worked data and R (survival 3.5.3)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from riskmap.failure.aging import DEFAULT_AGING, survival_frac, weibull_through
from riskmap.failure.hazards import hazard_ratios
from riskmap.failure.service_life import fit_weibull, survival_table

# Freireich et al. 1963 (Gehan 1965), weeks in remission; + means still in remission.
SIX_MP = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
PLACEBO = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"


def _times(text: str) -> tuple[np.ndarray, np.ndarray]:
    words = text.split()
    return np.array([float(w.rstrip("+")) for w in words]), np.array([w[-1] != "+" for w in words])


@pytest.fixture(scope="module")
def reference(shared_data: Path) -> Path:
    return shared_data / "reference" / "reference_datasets"


@pytest.fixture(scope="module")
def lung(reference: Path) -> pd.DataFrame:
    return pd.read_csv(reference / "survival_lung.csv")


class TestPublishedValues:
    def test_kaplan_meier_six_mp(self) -> None:
        table = survival_table(*_times(SIX_MP))
        assert table["age_yr"].tolist() == [6, 7, 10, 13, 16, 22, 23]
        survival = [0.857143, 0.806723, 0.752941, 0.690196, 0.627451, 0.537815, 0.448179]
        errors = [0.076360, 0.086935, 0.096350, 0.106815, 0.114054, 0.128234, 0.134591]
        np.testing.assert_allclose(table["survival_frac"], survival, atol=5e-7)
        np.testing.assert_allclose(table["se_frac"], errors, atol=5e-7)
        assert table["age_yr"][table["survival_frac"] <= 0.5].iloc[0] == 23

    def test_kaplan_meier_placebo(self) -> None:
        table = survival_table(*_times(PLACEBO)).set_index("age_yr")
        assert table.loc[8.0, "survival_frac"] == pytest.approx(0.380952, abs=5e-7)
        assert table.index[table["survival_frac"] <= 0.5][0] == 8
        assert table["survival_frac"].iloc[-1] == pytest.approx(0, abs=1e-12)

    @pytest.mark.parametrize(
        ("text", "scale", "shape", "likelihood"),
        [(SIX_MP, 33.76519, 1.353732, -41.65868), (PLACEBO, 9.482097, 1.370504, -64.92011)],
    )
    def test_weibull(self, text: str, scale: float, shape: float, likelihood: float) -> None:
        model = fit_weibull(*_times(text))
        assert model.scale_yr == pytest.approx(scale, rel=1e-3)
        assert model.shape == pytest.approx(shape, rel=1e-3)
        assert model.log_likelihood == pytest.approx(likelihood, abs=1e-3)

    def test_cox_six_mp_efron(self) -> None:
        (drug, drug_end), (sugar, sugar_end) = _times(SIX_MP), _times(PLACEBO)
        group = pd.DataFrame({"placebo": np.repeat([0.0, 1.0], 21)})
        found = hazard_ratios(group, np.r_[drug, sugar], np.r_[drug_end, sugar_end])
        assert found.loc["placebo", "log_ratio"] == pytest.approx(1.572125, abs=1e-5)

    @pytest.mark.parametrize(
        ("rate", "survival"), [(0.01, 0.8187), (0.015, 0.7408), (0.02, 0.6703)]
    )
    def test_constant_rates_over_twenty_years(self, rate: float, survival: float) -> None:
        found = survival_frac(20.0, shape=1.0, scale_yr=1 / rate)
        assert found == pytest.approx(survival, abs=5e-5)

    def test_maine_service_life(self) -> None:
        """Dix & Hoxie 2001: loss under 0.5 %/yr for ten years, over 80 % serving after twenty."""
        for kind in ("trench", "bed", "mound"):
            model = DEFAULT_AGING[kind]
            ten, twenty = survival_frac([10.0, 20.0], shape=model.shape, scale_yr=model.scale_yr)
            assert ten >= 0.95 - 1e-12
            assert twenty >= 0.80 - 1e-12
            assert model.shape > 1, "losses rise with age"

    def test_weibull_through_the_maine_shares(self) -> None:
        shape, scale = weibull_through(0.95, 0.80)
        assert shape == pytest.approx(2.12, abs=0.005)
        assert scale == pytest.approx(40.6, abs=0.05)
        assert scale * np.log(2) ** (1 / shape) == pytest.approx(34.1, abs=0.05)


class TestAgainstOtherSoftware:
    """R 4.2.2, survival 3.5.3; answers printed beside the data."""

    def test_lung_kaplan_meier(self, lung: pd.DataFrame) -> None:
        table = survival_table(lung["time"], lung["status"] == 2)
        rows = [table[table["age_yr"] <= t].iloc[-1] for t in (100, 200, 300, 500)]
        columns = {
            "survival_frac": ([0.864, 0.680, 0.531, 0.293], 5e-4),
            "se_frac": ([0.0227, 0.0311, 0.0346, 0.0351], 5e-5),
            "lower_frac": ([0.821, 0.622, 0.467, 0.232], 5e-4),
            "upper_frac": ([0.910, 0.744, 0.603, 0.371], 5e-4),
        }
        for name, (printed, tolerance) in columns.items():
            np.testing.assert_allclose([row[name] for row in rows], printed, atol=tolerance)
        events = [int(table["failures"][table["age_yr"] <= t].sum()) for t in (100, 200, 300, 500)]
        assert events == [31, 72, 101, 138]
        assert table["age_yr"][table["survival_frac"] <= 0.5].iloc[0] == 310

    def test_lung_weibull(self, lung: pd.DataFrame) -> None:
        model = fit_weibull(lung["time"], lung["status"] == 2)
        assert model.scale_yr == pytest.approx(417.7587, abs=5e-3)
        assert model.shape == pytest.approx(1.31684, abs=1e-5)
        assert model.log_likelihood == pytest.approx(-1153.851, abs=5e-4)

    def test_lung_cox(self, lung: pd.DataFrame) -> None:
        found = hazard_ratios(lung[["age", "sex", "ph.ecog"]], lung["time"], lung["status"] == 2)
        np.testing.assert_allclose(
            found["log_ratio"], [0.01106676, -0.55261240, 0.46372848], atol=1e-5
        )
        np.testing.assert_allclose(found["se"], [0.009267411, 0.167739054, 0.113577266], atol=1e-6)

    def test_heart_start_stop_cox(self, reference: Path) -> None:
        """Delayed entry: intervals from start to stop. Two of R's ties come out 7e-5 apart."""
        heart = pd.read_csv(reference / "survival_heart_startstop.csv")
        found = hazard_ratios(
            heart[["age", "surgery", "transplant"]],
            heart["stop"],
            heart["event"],
            entry_age_yr=heart["start"],
        )
        printed = [0.03053631, -0.77332765, 0.01609561]
        np.testing.assert_allclose(found["log_ratio"], printed, atol=1e-4)
        np.testing.assert_allclose(found["se"], [0.01389279, 0.35966799, 0.30858580], atol=1e-4)

    def test_veteran_kaplan_meier_and_weibull_by_maximising_ourselves(
        self, reference: Path
    ) -> None:
        """lifelines' own Kaplan-Meier, and scipy on the likelihood written out."""
        from lifelines import KaplanMeierFitter
        from scipy.optimize import minimize

        data = pd.read_csv(reference / "survival_veteran.csv")
        time, dead = data["time"].to_numpy(float), data["status"].to_numpy(bool)
        theirs = KaplanMeierFitter().fit(time, dead).survival_function_["KM_estimate"]
        ours = survival_table(time, dead).set_index("age_yr")["survival_frac"]
        np.testing.assert_allclose(ours, theirs.loc[ours.index], rtol=1e-10)

        def minus_log_likelihood(p: np.ndarray) -> float:
            shape, scale = np.exp(p)
            density = np.log(shape / scale) + (shape - 1) * np.log(time / scale)
            return -float(np.sum(dead * density - (time / scale) ** shape))

        best = minimize(minus_log_likelihood, [0.0, 5.0], method="Nelder-Mead", tol=1e-10)
        model = fit_weibull(time, dead)
        np.testing.assert_allclose([model.shape, model.scale_yr], np.exp(best.x), rtol=1e-4)
