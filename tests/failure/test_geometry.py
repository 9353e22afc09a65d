from __future__ import annotations

import numpy as np
import pytest

from riskmap.contract.kinds import SYSTEM_KINDS
from riskmap.failure.geometry import (
    field_kind,
    field_note,
    field_shape,
    separation_m,
)


class TestAgainstEnumeration:
    def test_kinds_of_field(self) -> None:
        found = dict(zip(SYSTEM_KINDS, field_kind(SYSTEM_KINDS).tolist(), strict=True))
        assert found == {
            "trench": "trench_or_bed",
            "bed": "trench_or_bed",
            "mound": "mound",
            "seepage_pit": "seepage_pit",
            "drip": "trench_or_bed",
            "aerobic_unit": "trench_or_bed",
            "holding_tank": None,
            "cesspool": "seepage_pit",
            "unknown": "trench_or_bed",
        }
        assert field_kind(["spaceship", None]).tolist() == ["trench_or_bed"] * 2

    def test_trench_by_hand(self) -> None:
        """100 m2 of 0.9 m trench: 111.1 m long, two walls of that length."""
        shape = field_shape(["trench"])
        assert shape.bottom_per_m2[0] * 100 == pytest.approx(100)
        assert shape.wall_per_m2[0] * 100 == pytest.approx(2 * 100 / 0.9)

    def test_counted_sidewall_shrinks_the_bottom(self) -> None:
        """A trench 0.9 m wide with 0.3048 m of wall counted on each side."""
        shape = field_shape(["trench"], wall_credit_m=0.3048)
        length = 1 / (0.9 + 2 * 0.3048)
        assert shape.bottom_per_m2[0] == pytest.approx(0.9 * length)
        assert shape.wall_per_m2[0] == pytest.approx(2 * length)

    def test_one_pit_by_hand(self) -> None:
        """A pit of 1.8 m diameter, 2.4 m to the inlet: wall 13.57 m2, bottom 2.545 m2."""
        shape = field_shape(["seepage_pit"])
        wall = np.pi * 1.8 * 2.4
        assert shape.bottom_per_m2[0] * wall == pytest.approx(np.pi * 0.81)
        assert shape.wall_per_m2[0] * wall == pytest.approx(np.pi * 1.8)
        assert shape.climbs.tolist() == [True]

    def test_separation_from_water(self) -> None:
        usual = np.full(6, 0.6)
        found = separation_m(usual, [np.nan, 2.0, 1.2, 1.0, 0.5, 0.0], required_m=0.6)
        np.testing.assert_allclose(found, [np.inf, 1.4, 0.6, 0.6, 0.2, -0.3])

    def test_a_mound_stays_where_it_is(self) -> None:
        np.testing.assert_allclose(
            separation_m(np.full(2, -0.6), [0.0, 1.0], required_m=0.6), [0.6, 1.6]
        )

    def test_notes(self) -> None:
        notes = field_note(["trench", "drip", "holding_tank", None])
        assert notes[0] == ""
        assert "pressure" in notes[1]
        assert "no field" in notes[2]
        assert "unknown" in notes[3]
