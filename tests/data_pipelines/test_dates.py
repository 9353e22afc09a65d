from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd
import pyogrio.raw
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from data_pipelines.dates import to_date, to_year
from data_pipelines.defect_log import DefectLog
from data_pipelines.registry import read_layer
from riskmap.contract.layers import PARCELS, PERMITS
from riskmap.contract.sources import ColumnSource, Source

ISSUED = PERMITS.column("issued")
BUILT = PARCELS.column("year_built")


def read(cells: list[object], **spec: str) -> tuple[pd.Series, pd.DataFrame]:
    log = DefectLog("permits")
    return to_date(pd.Series(cells), ISSUED, ColumnSource(**spec), log), log.table()


class TestKnownByEye:
    @pytest.mark.parametrize(
        "cell",
        [
            "1998-07-05",
            "1998-07-05T13:20:00Z",
            "1998-07-05 13:20:00+00:00",
            "1998/07/05",
            "7/5/1998",
            "07/05/1998 00:00:00",
            "19980705",
            "19980705.0",
            "05-Jul-1998",
            "July 5, 1998",
            "899596800000",
            19980705.0,
        ],
    )
    def test_spellings_of_one_day(self, cell):
        got, defects = read([cell])
        assert got.dtype == "datetime64[ns]"
        assert got[0] == pd.Timestamp("1998-07-05")
        assert defects.empty

    def test_day_first_only_when_declared(self):
        got, defects = read(["25/12/1999"])
        assert got.isna().all()
        assert defects["check"].tolist() == ["impossible_date"]
        assert read(["25/12/1999"], date_format="%d/%m/%Y")[0][0] == pd.Timestamp("1999-12-25")

    @pytest.mark.parametrize(
        ("cell", "check"),
        [
            ("0407-04-01", "impossible_date"),
            ("0000-00-00", "impossible_date"),
            ("1389-01-01", "impossible_date"),
            ("2001-02-30", "impossible_date"),
            ("0", "unreadable_date"),
            ("7/5/98", "two_digit_year"),
            ("1/1/1900", "placeholder_date"),
            ("1899-12-30", "placeholder_date"),
            ("unknown", "unreadable_date"),
        ],
    )
    def test_impossible(self, cell, check):
        got, defects = read([cell])
        assert got.isna().all()
        assert defects["check"].tolist() == [check]
        assert defects["value"].tolist() == [cell]

    @pytest.mark.parametrize(("cell", "day"), [("1967-07", "1967-07-01"), ("1967", "1967-01-01")])
    def test_partial_dates_are_placed_and_reported(self, cell, day):
        got, defects = read([cell])
        assert got[0] == pd.Timestamp(day)
        assert defects[["check", "value"]].to_numpy().tolist() == [["partial_date", cell]]

    def test_blank_is_missing_without_a_defect(self):
        got, defects = read(["", None, "NULL"])
        assert got.isna().all()
        assert defects.empty

    def test_years(self, found):
        log = DefectLog("parcels")
        raw = pd.Series(["0", "1389", "", "1956.0", "1978-05-01", "20050110", "old"])
        got = to_year(raw, BUILT, ColumnSource(), log)
        assert got.tolist()[3:6] == [1956.0, 1978.0, 2005.0]
        assert got.isna().tolist() == [True, True, True, False, False, False, True]
        assert found(log.table(), "impossible_year") == {"0": "0", "1": "1389"}
        assert found(log.table(), "not_a_number") == {"6": "old"}


class TestDayOfTheRun:
    day = date(2026, 6, 1)

    def read(self, cells, **spec):
        log = DefectLog("permits")
        got = to_date(pd.Series(cells), ISSUED, ColumnSource(**spec), log, day=self.day)
        return got, log.table()

    def test_later_dates_are_missing_and_told(self, found):
        got, defects = self.read(["2026-06-01", "2026-06-02", "2099-01-01", "2026"])
        assert got.isna().tolist() == [False, True, True, False]
        assert found(defects, "future_date") == {"1": "2026-06-02", "2": "2099-01-01"}

    def test_two_digit_years_lie_in_the_hundred_years_before(self):
        # strptime alone takes 66 for 2066 (POSIX: 00 to 68 are of this century).
        cells = ["03-Aug-66", "01-Jun-26", "02-Jun-26", "29-Feb-68"]
        got, defects = self.read(cells, date_format="%d-%b-%y")
        assert got.dt.strftime("%Y-%m-%d").tolist() == [
            "1966-08-03", "2026-06-01", "1926-06-02", "1968-02-29",
        ]  # fmt: skip
        assert defects.empty

    def test_years(self, found):
        log = DefectLog("parcels")
        raw = pd.Series(["2026", "2027", "2090", "1975"])
        got = to_year(raw, BUILT, ColumnSource(), log, day=self.day)
        assert got.isna().tolist() == [False, True, True, False]
        assert found(log.table(), "future_year") == {"1": "2027", "2": "2090"}

    def test_the_day_comes_from_the_source(self, tmp_path, found, utm):
        path = tmp_path / "v.csv"
        path.write_text("parcel_id,date\n1,2026-05-31\n2,2099-01-01\n")
        source = Source("inspections", (path,), day=self.day)
        reading = read_layer(source, utm)
        assert found(reading.defects, "future_date") == {"2": "2099-01-01"}
        assert reading.frame["date"].isna().tolist() == [False, True]
        assert found(read_layer(replace(source, day=None), utm).defects, "future_date") == {}


class TestProperties:
    @settings(max_examples=20, deadline=None)
    @given(st.lists(st.dates(date(1850, 1, 1), date(2099, 12, 31)), min_size=1, max_size=6))
    def test_every_spelling_comes_back(self, days):
        days = [day for day in days if day not in (date(1900, 1, 1), date(1899, 12, 30))]
        want = [pd.Timestamp(day) for day in days]
        for spelling in ("%Y-%m-%d", "%m/%d/%Y", "%Y%m%d", "%d-%b-%Y"):
            got, defects = read([day.strftime(spelling) for day in days])
            assert got.tolist() == want
            assert defects.empty

    @settings(max_examples=20, deadline=None)
    @given(st.lists(st.text(max_size=12), min_size=1, max_size=6))
    def test_no_cell_raises_and_every_loss_is_reported(self, cells):
        got, defects = read(cells)
        lost = [c for c, g in zip(cells, got.isna(), strict=True) if g and " ".join(c.split())]
        nothing = {"", "null", "<null>", "nan", "none", "n/a", "na", "-9999", "-9999.0"}
        lost = [cell for cell in lost if " ".join(cell.split()).lower() not in nothing]
        assert len(defects[defects["action"] == "set to missing"]) == len(lost)


class TestRealData:
    def test_edit_dates_of_the_city_parcels(self, shared_data):
        path = shared_data / "records/city_parcels_flood/ASSESSING_ParcelsFY2014.topojson"
        meta, _, _, (raw,) = pyogrio.raw.read(
            path, columns=["EditDate"], read_geometry=False, datetime_as_string=True
        )
        got, defects = read(list(raw))
        assert list(meta["fields"]) == ["EditDate"]
        impossible = defects.loc[defects["check"] == "impossible_date", "value"]
        assert impossible.str.startswith("0407-04-01").any()
        assert got.dropna().dt.year.between(1990, 2015).all()
        assert got.notna().sum() > 100
