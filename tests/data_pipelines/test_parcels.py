from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from pyproj import CRS
from shapely.geometry import Polygon, box

from data_pipelines.parcels import read_parcels
from riskmap.contract.check import check_layer
from riskmap.contract.errors import LayerError
from riskmap.contract.layers import PARCELS
from riskmap.contract.sources import ColumnSource, Reading, Source

C = ColumnSource


def lots(tmp_path: Path, pins: list[str | None], shapes: list[object], **columns: object) -> Path:
    path = tmp_path / "lots.gpkg"
    frame = gpd.GeoDataFrame({"PIN": pins, **columns}, geometry=shapes, crs="EPSG:26915")
    frame.to_file(path)
    return path


def square(i: int) -> Polygon:
    return box(500_000 + 100 * i, 5_000_000, 500_100 + 100 * i, 5_000_100)


def conserved(reading: Reading, count: int) -> bool:
    """Each polygon of the source came out, was merged, or was reported as without a shape."""
    checks = reading.defects["check"].value_counts()
    lost = checks.get("duplicate_parcel", 0) + checks.get("no_geometry", 0)
    return len(reading.frame) + lost == count


class TestSmall:
    def test_condominium_is_one_parcel_with_its_units_counted(self, tmp_path, write, utm, found):
        # One building of two flats and an office; the master record repeats the whole area.
        records = write(
            "tax.csv",
            "PIN,USE,SQFT,BR,YR,ADDR\n"
            "A,MASTER,3000,,1980,1 Elm\n"
            "A,FLAT,1000,2,1985,1 Elm #1\n"
            "A,FLAT,1000,3,1984,1 Elm #2\n"
            "A,OFFICE,1000,,1985,1 Elm #3\n"
            "B,HOUSE,1500,3,1990,2 Elm\n"
            "Z,HOUSE,1500,3,1990,9 Elm\n",
        )
        uses = {"FLAT": "residential", "HOUSE": "residential", "OFFICE": "commercial"}
        source = Source(
            "parcels",
            (lots(tmp_path, ["A", "B", "C"], [square(0), square(1), square(2)]),),
            attributes=records,
            join_on=("PIN", "PIN"),
            columns={
                "parcel_id": C("PIN"),
                "address": C("ADDR"),
                "land_use": C("USE", values={**uses, "MASTER": "other"}),
                "living_area_m2": C("SQFT", unit="ft2"),
                "bedrooms": C("BR"),
                "year_built": C("YR"),
            },
        )
        reading = read_parcels(source, utm)
        frame = reading.frame.set_index("parcel_id")
        assert frame["dwellings"].tolist()[:1] == [2.0]
        assert frame["bedrooms"].tolist()[:2] == [5.0, 3.0]
        assert frame["living_area_m2"].iloc[0] == pytest.approx(2000 * 0.3048**2)
        assert frame["year_built"].tolist()[:2] == [1980.0, 1990.0]
        assert frame["land_use"].tolist()[:2] == ["residential", "residential"]
        assert frame["address"].iloc[0] == "1 Elm"
        assert frame.loc["C", ["bedrooms", "year_built"]].isna().all()
        assert found(reading.defects, "many_records") == {"record 1": "A: 4 records"}
        assert found(reading.defects, "record_without_parcel") == {"record 6": "Z"}
        assert found(reading.defects, "parcel_without_record") == {"3": "C"}
        assert check_layer(reading.frame, PARCELS, crs=utm).empty
        assert conserved(reading, 3)

    def test_parts_of_one_parcel_are_merged_and_nothing_is_added_up(self, tmp_path, utm, found):
        path = lots(
            tmp_path,
            ["A", "B", "A"],
            [square(0), square(1), square(2)],
            bedrooms=[3, 2, 3],
            year_built=[1990, 1980, 1988],
        )
        reading = read_parcels(Source("parcels", (path,), columns={"parcel_id": C("PIN")}), utm)
        assert reading.frame["parcel_id"].tolist() == ["A", "B"]
        assert reading.frame.area.tolist() == [20_000, 10_000]
        assert reading.frame.geom_type.tolist() == ["MultiPolygon", "Polygon"]
        assert reading.frame["bedrooms"].tolist() == [3, 2]
        assert reading.frame["year_built"].tolist() == [1988, 1980]
        assert found(reading.defects, "duplicate_parcel") == {"3": "A"}
        assert check_layer(reading.frame, PARCELS, crs=utm).empty
        assert conserved(reading, 3)

    def test_equal_polygons_are_units_and_are_added_up(self, tmp_path, utm):
        path = lots(
            tmp_path,
            ["A", "A", "B"],
            [square(0), square(0), square(1)],
            bedrooms=[2, 3, 4],
            land_use=["residential"] * 3,
        )
        reading = read_parcels(Source("parcels", (path,), columns={"parcel_id": C("PIN")}), utm)
        assert reading.frame["bedrooms"].tolist() == [5, 4]
        assert reading.frame["dwellings"].tolist()[0] == 2
        assert reading.frame.area.tolist() == [10_000, 10_000]
        assert conserved(reading, 3)

    def test_units_under_their_own_numbers_stay_and_are_reported(self, tmp_path, utm, found):
        path = lots(tmp_path, ["A-1", "A-2"], [square(0), square(0)])
        reading = read_parcels(Source("parcels", (path,), columns={"parcel_id": C("PIN")}), utm)
        assert len(reading.frame) == 2
        assert found(reading.defects, "stacked_parcels") == {"2": "A-2"}

    def test_parcels_without_a_number_are_kept_apart(self, tmp_path, utm, found):
        path = lots(tmp_path, ["---", None, "A"], [square(0), square(1), square(2)])
        reading = read_parcels(Source("parcels", (path,), columns={"parcel_id": C("PIN")}), utm)
        assert reading.frame["parcel_id"].tolist() == ["unnumbered 1", "unnumbered 2", "A"]
        assert set(found(reading.defects, "missing_key")) == {"1", "2"}

    def test_private_columns_only_when_asked_for(self, tmp_path, write, utm):
        records = write("tax.csv", "PIN,OWNER,YR\nA,A. Person,1990\nA,B. Person,1990\n")
        parts = {"parcel_id": C("PIN"), "owner": C("OWNER"), "year_built": C("YR")}
        path = lots(tmp_path, ["A"], [square(0)])
        open_ = Source(
            "parcels", (path,), attributes=records, join_on=("PIN", "PIN"), columns=parts
        )
        reading = read_parcels(open_, utm)
        assert "owner" not in reading.frame
        assert not reading.defects.astype(str).apply(lambda c: c.str.contains("Person")).any().any()
        kept = Source(
            "parcels",
            (path,),
            attributes=records,
            join_on=("PIN", "PIN"),
            columns=parts,
            keep_private=("owner",),
        )
        assert read_parcels(kept, utm).frame["owner"].tolist() == ["A. Person"]

    def test_records_that_disagree_on_service(self, tmp_path, write, utm, found):
        records = write("tax.csv", "PIN,SEWER\nA,sewer\nA,onsite\n")
        source = Source(
            "parcels",
            (lots(tmp_path, ["A"], [square(0)]),),
            attributes=records,
            join_on=("PIN", "PIN"),
            columns={"parcel_id": C("PIN"), "service": C("SEWER")},
        )
        reading = read_parcels(source, utm)
        assert reading.frame["service"].isna().all()
        assert found(reading.defects, "records_disagree") == {"record 1": "A"}

    def test_wrong_join_column(self, tmp_path, write, utm):
        source = Source(
            "parcels",
            (lots(tmp_path, ["A"], [square(0)]),),
            attributes=write("tax.csv", "PARCEL,YR\nA,1990\n"),
            join_on=("PIN", "PIN"),
            columns={"parcel_id": C("PIN")},
        )
        with pytest.raises(LayerError, match=r"'PIN' for join_on.*Columns: PARCEL, YR"):
            read_parcels(source, utm)


@pytest.fixture(scope="module")
def city(shared_data: Path) -> Reading:
    folder = shared_data / "records/city_parcels_flood"
    uses = {
        "CONDOMINIUM": "residential",
        "CNDO LUX": "residential",
        "SNGL-FAM-RES": "residential",
        "CONDO-BLDG": "other",
    }
    source = Source(
        "parcels",
        (folder / "ASSESSING_ParcelsFY2014.topojson",),
        crs="EPSG:4326",
        attributes=folder / "TaxFY14.csv",
        join_on=("ML", "ML"),
        columns={
            "parcel_id": C("ML"),
            "address": C("Location"),
            "land_use": C("UseDescription", values=uses),
            "year_built": C("AYBYrBuilt"),
            "living_area_m2": C("GrossArea", unit="ft2"),
        },
    )
    return read_parcels(source, CRS("EPSG:26919"))


class TestRealCity:
    """City parcels as distributed: 13,116 polygons, 27,528 assessor's records."""

    def test_rows_are_conserved(self, city: Reading):
        assert conserved(city, 13_116)
        assert city.frame["parcel_id"].is_unique

    def test_contract_holds(self, city: Reading):
        assert check_layer(city.frame, PARCELS, crs=CRS("EPSG:26919")).empty

    def test_traps_are_reported(self, city: Reading, found: Callable[..., dict[str, str]]):
        counts = city.defects["check"].value_counts()
        assert counts["invalid_polygon"] == 37
        assert counts["no_geometry"] == 1
        # 80 repeated numbers: 21 real ones, and 57 + 2 repeats of the signs "---" and "-".
        assert counts["duplicate_parcel"] == 80 - 57 - 2
        assert counts["missing_key"] == 58 + 3 + 1 + 1  # "---", "-", "--", blank
        assert "1389" in found(city.defects, "impossible_year").values()
        assert "0" in found(city.defects, "impossible_year").values()
        assert city.frame.is_valid.all()

    def test_condominiums_against_a_plain_count(self, city: Reading, shared_data: Path):
        tax = pd.read_csv(shared_data / "records/city_parcels_flood/TaxFY14.csv", dtype=str)
        flats = tax[tax["UseDescription"].isin(["CONDOMINIUM", "CNDO LUX"])].groupby("ML").size()
        records = tax.groupby("ML").size()
        only = flats[(flats > 1) & (records.reindex(flats.index) >= flats)]
        houses = tax[tax["UseDescription"].eq("SNGL-FAM-RES")].groupby("ML").size()
        only = only[~only.index.isin(houses.index)]
        got = city.frame.set_index("parcel_id")["dwellings"].reindex(only.index).dropna()
        assert len(got) > 1_000
        assert (got == only.reindex(got.index)).all()

    def test_area_is_that_of_a_city(self, city: Reading):
        # Land area of the city 16.5 km2 (census figure, from memory); parcels leave out streets.
        assert 10e6 < city.frame.area.sum() < 19e6


def test_a_box_leaves_out_far_parcels_without_blaming_their_records(tmp_path, write, utm):
    source = Source(
        "parcels",
        (lots(tmp_path, ["A", "B", "C"], [square(0), square(5), square(50)]),),
        attributes=write("tax.csv", "PIN,YR\nA,1990\nB,1991\nC,1992\n"),
        join_on=("PIN", "PIN"),
        columns={
            "parcel_id": C("PIN"),
            "year_built": C("YR"),
            "service": C(constant="onsite"),
        },
    )
    reading = read_parcels(source, utm, bounds=(500_000, 5_000_000, 500_700, 5_000_100))
    assert reading.frame["year_built"].tolist() == [1990.0, 1991.0]
    assert reading.frame["service"].tolist() == ["onsite", "onsite"]
    assert reading.defects.empty


@pytest.mark.parametrize("step", [1, 3])
def test_merging_does_not_depend_on_row_order(tmp_path, utm, step):
    pins = ["A", "B", "A", "C", "B", "D", "A"]
    order = [(step * i) % 7 for i in range(7)]
    path = lots(tmp_path, [pins[i] for i in order], [square(i) for i in order])
    frame = read_parcels(Source("parcels", (path,), columns={"parcel_id": C("PIN")}), utm).frame
    area = frame.set_index("parcel_id").area.sort_index()
    assert area.to_dict() == {"A": 30_000.0, "B": 20_000.0, "C": 10_000.0, "D": 10_000.0}


def test_an_acreage_as_the_parcel_number_is_refused(tmp_path: Path, utm: CRS) -> None:
    """A column of a few round values would merge most of the county into a few parcels."""
    acres = [str(1 + i % 5) for i in range(60)]
    path = lots(tmp_path, acres, [square(i) for i in range(60)])
    source = Source("parcels", (path,), columns={"parcel_id": C("PIN")})
    with pytest.raises(LayerError, match="60 shapes have only 5 different parcel numbers"):
        read_parcels(source, utm)
