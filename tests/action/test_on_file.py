"""What is on file of a system, and whether it calls for following up."""

from __future__ import annotations

import pandas as pd
import pytest

from riskmap.action.aims import first_of_lists, on_file_as_failed, share_visits
from riskmap.action.on_file import follow_up_order, open_cases, told_records

FAILED, SOUND, STRESSED = (f"visit: {word}" for word in ("failed", "sound", "stressed"))


def records(**lots: list[tuple[str, str]]) -> pd.DataFrame:
    """Records of lots, each a kind and a day, in order."""
    rows = [(lot, kind, pd.Timestamp(day)) for lot, own in lots.items() for kind, day in own]
    table = pd.DataFrame(rows, columns=["parcel_id", "kind", "date"])
    return table.astype({"date": "datetime64[ns]"})


class TestOpenCases:
    def test_a_finding_of_failed_without_a_later_repair(self) -> None:
        found = open_cases(records(a=[(SOUND, "2010-05-01"), (FAILED, "2021-03-09")]))
        assert found.loc["a", "on_file"] == (
            "found failed at a visit in March 2021; no later repair on file"
        )
        assert found.loc["a", "on_file_year"] == 2021

    @pytest.mark.parametrize("later", ["repair", "new system", SOUND, "measured sale visit: sound"])
    def test_what_closes_a_case(self, later: str) -> None:
        own = [(FAILED, "2018-03-09"), ("complaint", "2018-04-01"), ("complaint", "2018-05-01")]
        assert "a" in open_cases(records(a=own)).index
        assert open_cases(records(a=[*own, (later, "2020-01-01")])).empty

    def test_a_later_finding_of_stressed_closes_nothing(self) -> None:
        own = [(FAILED, "2018-03-09"), (STRESSED, "2020-03-09")]
        assert open_cases(records(a=own)).loc["a", "on_file_year"] == 2018

    def test_two_complaints_are_repeated_and_one_is_not(self) -> None:
        table = records(
            once=[("complaint", "2019-01-01")],
            twice=[("complaint", "2019-01-01"), ("complaint", "2022-01-01")],
            mended=[("complaint", "2019-01-01"), ("repair", "2020-01-01"),
                    ("complaint", "2022-01-01")],
        )  # fmt: skip
        found = open_cases(table)
        assert found.index.tolist() == ["twice"]
        assert found.loc["twice", "on_file"].startswith("2 complaints since 2019")

    def test_the_earlier_of_both_kinds_tells_since_when(self) -> None:
        own = [("complaint", "2015-01-01"), ("complaint", "2016-01-01"), (FAILED, "2017-01-01")]
        found = open_cases(records(a=own))
        assert found.loc["a", "on_file_year"] == 2015
        assert found.loc["a", "on_file"] == (
            "found failed at a visit in January 2017; 2 complaints since 2015; "
            "no later repair on file"
        )

    def test_a_repair_after_the_first_of_two_findings(self) -> None:
        own = [(FAILED, "2010-01-01"), ("repair", "2011-01-01"), (FAILED, "2020-01-01")]
        assert open_cases(records(a=own)).loc["a", "on_file_year"] == 2020

    def test_no_records(self) -> None:
        assert open_cases(records()).empty
        assert told_records(records()).empty


def test_records_are_told_latest_first_and_old_ones_counted() -> None:
    own = [("complaint", f"{year}-06-01") for year in range(2010, 2017)]
    told = told_records(records(a=own, b=own[:1]))
    assert told["a"].startswith("complaint in June 2016; complaint in June 2015")
    assert told["a"].endswith("; 2 older")
    assert told["b"] == "complaint in June 2010"


def test_the_oldest_and_in_a_year_the_most_harmful_is_first() -> None:
    cases = pd.DataFrame({"on_file_year": [2020.0, 2011.0, 2020.0, 2020.0]}, list("abcd"))
    harm = pd.Series({"a": 10.0, "b": 1.0, "c": 90.0})
    assert follow_up_order(cases, harm).tolist() == ["b", "d", "c", "a"]


class TestShares:
    TABLE = pd.DataFrame(
        {"worklist": ["to find"] * 6 + ["on file"] * 3, "list_rank": [*range(1, 7), 1, 2, 3]}
    )

    @pytest.mark.parametrize(
        ("visits", "frac", "lists"),
        [(4, 0.5, [2, 2]), (4, 0.0, [0, 4]), (9, 1.0, [3, 6]), (0, 0.1, [3, 6])],
    )
    def test_each_list_gets_its_share(self, visits: int, frac: float, lists: list[int]) -> None:
        first = first_of_lists(self.TABLE, visits, frac)
        owed = on_file_as_failed(first)
        assert [int(owed.sum()), int((~owed).sum())] == lists
        assert first.loc[owed, "list_rank"].tolist() == list(range(1, lists[0] + 1))
        if visits:
            assert share_visits(visits, frac, 3)[0] == lists[0]
