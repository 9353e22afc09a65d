from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.evidence import INFERRED, MAPPED, MEASURED, UNKNOWN
from riskmap.contract.rule_sets import ILLINOIS, TEXAS
from riskmap.contract.rules import RulePeriod
from riskmap.contract.units import GPD_PER_FT2_L_D_M2, MIN_IN_MIN_CM
from riskmap.failure.sizing import (
    accept_rate_l_d_m2,
    class_of_clay,
    class_of_texture,
    ksat_of_class,
    load_ratio,
    loading_rule,
    period_in_force,
    rate_of_class,
    rate_of_ksat,
    rate_of_percolation,
)

NAN = float("nan")
PER_CM = MIN_IN_MIN_CM
OLD = RulePeriod("bedroom_montana", "montana_percolation", None, 1979)
MIDDLE = RulePeriod("bedroom_illinois", "illinois_percolation", 1980, 1999)
NEW = RulePeriod("bedroom_trade", "texas_soil_class", 2005, None)


class TestAgainstEnumeration:
    def test_best_known_soil_wins(self) -> None:
        rate, mark = accept_rate_l_d_m2(
            6,
            loading_class=["II", None, None, None, None, "nonsense"],
            texture=["clay", "Sandy Loam ", None, None, None, None],
            ksat_um_s=[1, 1, 4.0, NAN, NAN, NAN],
            clay_pct=[50, 50, 50, 50, NAN, 10],
        )
        expected = [0.25, 0.25, 0.20, 0.10, NAN, 0.25]
        np.testing.assert_allclose(rate / GPD_PER_FT2_L_D_M2, expected)
        assert mark.tolist() == [MEASURED, MAPPED, INFERRED, INFERRED, UNKNOWN, INFERRED]

    def test_percolation_rule_falls_back_on_classes(self) -> None:
        rate, mark = accept_rate_l_d_m2(
            3,
            rule=ILLINOIS,
            percolation_min_cm=PER_CM * np.array([10, 2, NAN]),
            texture=["clay"] * 3,
        )
        np.testing.assert_allclose(rate / GPD_PER_FT2_L_D_M2, [1.0, 0.1, 0.1])
        assert mark.tolist() == [MEASURED, MAPPED, MAPPED]

    def test_year_of_the_permit_chooses_the_rule(self) -> None:
        index, assumed = period_in_force(
            [1950, 1979.9, 1980, 1999, 2001, 2003, 2020, NAN], (OLD, MIDDLE, NEW)
        )
        assert index.tolist() == [0, 0, 1, 1, 1, 2, 2, 2]
        assert assumed.tolist() == [False, False, False, False, True, True, False, True]

    def test_what_the_permit_says_comes_first(self) -> None:
        named, tested = ["III", None, "III"], PER_CM * np.array([NAN, 20.0, 20.0])
        by_class, mark = accept_rate_l_d_m2(
            3, rule=TEXAS, loading_class=named, percolation_min_cm=tested, texture=["sand"] * 3
        )
        assert mark.tolist() == [MEASURED, MAPPED, MEASURED]
        assert by_class[0] == by_class[2] < by_class[1]
        by_time, mark = accept_rate_l_d_m2(
            3, rule=ILLINOIS, loading_class=named, percolation_min_cm=tested, texture=["sand"] * 3
        )
        assert mark.tolist() == [INFERRED, MEASURED, MEASURED]
        assert by_time[0] == by_class[0]

    def test_later_listed_period_wins_an_overlap(self) -> None:
        index, _ = period_in_force(
            [1990], (replace(MIDDLE, first_year=None, last_year=None), MIDDLE)
        )
        assert index.tolist() == [1]

    def test_classes_of_texture_and_clay(self) -> None:
        assert class_of_texture(["Clay", " loam", "muck", None]).tolist() == [
            "IV",
            "II",
            None,
            None,
        ]
        assert class_of_clay([5, 20, 34.9, 35, NAN]).tolist() == ["II", "III", "III", "IV", None]

    def test_load_ratio_by_hand(self) -> None:
        ratio = load_ratio([500, 500, 500], [50, 0, 50], [20, 20, NAN])
        assert ratio[0] == pytest.approx(0.5)
        assert np.isnan(ratio[1:]).all()


class TestProperties:
    @given(st.floats(1e-3, 1e3), st.floats(1.0001, 100))
    @settings(max_examples=60)
    def test_coarser_soil_accepts_more_but_less_than_in_proportion(
        self, ksat: float, times: float
    ) -> None:
        slow, fast = rate_of_ksat([ksat, ksat * times])
        assert slow < fast < slow * times

    @given(st.floats(3, 60), st.floats(0, 60))
    @settings(max_examples=60)
    def test_slower_percolation_never_accepts_more(self, time: float, more: float) -> None:
        quick, slow = rate_of_percolation(
            PER_CM * np.array([time, min(time + more, 60)]), rule=ILLINOIS
        )
        assert slow <= quick

    def test_class_and_conductivity_are_each_others_reverse(self) -> None:
        names = ["IV", "III", "II", "Ib", "Ia"]
        np.testing.assert_allclose(
            rate_of_ksat(ksat_of_class(names)), rate_of_class(names, rule=TEXAS), rtol=1e-12
        )

    def test_unknown_stays_unknown(self) -> None:
        assert np.isnan(rate_of_ksat([NAN, 0.0, -1.0])).all()
        assert np.isnan(rate_of_class(["V", None], rule=TEXAS)).all()
        assert np.isnan(rate_of_percolation([NAN], rule=ILLINOIS)).all()

    def test_wrong_names_are_refused(self) -> None:
        with pytest.raises(ValueError, match="texas_soil_class"):
            loading_rule("nowhere")
        with pytest.raises(ValueError, match="soil class"):
            rate_of_percolation([1.0], rule=TEXAS)
        with pytest.raises(ValueError, match="no rule periods"):
            period_in_force([2000], ())
