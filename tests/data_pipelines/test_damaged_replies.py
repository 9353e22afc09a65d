"""Damaged replies of the water services: each is read with its faults told, or refused."""

from __future__ import annotations

import datetime
import json
import random
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from data_pipelines.water_levels import read_water_levels
from data_pipelines.water_quality import read_well_samples
from riskmap.contract.errors import SourceFormatError
from riskmap.contract.sources import ColumnSource, Source
from tests.damage.comparing import UNSEEN, differences, told
from tests.damage.outcomes import cases, outcome
from tests.damage.replies import damage_delimited, damage_json, level_features, waterml
from tests.damage.texts import HTML

SILENT = (*UNSEEN, "other_sign", "latin_1", "zeros")
"""Damage to delimited text as such, which the reader of tables answers for."""
SITES = (
    "agency_cd\tsite_no\tdec_lat_va\tdec_long_va\tdec_coord_datum_cd\n"
    "5s\t15s\t16s\t16s\t10s\nUSGS\t01\t45.0\t-93.0\tNAD83\nUSGS\t02\t45.1\t-93.1\tNAD83\n"
)
LEVELS = (
    "# comment\nagency_cd\tsite_no\tlev_dt\tlev_va\tsl_lev_va\tsl_datum_cd\tlev_status_cd\n"
    "5s\t15s\t10d\t12s\t12s\t10s\t1s\nUSGS\t01\t2016-10-26\t28.33\t\t\t\n"
    "USGS\t01\t1967-07\t 30.00\t\t\t\nUSGS\t02\t2019-03-01\t\t870.0\tNAVD88\t\n"
)


def of_levels(reading: Any) -> dict[str, Any]:
    return {"levels": reading.frame}


@pytest.mark.fuzz
@pytest.mark.parametrize("make", [level_features, waterml])
def test_json_of_levels(tmp_path: Path, utm: Any, make: Callable[[], Any]) -> None:
    path = tmp_path / "levels.json"
    path.write_text(json.dumps(make()))
    before = read_water_levels(Source("water_levels", (path,)), utm)
    assert len(before.frame) == 3
    for case in cases(100):
        data, what = damage_json(json.dumps(make()).encode(), random.Random(case))
        path.write_bytes(data)
        found = outcome(lambda: read_water_levels(Source("water_levels", (path,)), utm))
        assert found.kind in ("read", "refused"), (case, what, found.words)
        if found.kind == "refused":
            assert found.words.startswith("water_levels")
        elif not any(word in what for word in SILENT):
            lost = differences(of_levels(before), of_levels(found.value))
            gone = re.search(r"\d\) deleted", what)  # a whole measurement
            other = re.search(r" = (-?\d|'[^']|True|1e)", what)  # another word or number
            assert not lost or gone or other or told(before.defects, found.value.defects), (
                case, what, lost)  # fmt: skip


@pytest.mark.fuzz
@pytest.mark.parametrize("damaged", ["levels.rdb", "sites.rdb"])
def test_rdb(tmp_path: Path, utm: Any, damaged: str) -> None:
    texts = {"levels.rdb": LEVELS, "sites.rdb": SITES}
    files = tuple(tmp_path / name for name in texts)
    for file in files:
        file.write_text(texts[file.name])
    before = read_water_levels(Source("water_levels", files), utm)
    assert len(before.frame) == 3
    for case in cases(40):
        data, what = damage_delimited(texts[damaged].encode(), "\t", random.Random(case))
        (tmp_path / damaged).write_bytes(data)
        found = outcome(lambda: read_water_levels(Source("water_levels", files), utm))
        assert found.kind in ("read", "refused"), (case, what, found.words)


@pytest.mark.fuzz
@pytest.mark.parametrize("name", ["samples_results.txt", "wqp3_results.txt", "wqp_results.txt"])
def test_portal(tmp_path: Path, shared_data: Path, utm: Any, name: str) -> None:
    data = (shared_data / "records/water_quality_replies" / name).read_bytes()
    path = tmp_path / "result.csv"
    for case in cases(15):
        new, what = damage_delimited(data, ",", random.Random(case))
        path.write_bytes(new)
        found = outcome(lambda: read_well_samples(Source("well_samples", (path,)), utm))
        if found.kind == "traceback" and "ParserWarning" in found.words:
            continue  # rows of unequal length are the business of data_pipelines.tables
        assert found.kind in ("read", "refused"), (case, what, found.words)


class TestPages:
    @pytest.mark.parametrize(
        ("mark", "words"),
        [
            ({"exceededTransferLimit": True}, "page limit was reached"),
            ({"properties": {"exceededTransferLimit": True}}, "page limit was reached"),
            ({"links": [{"rel": "next", "href": "https://x.example"}]}, "there is a next page"),
            ({"next": "https://x.example"}, "there is a next page"),
            ({"numberMatched": 25000}, "3 of 25000"),
            ({"numberReturned": 10}, "3 of 10"),
        ],
    )
    def test_a_part_is_not_the_whole(
        self, tmp_path: Path, utm: Any, mark: dict[str, Any], words: str
    ) -> None:
        path = tmp_path / "levels.json"
        path.write_text(json.dumps(level_features() | mark))
        with pytest.raises(SourceFormatError, match=rf"{words}.*every page in a file"):
            read_water_levels(Source("water_levels", (path,)), utm)

    def test_all_pages_together(self, tmp_path: Path, utm: Any, found: Any) -> None:
        more = {"links": [{"rel": "next"}], "numberMatched": 6}
        files = tmp_path / "1.json", tmp_path / "2.json"
        files[0].write_text(json.dumps(level_features() | more))
        second = level_features()
        for feature in second["features"]:
            feature["properties"]["time"] = "2020-01-01"
        files[1].write_text(json.dumps(second))
        reading = read_water_levels(Source("water_levels", files), utm)
        assert len(reading.frame) == 6
        assert len(found(reading.defects, "page_of_several")) == 1

    def test_features_of_a_county_cut_at_a_limit(self, tmp_path: Path, utm: Any) -> None:
        own = level_features() | {"exceededTransferLimit": True}
        for feature in own["features"]:
            feature["properties"] = {"WELL": "1", "DTW": 12}
        path = tmp_path / "levels.json"
        path.write_text(json.dumps(own))
        with pytest.raises(SourceFormatError, match="only a part of the answer"):
            read_water_levels(Source("water_levels", (path,)), utm)


class TestRowsThatDoNotFit:
    """They are set aside and told, as those of every other table."""

    def test_of_levels_and_sites(self, write: Any, utm: Any, found: Any) -> None:
        levels = LEVELS + LEVELS.splitlines()[-1] + "\tmore\n"
        sites = SITES + "USGS\tcut"
        sound = (write("sound.rdb", LEVELS), write("places.rdb", SITES))
        whole = read_water_levels(Source("water_levels", sound), utm)
        files = (write("l.rdb", levels), write("s.rdb", sites))
        reading = read_water_levels(Source("water_levels", files), utm)
        assert len(reading.frame) == len(whole.frame) == 3
        assert set(found(reading.defects, "ragged_row")) == {"4", "2:s#3"}

    def test_of_results_and_their_sites(self, write: Any, utm: Any, found: Any) -> None:
        names = "MonitoringLocationIdentifier,ActivityStartDate,CharacteristicName,"
        rows = "W-1,2020-01-01,Nitrate,1\nW-1,2020-01-02,Nitrate,1,2\n"
        results = write("r.csv", f"{names}ResultMeasureValue\n{rows}")
        sites = "MonitoringLocationIdentifier,MonitoringLocationTypeName\nW-1,Well\nW-2\n"
        source = Source("well_samples", (results,), attributes=write("s.csv", sites))
        reading = read_well_samples(source, utm)
        assert len(reading.frame) == 1
        assert set(found(reading.defects, "ragged_row")) == {"2", "2:s#2"}

    def test_of_a_table_of_the_county(self, write: Any, utm: Any, found: Any) -> None:
        table = write("own.csv", "WELL,DATE,NO3\n1,2020-01-01,2\n1,2020-02-01,2,2\n1,,3\n")
        columns = {
            name: ColumnSource(own)
            for name, own in (("well_id", "WELL"), ("date", "DATE"), ("nitrate_mg_l", "NO3"))
        }
        reading = read_well_samples(Source("well_samples", (table,), columns=columns), utm)
        assert reading.frame["nitrate_mg_l"].tolist() == [2.0, 3.0]
        assert set(found(reading.defects, "ragged_row")) == {"2"}


class TestDaysAfterTheRun:
    def test_of_levels(self, write: Any, utm: Any, found: Any) -> None:
        files = (write("l.rdb", LEVELS), write("s.rdb", SITES))
        whole = read_water_levels(Source("water_levels", files), utm).frame
        day = whole["date"].min().date()
        reading = read_water_levels(Source("water_levels", files, day=day), utm)
        later = whole["date"] > whole["date"].min()
        assert later.any()
        assert reading.frame["date"].isna().tolist() == (later | whole["date"].isna()).tolist()
        assert len(found(reading.defects, "future_date")) == later.sum()

    def test_of_results(self, write: Any, utm: Any, found: Any) -> None:
        names = "MonitoringLocationIdentifier,ActivityStartDate,CharacteristicName,"
        rows = "W-1,2020-01-01,Nitrate,1\nW-1,2099-01-02,Nitrate,1\n"
        results = write("r.csv", f"{names}ResultMeasureValue\n{rows}")
        source = Source("well_samples", (results,), day=datetime.date(2026, 6, 1))
        reading = read_well_samples(source, utm)
        assert reading.frame["date"].isna().tolist() == [False, True]
        assert found(reading.defects, "future_date") == {"2": "2099-01-02"}


class TestWords:
    @pytest.mark.parametrize("name", ["levels.txt", "levels.json", "levels.csv"])
    def test_a_page_of_the_service(self, tmp_path: Path, utm: Any, name: str) -> None:
        path = tmp_path / name
        path.write_bytes(HTML)
        with pytest.raises(SourceFormatError, match=r"down for maintenance.*Fetch it again"):
            read_water_levels(Source("water_levels", (path,)), utm)
        with pytest.raises(SourceFormatError, match=r"down for maintenance.*Fetch it again"):
            read_well_samples(Source("well_samples", (path,)), utm)

    def test_sites_alone(self, write: Any, utm: Any) -> None:
        source = Source("water_levels", (write("sites.rdb", SITES),))
        with pytest.raises(SourceFormatError, match=r"sites \(sites.rdb\) but no levels"):
            read_water_levels(source, utm)

    def test_a_table_of_the_county_among_replies(self, write: Any, utm: Any) -> None:
        files = (write("levels.rdb", LEVELS), write("own.csv", "WELL,DTW\n1,2\n"))
        with pytest.raises(SourceFormatError, match=r"own\.csv is no reply"):
            read_water_levels(Source("water_levels", files), utm)

    def test_a_site_file_that_is_none(self, write: Any, utm: Any) -> None:
        names = "MonitoringLocationIdentifier,ActivityStartDate,CharacteristicName,"
        row = "W-1,2020-01-01,Nitrate,1\n"
        results = write("r.csv", f"{names}ResultMeasureValue\n{row}")
        source = Source("well_samples", (results,), attributes=write("s.csv", "A,B\n1,2\n"))
        with pytest.raises(SourceFormatError, match=r"s.csv has not the columns of a site file"):
            read_well_samples(source, utm)


class TestSingleFields:
    @pytest.mark.parametrize(
        ("field", "value", "check"),
        [
            ("value", "12 ft", "not_a_number"),
            ("value", None, "no_value"),
            ("value", ["10"], "not_a_number"),
            ("unit_of_measure", "furlong", "unknown_unit"),
            ("time", None, "no_date"),
            ("monitoring_location_id", None, "no_site"),
            ("parameter_code", None, "other_parameter"),
        ],
    )
    def test_of_a_feature(
        self, tmp_path: Path, utm: Any, found: Any, field: str, value: Any, check: str
    ) -> None:
        content = level_features()
        content["features"][1]["properties"][field] = value
        path = tmp_path / "levels.json"
        path.write_text(json.dumps(content))
        reading = read_water_levels(Source("water_levels", (path,)), utm)
        assert len(found(reading.defects, check)) == 1
        assert len(reading.frame) == (2 if check == "other_parameter" else 3)

    @pytest.mark.parametrize("geometry", [None, {}, {"coordinates": None}, {"coordinates": [1]}])
    def test_a_feature_without_a_place(
        self, tmp_path: Path, utm: Any, found: Any, geometry: Any
    ) -> None:
        content = level_features()
        content["features"][0]["geometry"] = geometry
        path = tmp_path / "levels.json"
        path.write_text(json.dumps(content))
        reading = read_water_levels(Source("water_levels", (path,)), utm)
        assert len(reading.frame) == 2
        assert len(found(reading.defects, "no_geometry")) == 1

    def test_elevation_in_meters_stays_in_meters(self, tmp_path: Path, utm: Any) -> None:
        content = level_features(1)
        content["features"][0]["properties"] |= {
            "parameter_code": "62611", "value": "250", "unit_of_measure": "m"}  # fmt: skip
        path = tmp_path / "levels.json"
        path.write_text(json.dumps(content))
        reading = read_water_levels(Source("water_levels", (path,)), utm)
        assert reading.frame["water_elevation_m"].tolist() == [250.0]
