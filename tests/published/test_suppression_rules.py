"""Small counts: rules that health agencies publish.

Centers for Medicare and Medicaid Services, cell size suppression policy: no cell from 1 to 10 is
shown, 0 may be, and no such cell may be derivable from others or from percentages. State health
departments withhold below 6 (Maine) and below 5 (Wisconsin): table in PMC6190570.
"""

from __future__ import annotations

import pandas as pd
import pytest

from riskmap.action.derivable import Layout, ranges_from_sums
from riskmap.action.suppression import THRESHOLD, Withheld, withhold

BESIDE = [(400, 200, 200), (300, 150, 150), (90, 45, 45)]
"""Rows without small counts, so that only the row at hand asks for protection."""


def hide(*rows: tuple[int, int, int], threshold: int = THRESHOLD) -> Withheld:
    counts = pd.DataFrame([*rows, *BESIDE], columns=["total", "a", "b"], dtype="int64")
    return withhold(counts, total="total", groups=[["a", "b"]], threshold=threshold)


class TestPublishedValues:
    def test_three_of_fifteen_masks_both_parts(self) -> None:
        kept = hide((15, 3, 12))
        assert kept.areas.loc[0].tolist() == [False, True, True]
        assert kept.small.loc[0].tolist() == [False, True, False]

    def test_zero_of_fifteen_masks_nothing(self) -> None:
        assert not hide((15, 0, 15)).areas.to_numpy().any()

    @pytest.mark.parametrize("count", range(1, 11))
    def test_one_to_ten_are_masked(self, count: int) -> None:
        assert hide((50, count, 50 - count)).areas.loc[0, "a"]

    def test_eleven_is_shown(self) -> None:
        assert not hide((50, 11, 39)).areas.to_numpy().any()

    @pytest.mark.parametrize("threshold", [5, 4], ids=["Maine", "Wisconsin"])
    def test_states(self, threshold: int) -> None:
        assert hide((50, threshold, 50 - threshold), threshold=threshold).areas.loc[0, "a"]
        shown = hide((50, threshold + 1, 49 - threshold), threshold=threshold)
        assert not shown.areas.to_numpy().any()

    def test_a_masked_count_does_not_follow_from_the_countys_sum(self) -> None:
        kept = hide((15, 3, 12))
        counts = pd.DataFrame([(15, 3, 12), *BESIDE]).to_numpy()
        hidden = pd.concat([kept.areas, kept.sums.to_frame().T]).to_numpy(dtype=bool)
        low, high = ranges_from_sums(counts, hidden, Layout(0, ((1, 2),)))
        assert low[0, 1] <= 1
        assert high[0, 1] >= 10
