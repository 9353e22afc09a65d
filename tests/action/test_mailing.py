from __future__ import annotations

import pandas as pd

from riskmap.action.mailing import addressees, to_write_to
from riskmap.contract.results import MAILING

PLACE = {"mail_city": "Sample Falls", "mail_state": "NY", "mail_zip": "13301"}


def chosen(*addresses: str) -> pd.DataFrame:
    count = len(addresses)
    return pd.DataFrame(
        {
            "address": addresses,
            "priority_class": ["high"] * count,
            "rank": pd.array(range(1, count + 1), "Int64"),
        },
        index=pd.Index([f"P{n}" for n in range(count)], name="parcel_id"),
    )


def parcels(*rows: tuple[str, str]) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {"parcel_id": f"P{n}", "owner": name, "mail_address": street, **PLACE}
            for n, (name, street) in enumerate(rows)
        ]
    )


class TestWhoIsWrittenTo:
    def test_classes_and_ranks_decide(self) -> None:
        table = pd.DataFrame(
            {
                "priority_class": ["high", "highest", "high", "middle", "high"],
                "rank": pd.array([3, 1, None, 2, 4], "Int64"),
                "apart_rank": pd.array([None, None, 1, None, None], "Int64"),
            },
            index=list("abcde"),
        )
        assert list(to_write_to(table).index) == ["b", "a", "e"]
        assert list(to_write_to(table, ("middle",)).index) == ["d"]

    def test_systems_on_file_as_failed_are_followed_up_in_person(self) -> None:
        table = pd.DataFrame(
            {"rank": [1.0, 2.0, 3.0, 4.0], "priority_class": "highest",
             "worklist": ["on file", "to find", "to find", "to find"]},
            index=list("abcd"),
        )  # fmt: skip
        assert list(to_write_to(table).index) == ["b", "c", "d"]

    def test_without_private_columns_all_go_to_the_resident(self) -> None:
        table = addressees(chosen("7 Oak Road", "8 Oak Road"), site_last_line="Falls NY 13301")
        assert table["name"].tolist() == ["RESIDENT", "RESIDENT"]
        assert table["audience"].unique().tolist() == ["household"]
        assert table["delivery_line"].tolist() == ["7 OAK RD", "8 OAK RD"]
        assert table["last_line"].unique().tolist() == ["FALLS NY  13301"]
        assert table["address_check"].tolist() == ["", ""]

    def test_a_site_without_a_city_is_marked(self) -> None:
        table = addressees(chosen("7 Oak Road"))
        assert table["address_check"].tolist() == ["city and ZIP code missing"]

    def test_owner_at_home_and_owner_elsewhere(self) -> None:
        table = addressees(
            chosen("7 Oak Road", "8 Oak Road"),
            parcels(("Jo Doe", "7 OAK RD"), ("Al Roe", "PO Box 9")),
        )
        assert table["audience"].tolist() == ["household", "owner"]
        assert table["name"].tolist() == ["JO DOE OR CURRENT RESIDENT", "AL ROE"]
        assert table["delivery_line"].tolist() == ["7 OAK RD", "PO BOX 9"]
        assert table["site_addresses"].tolist() == ["7 OAK RD", "8 OAK RD"]

    def test_residents_too(self) -> None:
        table = addressees(
            chosen("8 Oak Road"), parcels(("Al Roe", "PO Box 9")), residents_too=True
        )
        assert sorted(table["audience"]) == ["household", "owner"]
        assert set(table["parcel_ids"]) == {"P0"}


class TestMerging:
    def test_one_owner_of_several_parcels_gets_one_letter(self) -> None:
        table = addressees(
            chosen("7 Oak Road", "8 Oak Road", "9 Oak Road"),
            parcels(("Roe, Al", "P.O. Box 9"), ("AL ROE", "PO BOX 9"), ("Bo Poe", "PO Box 9")),
        )
        assert table["parcels"].tolist() == [2, 1]
        assert table["site_addresses"].tolist() == ["7 OAK RD; 8 OAK RD", "9 OAK RD"]
        assert table["best_rank"].tolist() == [1, 3]

    def test_an_owner_at_home_with_a_second_parcel_is_an_owner(self) -> None:
        table = addressees(
            chosen("7 Oak Road", "8 Oak Road"),
            parcels(("Jo Doe", "7 Oak Rd"), ("Jo Doe", "7 Oak Rd")),
        )
        assert table["audience"].tolist() == ["owner"]
        assert table["name"].tolist() == ["JO DOE"]

    def test_four_more_digits_do_not_part_an_owner(self) -> None:
        private = parcels(("Al Roe", "PO Box 9"), ("Al Roe", "PO Box 9"))
        private.loc[1, "mail_zip"] = "13301-0009"
        assert len(addressees(chosen("7 Oak Road", "8 Oak Road"), private)) == 1
        private.loc[1, "mail_zip"] = "13302"
        assert len(addressees(chosen("7 Oak Road", "8 Oak Road"), private)) == 2

    def test_parcels_without_any_address_are_kept_apart(self) -> None:
        table = addressees(chosen("", ""))
        assert table["address_check"].tolist() == ["no address", "no address"]
        assert table["parcel_ids"].tolist() == ["P0", "P1"]

    def test_every_parcel_is_in_exactly_one_row(self) -> None:
        sites = [f"{n % 7} Oak Road" for n in range(40)]
        owners = [(f"Owner {n % 5}", f"{n % 4} Elm Street") for n in range(40)]
        table = addressees(chosen(*sites), parcels(*owners))
        listed = "; ".join(table["parcel_ids"]).split("; ")
        assert sorted(listed) == sorted(f"P{n}" for n in range(40))
        assert table["parcels"].sum() == 40
        assert list(table.columns) == MAILING.column_names
        assert table["order"].tolist() == list(range(1, len(table) + 1))

    def test_nobody_to_write_to(self) -> None:
        table = addressees(chosen())
        assert len(table) == 0
        assert list(table.columns) == MAILING.column_names
