"""Flow, loading and pump-out tables against the printed rules."""

from __future__ import annotations

import numpy as np
import pytest

from riskmap.contract.rule_sets import (
    EPA_2002,
    FLOW_RULES,
    ILLINOIS,
    LOADING_RULES,
    MONTANA,
    PERSON_USE,
    TEXAS,
)
from riskmap.contract.units import GALLON_L, GPD_PER_FT2_L_D_M2, MIN_IN_MIN_CM, SQUARE_FOOT_M2
from riskmap.failure.flow import rule_flow_l_d
from riskmap.failure.pumping import PUMP_OUT_RATE_YR, pump_interval_yr
from riskmap.failure.sizing import (
    absorption_area_m2,
    rate_of_class,
    rate_of_ksat,
    rate_of_percolation,
)

# Years between pump-outs, tank gallons then 1 to 10 persons, as printed (extension table,
# attributed to Mancl 1984, J. Environ. Eng. 110(1):283; attribution from memory).
PUMP_TABLE = """
500:  5.8 2.6 1.5 1.0 0.7 0.4 0.3 0.2 0.1 -
750:  9.1 4.2 2.6 1.8 1.3 1.0 0.7 0.6 0.4 0.3
900:  11.0 5.2 3.3 2.3 1.7 1.3 1.0 0.8 0.7 0.5
1000: 12.4 5.9 3.7 2.6 2.0 1.5 1.2 1.0 0.8 0.7
1250: 15.6 7.5 4.8 3.4 2.6 2.0 1.7 1.4 1.2 1.0
1500: 18.9 9.1 5.9 4.2 3.3 2.6 2.1 1.8 1.5 1.3
1750: 22.1 10.7 6.9 5.0 3.9 3.1 2.6 2.2 1.9 1.6
2000: 25.4 12.4 8.0 5.9 4.5 3.7 3.1 2.6 2.2 2.0
2250: 28.6 14.0 9.1 6.7 5.2 4.2 3.5 3.0 2.6 2.3
2500: 31.9 15.6 10.2 7.5 5.9 4.8 4.0 3.5 3.0 2.6
"""


def _cells() -> list[tuple[float, int, float]]:
    cells = []
    for line in PUMP_TABLE.strip().splitlines():
        tank, row = line.split(":")
        cells += [
            (float(tank), persons, float(years))
            for persons, years in enumerate(row.split(), start=1)
            if years != "-"
        ]
    return cells


def _area_ft2(gallons: float, gpd_ft2: float) -> float:
    area = absorption_area_m2(gallons * GALLON_L, gpd_ft2 * GPD_PER_FT2_L_D_M2)
    return float(area) / SQUARE_FOOT_M2


PER_CM = MIN_IN_MIN_CM


class TestPublishedValues:
    def test_montana_areas_for_three_bedrooms(self) -> None:
        """Montana Circular DEQ-4 Table 8-1: 375 ... 2000 ft2 at the eight percolation rows."""
        flow = rule_flow_l_d(3, rule="bedroom_montana")
        rates = rate_of_percolation(
            PER_CM * np.array([2.9, 5.9, 9.9, 15.9, 30.9, 50.9, 120.9, 121.0]), rule=MONTANA
        )
        areas = absorption_area_m2(flow, rates) / SQUARE_FOOT_M2
        np.testing.assert_allclose(areas, [375, 375, 500, 600, 750, 1000, 1500, 2000], rtol=1e-12)

    def test_montana_row_limits_belong_to_the_slower_row(self) -> None:
        rates = rate_of_percolation(
            PER_CM * np.array([3.0, 6.0, 10.0, 16.0, 31.0, 51.0]), rule=MONTANA
        )
        np.testing.assert_allclose(rates / GPD_PER_FT2_L_D_M2, [0.8, 0.6, 0.5, 0.4, 0.3, 0.2])

    def test_illinois_area_per_bedroom(self) -> None:
        """77 IAC 905 App. A Illus. H Exh. A: area per bedroom within 5 ft2 of 200 / rate."""
        minutes = np.array([18, 60, 90, 120, 150, 180, 240, 300, 360])
        printed = [200, 200, 210, 235, 265, 290, 320, 350, 385]
        rates = rate_of_percolation(PER_CM * (minutes / 6), rule=ILLINOIS)
        areas = absorption_area_m2(rule_flow_l_d(1, rule="bedroom_illinois"), rates)
        np.testing.assert_allclose(areas / SQUARE_FOOT_M2, printed, atol=5)

    def test_illinois_unsuitable_soils_get_no_rate(self) -> None:
        assert np.isnan(
            rate_of_percolation(PER_CM * np.array([17 / 6, 361 / 6]), rule=ILLINOIS)
        ).all()

    def test_texas_areas(self) -> None:
        """30 TAC 285.91(1): 240 gal/day in classes Ib, II, III, IV."""
        rates = rate_of_class(["Ib", "II", "III", "IV"], rule=TEXAS)
        areas = absorption_area_m2(240 * GALLON_L, rates) / SQUARE_FOOT_M2
        np.testing.assert_allclose(areas, [631.6, 960, 1200, 2400], atol=0.05)

    def test_area_at_every_rate_of_the_montana_table(self) -> None:
        areas = [_area_ft2(300, rate) for rate in (0.8, 0.6, 0.5, 0.4, 0.3, 0.2, 0.15)]
        np.testing.assert_allclose(areas, [375, 500, 600, 750, 1000, 1500, 2000], rtol=1e-12)

    def test_person_use_is_close_to_the_published_70_gallons(self) -> None:
        """EPA homeowner guidance: close to 70 gal/person/day; table mean 68.6 = 259.7 L."""
        assert PERSON_USE.each_l_d == pytest.approx(259.7, abs=0.05)
        assert abs(PERSON_USE.each_l_d / GALLON_L - 70) < 2

    @pytest.mark.parametrize(("gallons", "persons", "years"), _cells())
    def test_every_printed_pump_out_cell(self, gallons: float, persons: int, years: float) -> None:
        found = float(pump_interval_yr(gallons * GALLON_L, persons))
        assert found == pytest.approx(years, abs=1e-9)

    def test_pump_table_is_whole(self) -> None:
        assert len(_cells()) == 99

    def test_share_pumped_in_38_months(self) -> None:
        """Sci. Total Environ. 2023: 12.2 % pumped in 38 months, 3.9 %/yr by plain division."""
        assert 1 - np.exp(-PUMP_OUT_RATE_YR * 38 / 12) == pytest.approx(0.122, abs=1e-12)
        assert pytest.approx(0.039, abs=0.003) == PUMP_OUT_RATE_YR

    def test_rate_from_conductivity_meets_the_classes(self) -> None:
        """Texas rates at the break points of the national rule (42, 14, 4 um/s)."""
        found = rate_of_ksat([4.0, 14.0, 42.0]) / GPD_PER_FT2_L_D_M2
        np.testing.assert_allclose(found, [0.20, 0.25, 0.38], rtol=1e-12)


class TestSources:
    def test_every_rule_names_a_source_and_its_status(self) -> None:
        for rule in [*FLOW_RULES.values(), *LOADING_RULES.values()]:
            assert len(rule.source) > 20
            assert rule.status in {"read", "derived", "from memory", "common practice", "own"}

    def test_the_table_from_memory_says_so(self) -> None:
        assert EPA_2002.status == "from memory"

    def test_two_states_have_a_bedroom_rule(self) -> None:
        bedroom = {r.name for r in FLOW_RULES.values() if r.per == "bedroom"}
        assert {"bedroom_montana", "bedroom_illinois"} <= bedroom
