from __future__ import annotations

import pandas as pd
import pytest

from riskmap.inventory.service_history import service_history


def test_lives_known_by_eye() -> None:
    systems = pd.DataFrame(
        {"kind": ["trench", "bed", "trench", None], "year_built": [1950, 1995, None, 1990]},
        index=pd.Index(["a", "b", "c", "d"], name="parcel_id"),
    )
    rows = [
        # a: house of 1950, records begin 1970: under watch from age 20; repaired 1980, again
        # 2000, each time with a mound; what stood before is not known
        ("a", "repair", "1980-01-01"),
        ("a", "repair", "2000-01-01"),
        ("a", "alteration", "2005-01-01"),
        # b: permit of 1996 counts, not the house; still serving in 2020
        ("b", "new", "1996-01-01"),
        # c: neither house nor new permit: the repair begins its only known life
        ("c", "repair", "2010-01-01"),
        ("x", "new", "1970-01-01"),
        ("d", "new", "1970-01-01"),
        ("d", "repair", "2030-01-01"),
    ]
    permits = pd.DataFrame(rows, columns=["parcel_id", "action", "inspected"])
    permits["inspected"] = pd.to_datetime(permits["inspected"])
    permits["issued"] = pd.NaT
    permits["kind"] = permits["action"].map({"repair": "mound"})  # what a repair put in
    lives = service_history(systems, permits, at_year=2020.0)
    began = 1970.0 + 0.02 * 5 * 10  # second percentile of 1970, 1980, 1996, 2000, 2005, 2010
    expected = [
        ("a", "unknown", 30.0, True, began - 1950),
        ("a", "mound", 20.0, True, 0.0),
        ("a", "mound", 20.0, False, 0.0),
        ("b", "bed", 24.0, False, 0.0),
        ("c", "mound", 10.0, False, 0.0),
        ("d", "unknown", 50.0, False, began - 1970),
    ]
    assert lives.drop(columns="entry_age_yr").to_numpy().tolist() == [
        [*row[:4]] for row in expected
    ]
    assert lives["entry_age_yr"].tolist() == pytest.approx([row[4] for row in expected])


def test_no_permits_no_lives() -> None:
    systems = pd.DataFrame({"kind": ["bed"], "year_built": [1990]}, index=["a"])
    assert service_history(systems, None, at_year=2020.0).empty
