from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from pyproj import CRS, Transformer
from shapely.geometry import Point

from data_pipelines.flags import permit_long_after_house
from data_pipelines.permits import check_modifications, failure_signal, read_permits
from riskmap.contract.check import check_layer
from riskmap.contract.errors import CrsError
from riskmap.contract.layers import PERMITS
from riskmap.contract.sources import ColumnSource, Source

C = ColumnSource

# Column names as a state's statewide point layer has them: text X/Y (GPS) beside numeric
# LAT/LONG_ (geocoder), ten-character names, a name and an address that must not be read.
HEADER = "PERMIT,NAME,ADD1,X,Y,LAT,LONG_,ISSUED,INSPECTED,ACTION,PIN,GAL\n"


def state_source(path: Path, **extra: object) -> Source:
    return Source(
        "permits",
        (path,),
        columns={
            "permit_id": C("PERMIT"),
            "parcel_id": C("PIN"),
            "action": C("ACTION"),
            "issued": C("ISSUED"),
            "inspected": C("INSPECTED"),
            "tank_volume_l": C("GAL", unit="gal"),
        },
        x="X",
        y="Y",
        second_x="LONG_",
        second_y="LAT",
        crs="EPSG:4326",
        **extra,  # type: ignore[arg-type]
    )


class TestCoordinatePairs:
    def test_an_unknown_system_is_an_error_of_this_layer(self, write, utm):
        path = write("p.csv", HEADER + "P1,,,-93,45,45,-93,2001-01-01,,new,1,1000\n")
        source = replace(state_source(path), crs="EPSG:999999")
        with pytest.raises(CrsError, match=r"^permits: .*'EPSG:999999'"):
            read_permits(source, utm)

    def test_pairs_that_disagree(self, write, utm, found):
        # 0.01 degree of latitude is about 1,111 m; 0.0001 about 11 m.
        path = write(
            "p.csv",
            HEADER
            + "P1,N. N.,1 Elm,-93.0000 ,45.0000 ,45.0100,-93.0,2001-01-01,2001-02-01,new,1,1000\n"
            + "P2,N. N.,2 Elm,-93.0,45.0,45.0001,-93.0,2001-01-01,2001-02-01,new,2,1000\n"
            + "P3,N. N.,3 Elm,,,45.0,-93.0,2001-01-01,2001-02-01,new,3,1000\n"
            + "P4,N. N.,4 Elm,0,0,,,2001-01-01,2001-02-01,new,,1000\n",
        )
        reading = read_permits(state_source(path), utm)
        assert found(reading.defects, "coordinate_pairs_disagree") == {"1": "1111 m apart"}
        assert set(found(reading.defects, "first_pair_missing")) == {"3"}
        assert set(found(reading.defects, "no_coordinates")) == {"4"}
        assert found(reading.defects, "unlocated_permit") == {"4": "P4"}
        assert reading.frame["x_m"].tolist()[:3] == pytest.approx([500_000] * 3, abs=0.01)
        north = Transformer.from_crs(4326, 26915, always_xy=True).transform(-93, 45)[1]
        assert reading.frame["y_m"].iloc[0] == pytest.approx(north, abs=0.01)
        assert reading.frame["tank_volume_l"].iloc[0] == pytest.approx(3785.411784)
        assert check_layer(reading.frame, PERMITS, crs=utm).empty

    def test_names_and_addresses_are_not_read(self, write, utm):
        path = write("p.csv", HEADER + "P1,N. N.,1 Elm,,,,,,,,,\n")
        reading = read_permits(state_source(path), utm)
        text = reading.frame.astype(str).to_csv() + reading.defects.to_csv()
        assert "N. N." not in text
        assert "1 Elm" not in text

    def test_points_of_a_layer(self, tmp_path, utm):
        frame = gpd.GeoDataFrame({"permit_id": ["P1"]}, geometry=[Point(-93, 45)], crs=4326)
        frame.to_file(tmp_path / "p.gpkg")
        reading = read_permits(Source("permits", (tmp_path / "p.gpkg",)), utm)
        assert reading.frame["x_m"].iloc[0] == pytest.approx(500_000, abs=0.01)

    def test_a_shapeless_table_of_a_database(self, tmp_path, utm):
        import pyogrio

        table = pd.DataFrame({"permit_id": ["P1"], "parcel_id": ["A"]})
        pyogrio.write_dataframe(table, tmp_path / "p.gpkg")
        reading = read_permits(Source("permits", (tmp_path / "p.gpkg",)), utm)
        assert reading.frame["parcel_id"].tolist() == ["A"]
        assert reading.frame["x_m"].isna().all()

    def test_coordinates_without_a_system(self, write, utm):
        path = write("p.csv", "permit_id,X,Y\nP1,-93,45\n")
        with pytest.raises(CrsError):
            read_permits(Source("permits", (path,), x="X", y="Y"), utm)


class TestDatesAndActions:
    def test_years_that_differ_and_dates_in_the_wrong_order(self, write, utm, found):
        path = write(
            "p.csv",
            "permit_id,parcel_id,issued,inspected\n"
            "P1,1,1999-11-01,2000-03-01\n"
            "P2,2,2000-03-01,1999-11-01\n"
            "P3,3,0407-04-01,2000-03-01\n"
            "P4,4,1999-03-01,1999-11-01\n",
        )
        reading = read_permits(Source("permits", (path,)), utm)
        later = found(reading.defects, "inspected_in_later_year")
        assert later == {"1": "1999-11-01 / 2000-03-01"}
        assert set(found(reading.defects, "inspected_before_issue")) == {"2"}
        assert found(reading.defects, "impossible_date") == {"3": "0407-04-01"}
        assert reading.frame["issued"].notna().tolist() == [True, True, False, True]

    def test_repair_signals_failure_and_alteration_does_not(self, write, utm):
        # Kinds of permit as an Oregon county issues them (facts of its public pages).
        words = [
            "Major Repair",
            "Alteration",
            "Authorization Notice",
            "New Construction",
            "odd",
            "",
        ]
        rows = "".join(f"P{i},{i},{word}\n" for i, word in enumerate(words))
        path = write("p.csv", "permit_id,parcel_id,action\n" + rows)
        reading = read_permits(Source("permits", (path,)), utm)
        action = reading.frame["action"]
        assert action.tolist()[:4] == ["repair", "alteration", "evaluation", "new"]
        assert action.isna().tolist()[4:] == [True, True]
        assert failure_signal(action).tolist()[:4] == [True, False, False, False]
        assert failure_signal(action).isna().tolist()[4:] == [True, True]
        unknown = reading.defects[reading.defects["check"] == "unknown_code"]
        assert unknown["value"].tolist() == ["odd"]

    def test_a_declared_translation_is_the_only_one(self, write, utm):
        path = write("p.csv", "permit_id,WORK\nP1,R\nP2,Upgrade\n")
        columns = {"action": C("WORK", values={"R": "repair"})}
        frame = read_permits(Source("permits", (path,), columns=columns), utm).frame
        assert frame["action"].isna().tolist() == [False, True]

    def test_late_permit_at_an_old_house(self):
        issued = pd.Series(pd.to_datetime(["1999-05-01", "1975-05-01", None]))
        year_built = pd.Series([1974.0, 1974.0, 1974.0])
        assert permit_long_after_house(issued, year_built).tolist() == [True, False, False]

    def test_new_permit_at_an_old_house_may_be_a_modification(self, write, utm, found):
        path = write(
            "p.csv",
            "permit_id,parcel_id,action,issued\n"
            "P1,A,new,1999-05-01\nP2,B,new,1999-05-01\nP3,A,repair,1999-05-01\nP4,,new,1999-05-01\n",
        )
        permits = read_permits(Source("permits", (path,)), utm).frame
        parcels = pd.DataFrame({"parcel_id": ["A", "B"], "year_built": [1960.0, 1999.0]})
        defects = check_modifications(permits, parcels)
        assert found(defects, "perhaps_modification") == {"1": "P1"}


class TestKeys:
    def test_repeated_rows_go_and_repeated_numbers_are_parted(self, write, utm, found):
        path = write(
            "p.csv",
            "permit_id,parcel_id,issued\n"
            "P1,A,2001-01-01\nP1,A,2001-01-01\nP1,B,2002-01-01\n,C,2003-01-01\n",
        )
        reading = read_permits(Source("permits", (path,)), utm)
        assert reading.frame["permit_id"].tolist() == ["P1", "P1 (2)", "unnumbered 4"]
        assert found(reading.defects, "repeated_row") == {"2": "P1"}
        assert found(reading.defects, "duplicate_key") == {"3": "P1"}
        assert check_layer(reading.frame, PERMITS, crs=utm).empty


def test_region_system_other_than_the_coordinates(write):
    path = write("p.csv", "permit_id,X,Y\nP1,500000,5000000\n")
    source = Source("permits", (path,), x="X", y="Y", crs="EPSG:26915")
    same = read_permits(source, CRS("EPSG:26915")).frame
    assert same[["x_m", "y_m"]].to_numpy().tolist() == [[500_000.0, 5_000_000.0]]


class TestSoilOnThePermit:
    def test_percolation_in_minutes_per_inch_and_the_class(self, write, utm):
        rows = "P1,,,,,,,,,new,1,1000,30,III,0.5\nP2,,,,,,,,,new,2,1000,,,\n"
        path = write("p.csv", HEADER.strip() + ",PERC,CLS,TN\n" + rows)
        source = state_source(path)
        columns = dict(source.columns) | {
            "percolation_min_cm": C("PERC", unit="min_in"),
            "loading_class": C("CLS"),
            "nitrogen_removed_frac": C("TN"),
        }
        frame = read_permits(replace(source, columns=columns, x=None, y=None, second_x=None,
                                     second_y=None), utm).frame  # fmt: skip
        assert frame["percolation_min_cm"].iloc[0] == pytest.approx(30 / 2.54)
        assert frame["loading_class"].tolist()[0] == "III"
        assert frame["nitrogen_removed_frac"].iloc[0] == 0.5
        assert frame[["percolation_min_cm", "loading_class"]].iloc[1].isna().all()
