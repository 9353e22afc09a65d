"""Keys spelled in two ways are found, never one for another; dates beyond the run are told."""

from __future__ import annotations

import datetime

import pandas as pd
import pytest

from data_pipelines.cross_keys import POINTERS, respell
from data_pipelines.defect_log import DefectLog
from data_pipelines.keys import count_matches, find_keys
from data_pipelines.run_day import hold_to_day
from riskmap.contract.layers import LAYERS
from riskmap.contract.sources import ColumnSource, Source

DAY = datetime.date(2026, 6, 1)
PARCELS = pd.Series([f"{book}-{page:02d}-{lot:04d}" for book in (13, 14) for page in (5, 25)
                     for lot in range(300, 330)], dtype="string")  # fmt: skip
"""120 parcel numbers as an assessor writes them."""


@pytest.mark.parametrize(
    "written",
    [
        lambda key: key.replace("-", ""),
        lambda key: key.replace("-", "") + ".0",
        lambda key: key.replace("-", " "),
        lambda key: f" {key} ",
        lambda key: "-".join(part.lstrip("0") for part in key.split("-")),
        lambda key: key.replace("-", ".").lower(),
    ],
    ids=["no signs", "as a number", "blanks", "padded", "no zeros", "dots"],
)
def test_every_other_spelling_is_found_as_the_same_parcel(written) -> None:
    """Enumeration: all 120 keys, each against its own."""
    found = find_keys(PARCELS.map(written), PARCELS)
    assert found.keys.tolist() == PARCELS.tolist()


def test_a_key_that_two_could_mean_is_not_found() -> None:
    known = pd.Series(["1-123", "11-23", "2-456"])
    found = find_keys(pd.Series(["1123", "2456", None]), known)
    assert found.keys.fillna("").tolist() == ["1123", "2-456", ""]


def test_counts_are_those_of_the_distinct_keys() -> None:
    keys = pd.Series(["13250300", "13250300", "13-25-0301", "99-99-9999", None])
    assert tuple(count_matches(keys, PARCELS)) == (3, 1, 1)


def test_what_was_respelled_and_what_joins_nothing_is_told() -> None:
    permits = pd.DataFrame({"parcel_id": ["13250316", "13-25-0317", "77", None]}, index=[*"abcd"])
    log = DefectLog("permits")
    frame = respell(permits, POINTERS[0], PARCELS, log)
    assert frame["parcel_id"].fillna("").tolist() == ["13-25-0316", "13-25-0317", "77", ""]
    told = log.table().set_index("check")
    assert told.loc["other_spelling", "row"] == "a"
    assert told.loc["not_in_parcels", "value"] == "77"


def test_pointers_are_declared_columns() -> None:
    for pointer in POINTERS:
        assert pointer.column in LAYERS[pointer.layer].column_names
        assert LAYERS[pointer.to].key == pointer.column


class TestDay:
    def held(self, date_format: str | None, dates: list[str]) -> tuple[list[str], DefectLog]:
        spec = ColumnSource(column="D", date_format=date_format)
        source = Source("permits", (), columns={"issued": spec})
        log = DefectLog("permits")
        frame = pd.DataFrame({"issued": pd.to_datetime(dates)})
        return hold_to_day(frame, source, DAY, log)["issued"].dt.year.tolist(), log

    def test_two_digit_years_never_lie_beyond_the_day(self) -> None:
        years, log = self.held("%d-%b-%y", ["2066-08-03", "2025-08-03", "2026-06-02"])
        assert years == [1966, 2025, 1926]
        assert log.table().empty

    def test_other_dates_beyond_the_day_are_told(self) -> None:
        years, log = self.held(None, ["2066-08-03", "2025-08-03"])
        assert years[1] == 2025
        assert pd.isna(years[0])
        assert log.table()["check"].tolist() == ["future_date"]

    def test_a_house_of_next_year_is_told(self) -> None:
        log = DefectLog("parcels")
        frame = hold_to_day(
            pd.DataFrame({"year_built": [2027.0, 2026.0]}), Source("parcels", ()), DAY, log
        )
        assert frame["year_built"].isna().tolist() == [True, False]
        assert log.table()["check"].tolist() == ["future_year"]
