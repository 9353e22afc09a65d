"""USPS Publication 28 (October 2023); the rules by section, examples from memory but the first."""

from __future__ import annotations

import pytest

from riskmap.action.addresses import (
    OPTIMUM_LENGTH,
    Address,
    address_fault,
    delivery_line,
    last_line,
    site_address,
    state_code,
    zip_text,
)


class TestPublishedValues:
    def test_the_pound_sign_is_parted_from_its_number(self) -> None:
        # Publication 28, section 213.2: '#' only where the designator is not known, then a blank.
        assert delivery_line("123 Main Street #4") == "123 MAIN ST # 4"
        assert delivery_line("123 Main Street Apt #4") == "123 MAIN ST APT 4"

    @pytest.mark.parametrize(
        ("written", "postal"),
        [
            # sections 231-236 and appendix C1: suffixes and directions; examples from memory
            ("789 Main Avenue Drive", "789 MAIN AVENUE DR"),
            ("12 North Avenue", "12 NORTH AVE"),
            ("45 North Bay Street", "45 N BAY ST"),
            ("1 Bay West Drive", "1 BAY WEST DR"),
            ("7 Oak Lane S.W.", "7 OAK LN SW"),
            ("22 Avenue of the Pines", "22 AVENUE OF THE PINES"),
            # appendix C2: units, at the end of the line
            ("102 Main Street, Apartment 101", "102 MAIN ST APT 101"),
            ("1356 Executive Drive Suite 202", "1356 EXECUTIVE DR STE 202"),
            ("12 Oak St Unit B", "12 OAK ST UNIT B"),
            # sections 241-283: rural and contract routes, boxes
            ("R.R. 2, Box 18", "RR 2 BOX 18"),
            ("RFD 4 Box 87A", "RR 4 BOX 87A"),
            ("Star Route 3 Box 5", "HC 3 BOX 5"),
            ("P.O. Box 17", "PO BOX 17"),
            ("Post Office Box #17", "PO BOX 17"),
            # appendix F: numbered roads are written out
            ("100 Cnty Rd 33", "100 COUNTY ROAD 33"),
            ("5 St Rte 8", "5 STATE ROUTE 8"),
            ("9 Rd 5A", "9 ROAD 5A"),
            ("3 Hwy 3", "3 HIGHWAY 3"),
            ("12 1/2 Elm Street", "12 1/2 ELM ST"),
        ],
    )
    def test_delivery_lines(self, written: str, postal: str) -> None:
        assert delivery_line(written) == postal

    def test_last_line_has_two_blanks_before_the_code(self) -> None:
        # section 211: city, two-letter state, two blanks preferred, ZIP+4 with its hyphen
        assert last_line("Sample Falls", "New York", "133011234") == "SAMPLE FALLS NY  13301-1234"

    def test_states_of_appendix_b(self) -> None:
        assert [state_code(name) for name in ("Maine", "west virginia")] == [
            "ME",
            "WV",
        ]

    def test_limit_of_a_line(self) -> None:
        # section 113: 64 characters are the optimum that software holds
        assert OPTIMUM_LENGTH == 64
        long = Address("1 " + "LONGWORD " * 7 + "ST", "SAMPLE FALLS NY  13301")
        assert len(long.delivery) > 64
        assert "longer" in address_fault(long)


class TestNothingIsGuessed:
    @pytest.mark.parametrize("text", ["", "   ", "#", "?!"])
    def test_nothing_gives_nothing(self, text: str) -> None:
        assert site_address(text, "SAMPLE FALLS NY 13301").delivery in {"", "#"}

    def test_faults_are_said(self) -> None:
        assert address_fault(Address("", "X NY  13301")) == "no address"
        assert address_fault(Address("7 OAK RD", "")) == "city and ZIP code missing"
        assert address_fault(Address("7 OAK RD", "SAMPLE FALLS NY")) == "ZIP code missing"
        assert address_fault(Address("OAK RD", "SAMPLE FALLS NY  13301")) == "no house number"
        assert address_fault(Address("PO BOX 3", "SAMPLE FALLS NY  13301")) == ""

    def test_zeros_that_a_spreadsheet_dropped(self) -> None:
        # ZIP codes have five digits; codes of the north-east begin with 0
        assert [zip_text(text) for text in ("1234", "1234.0", "501", "12", "1234567")] == [
            "01234",
            "01234",
            "00501",
            "",
            "",
        ]

    def test_a_last_line_inside_the_site_address(self) -> None:
        found = site_address("7 Oak Road, Apt 2, Sample Falls, Vermont 05001")
        assert found == Address("7 OAK RD APT 2", "SAMPLE FALLS VT  05001")
        other = site_address("7 Oak Road, Rear House", "Sample Falls, VT 05001")
        assert other.last == "SAMPLE FALLS VT  05001"
        assert other.delivery.startswith("7 OAK")
