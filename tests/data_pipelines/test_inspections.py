from __future__ import annotations

from data_pipelines.inspections import read_inspections
from riskmap.contract.check import check_layer
from riskmap.contract.layers import INSPECTIONS
from riskmap.contract.sources import ColumnSource, Source

C = ColumnSource


def test_visits(write, utm, found):
    path = write(
        "visits.csv",
        "PIN,DT,WHY,FOUND,POND_IN,INSPECTOR\n"
        "A,3/5/2019,C,FAIL,6,N. N.\n"
        "A,3/5/2019,C,FAIL,6,N. N.\n"
        ",3/6/2019,S,OK,,N. N.\n"
        "B,2020-07,X,OK,0,N. N.\n"
        "C,,S,OK,,N. N.\n",
    )
    source = Source(
        "inspections",
        (path,),
        columns={
            "parcel_id": C("PIN"),
            "date": C("DT"),
            "reason": C("WHY", values={"C": "complaint", "S": "sale"}),
            "stage": C("FOUND", values={"FAIL": "failed", "OK": "sound"}),
            "ponding_cm": C("POND_IN", unit="in"),
        },
    )
    reading = read_inspections(source, utm)
    frame = reading.frame
    assert frame["parcel_id"].tolist() == ["A", "B", "C"]
    assert frame["ponding_cm"].tolist()[:2] == [15.24, 0.0]
    assert frame["stage"].tolist() == ["failed", "sound", "sound"]
    assert frame["reason"].isna().tolist() == [False, True, False]
    assert found(reading.defects, "repeated_row") == {"2": "A"}
    assert set(found(reading.defects, "missing_key")) == {"3"}
    assert found(reading.defects, "unknown_code") == {"4": "X"}
    assert found(reading.defects, "partial_date") == {"4": "2020-07"}
    assert found(reading.defects, "visit_without_date") == {"5": "C"}
    assert check_layer(frame, INSPECTIONS, crs=utm).empty


def test_constants_fill_a_column(write, utm):
    path = write("audit.csv", "PIN\nA\nB\n")
    columns = {
        "parcel_id": C("PIN"),
        "reason": C(constant="audit"),
        "ponding_cm": C(constant=0),
        "date": C(constant="2024-05-01"),
    }
    reading = read_inspections(Source("inspections", (path,), columns=columns), utm)
    assert reading.frame["reason"].tolist() == ["audit", "audit"]
    assert reading.frame["ponding_cm"].tolist() == [0.0, 0.0]
    assert reading.frame["date"].dt.year.tolist() == [2024, 2024]
    assert reading.defects.empty
    assert check_layer(reading.frame, INSPECTIONS, crs=utm).empty
