from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.evidence import ASSUMED, INFERRED, MEASURED
from riskmap.contract.units import GALLON_L
from riskmap.failure.flow import (
    HOUSEHOLD_PERSONS,
    PERSONS_PER_BEDROOM,
    daily_flow_l_d,
    flow_rule,
    persons,
    rule_flow_l_d,
)

NAN = float("nan")


class TestAgainstEnumeration:
    def test_persons_by_what_is_known(self) -> None:
        value, mark = persons([4, NAN, NAN, 0, -1], [3, 2, NAN, 3, 0], dwellings=[1, 1, 2, 1, 1])
        expected = [4, 2 * PERSONS_PER_BEDROOM, 2 * HOUSEHOLD_PERSONS, 0, HOUSEHOLD_PERSONS]
        np.testing.assert_allclose(value, expected)
        assert mark.tolist() == [MEASURED, INFERRED, ASSUMED, MEASURED, ASSUMED]

    def test_order_of_preference(self) -> None:
        flow, mark = daily_flow_l_d(
            [4, 4, NAN, NAN, NAN],
            [3, 3, 2, NAN, NAN],
            design_flow_l_d=[NAN, NAN, 1000, 1000, NAN],
            metered_l_d=[500, NAN, NAN, NAN, NAN],
        )
        each = 68.6 * GALLON_L
        expected = [500, 4 * each, 1.7 * each, 500, 2.5 * each]
        np.testing.assert_allclose(flow, expected, rtol=1e-12)
        assert mark.tolist() == [MEASURED, INFERRED, INFERRED, INFERRED, ASSUMED]

    def test_bedroom_rule_prefers_bedrooms(self) -> None:
        flow, mark = daily_flow_l_d([4, 4], [3, NAN], rule="bedroom_illinois")
        np.testing.assert_allclose(flow / GALLON_L, [600, 4 * 68.6])
        assert mark.tolist() == [INFERRED, INFERRED]

    def test_four_persons_by_the_average(self) -> None:
        assert rule_flow_l_d(4, rule="person_use") / GALLON_L == pytest.approx(274.4)


class TestProperties:
    @given(st.lists(st.floats(0, 50), min_size=1, max_size=5), st.floats(0.1, 10))
    @settings(max_examples=40)
    def test_more_persons_more_flow(self, people: list[float], more: float) -> None:
        few, _ = daily_flow_l_d(people, NAN)
        many, _ = daily_flow_l_d(np.array(people) + more, NAN)
        assert (many > few).all()

    def test_unknown_rule_lists_the_known(self) -> None:
        with pytest.raises(ValueError, match="bedroom_trade"):
            flow_rule("bathtub")
