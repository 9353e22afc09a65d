"""Which records count, and as what."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from riskmap.condition.lots import first_year
from riskmap.condition.records import COLUMNS, records_on_file

LOTS = pd.DataFrame(
    {"first_year": [1990.0, 2000.0], "pump_interval_yr": [4.0, np.nan]},
    index=pd.Index(["A", "B"], name="parcel_id"),
)


def permits(*rows: tuple[str, str, str, str | None]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["parcel_id", "action", "issued", "inspected"])
    table["issued"] = pd.to_datetime(table["issued"])
    table["inspected"] = pd.to_datetime(table["inspected"])
    return table.assign(last_pumped=pd.NaT)


def visits(*rows: tuple[str, str | None, str, str | None, float, str | None]) -> pd.DataFrame:
    names = ["parcel_id", "date", "reason", "stage", "ponding_cm", "last_pumped"]
    table = pd.DataFrame(rows, columns=names)
    for name in ("date", "last_pumped"):
        table[name] = pd.to_datetime(table[name])
    return table


def test_nothing_on_file() -> None:
    table = records_on_file(LOTS, None, None)
    assert table.empty
    assert tuple(table.columns) == COLUMNS


def test_a_complaint_visit_is_a_complaint_and_a_finding() -> None:
    table = records_on_file(
        LOTS, None, visits(("A", "2020-05-01", "complaint", "failed", 3.0, None))
    )
    assert sorted(table["kind"]) == ["complaint", "measured visit: failed"]
    assert table["unused"].isna().all()


def test_sale_visits_are_a_kind_of_their_own() -> None:
    table = records_on_file(LOTS, None, visits(("A", "2020-05-01", "sale", "sound", np.nan, None)))
    assert table["kind"].tolist() == ["sale visit: sound"]


def test_a_finding_whose_reason_nobody_gave_counts() -> None:
    seen = visits(("A", "2020-05-01", "", "failed", np.nan, None))
    seen["reason"] = pd.array([pd.NA], dtype="string")
    given = permits(("A", "repair", "2010-01-01", "2010-02-01"))
    given["action"] = pd.array([pd.NA], dtype="string")
    table = records_on_file(LOTS, given, seen)
    assert table["kind"].tolist() == ["visit: failed"]


def test_trouble_found_before_the_work_was_done_is_of_the_old_system() -> None:
    table = records_on_file(
        LOTS,
        permits(("A", "repair", "2019-11-01", "2020-03-01")),
        visits(
            ("A", "2020-01-15", "complaint", "failed", np.nan, None),
            ("A", "2020-06-01", "audit", "sound", np.nan, None),
        ),
    )
    used = table[table["unused"].isna()]
    assert used["kind"].tolist() == ["complaint", "visit: failed", "repair", "visit: sound"]
    assert used["year"].tolist() == [2019.0, 2019.0, 2019.0, 2020.0]


def test_a_visit_for_a_repair_and_its_permit_are_one() -> None:
    table = records_on_file(
        LOTS,
        permits(("A", "repair", "2019-05-01", None)),
        visits(("A", "2019-09-01", "repair", "failed", np.nan, None)),
    )
    assert table["unused"].dropna().tolist() == ["goes with a permit of that time"]
    assert table["kind"].tolist() == ["repair", "repair"]


def test_what_does_not_count_says_why() -> None:
    table = records_on_file(
        LOTS,
        permits(("A", "repair", "2019-05-01", None), ("A", "repair", "2019-08-01", None)),
        visits(
            ("B", "1995-01-01", "audit", "sound", np.nan, None),
            ("B", None, "audit", "sound", 1.0, None),
        ),
    )
    reasons = set(table["unused"].dropna())
    assert reasons == {
        "predates the house", "has no date", "is the renewal counted already in that year",
    }  # fmt: skip


def test_a_new_system_on_an_old_lot_is_a_renewal_but_the_first_is_not() -> None:
    table = records_on_file(
        LOTS, permits(("A", "new", "1990-04-01", None), ("A", "new", "2012-04-01", None)), None
    )
    assert table["kind"].tolist() == ["new system"]


def test_pump_outs_early_or_when_due() -> None:
    days = ("2010-01-01", "2011-01-01", "2016-01-01")
    table = records_on_file(
        LOTS,
        None,
        visits(
            *(("A", day, "audit", None, np.nan, day) for day in days),
            ("B", "2010-01-01", "audit", None, np.nan, "2010-01-01"),
        ),
    )
    assert table["kind"].tolist() == ["pumped early", "pumped when due"]


def test_first_year_is_the_oldest_that_is_known() -> None:
    ids = pd.Index(["A", "B", "C"], name="parcel_id")
    built = pd.Series([1990.0, np.nan, np.nan], index=ids)
    put_in = pd.Series([np.nan, 2005.0, np.nan], index=ids)
    found = first_year(built, put_in, permits(("A", "new", "1985-04-01", None)), 2026)
    assert found.tolist() == pytest.approx([1985.0, 2005.0, 1995.0])
