"""A mailing from a run, its folder, and what comes back of it."""

from __future__ import annotations

import csv
import datetime
import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from pypdf import PdfReader

from riskmap.action.aims import on_file_as_failed
from riskmap.contract.errors import RegionError, SourceFormatError
from riskmap.contract.letters import NO_MORE
from riskmap.outcomes.log import letters, log_state
from riskmap.publish.paper.letter_texts import forbidden_words
from riskmap.region.sections import Region
from riskmap.season.mailing import PlannedMailing, plan_mailing
from riskmap.season.mailing_folder import write_mailing
from riskmap.season.recording import record
from riskmap.stages.progress import Progress
from riskmap.stages.result import Result
from tests.season.filling import TODAY

QUIET = Progress(quiet=True)


def with_mailing(assessed: Result, own: Region, **changes: Any) -> Result:
    mailing = replace(own.mailing, **changes)
    return Result(replace(own, mailing=mailing), assessed.things)


@pytest.fixture
def planned(assessed: Result, own: Region) -> PlannedMailing:
    return plan_mailing(with_mailing(assessed, own, to="pump-out overdue"))


@pytest.fixture
def folder(planned: PlannedMailing, tmp_path: Path) -> Path:
    write_mailing(planned, tmp_path / "mail", QUIET)
    return tmp_path / "mail"


def fill(folder: Path, *rows: dict[str, Any]) -> Path:
    """Fill in the list of letters, from its first row on."""
    book = openpyxl.load_workbook(folder / "letters.xlsx")
    page = book["Letters"]
    places = {cell.value: cell.column for cell in page[1]}
    for number, row in enumerate(rows, start=2):
        for title, value in row.items():
            page.cell(number, places[title]).value = value
    path = folder.parent / "filled.xlsx"
    book.save(path)
    return path


def table(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8-sig"))))


class TestWhom:
    def test_on_file_as_failed_get_no_general_letter(
        self, planned: PlannedMailing, assessed: Result
    ) -> None:
        failed = set(assessed.parcels.index[on_file_as_failed(assessed.parcels)])
        general = set("; ".join(planned.people["parcel_ids"]).split("; "))
        apart = set("; ".join(planned.on_file["parcel_ids"]).split("; "))
        assert general
        assert apart
        assert not general & failed
        assert apart <= failed
        assert planned.on_file["since"].str.fullmatch(r"(19|20)\d\d").all()

    def test_well_owners_lie_on_parcels_with_wells(self, assessed: Result, own: Region) -> None:
        found = plan_mailing(with_mailing(assessed, own, to="well owners"))
        wells = set(assessed.county.tables["wells"]["parcel_id"].dropna().astype(str))
        ids = set("; ".join(found.people["parcel_ids"]).split("; "))
        assert ids
        assert ids <= wells
        assert found.people["letter"].unique().tolist() == ["well"]
        assert found.on_file.empty

    def test_zone_and_neighborhood(self, assessed: Result, own: Region) -> None:
        planning = assessed.planning
        assert planning is not None
        zone = str(planning.zones["zone_id"].iloc[0])
        all_, some = (
            plan_mailing(with_mailing(assessed, own, to="pump-out overdue", zones=zones))
            for zones in ((), (zone,))
        )
        assert 0 < len(some.people) < len(all_.people)
        for changes, words in (
            ({"zones": ("X99",)}, "no zone 'X99'"),
            ({"neighborhoods": ("Nowhere Else",)}, "no neighborhood 'Nowhere Else'"),
        ):
            with pytest.raises(RegionError, match=words):
                plan_mailing(with_mailing(assessed, own, **changes))

    def test_the_budget_holds_for_both_letters_those_on_file_first(
        self, planned: PlannedMailing, assessed: Result, own: Region
    ) -> None:
        room = len(planned.on_file) + 2
        given = {"to": "pump-out overdue", "cost": 0.5, "budget": room / 2}
        found = plan_mailing(with_mailing(assessed, own, **given))
        assert len(found.on_file) == len(planned.on_file)
        assert len(found.people) == 2
        assert found.left_out["why"].unique().tolist() == ["beyond the budget"]

    def test_references_are_unique_and_stay(
        self, planned: PlannedMailing, assessed: Result, own: Region
    ) -> None:
        again = plan_mailing(with_mailing(assessed, own, to="pump-out overdue"))
        both = pd.concat([planned.people, planned.on_file])["reference"]
        assert both.is_unique
        assert again.people["reference"].tolist() == planned.people["reference"].tolist()


class TestFolder:
    def test_the_letters_hold_every_addressee(self, folder: Path, planned: PlannedMailing) -> None:
        reader = PdfReader(folder / "letters_both.pdf")
        words = [" ".join(page.extract_text().split()) for page in reader.pages]
        mailable = planned.people[planned.people["delivery_line"] != ""]
        assert f"holds all {len(mailable)} letters" in words[0]
        joined = "\n".join(words)
        for number in mailable["reference"]:
            assert joined.count(number) == 4  # letter and slip, in both languages
        for page in words[1:]:
            assert forbidden_words(page) == []
        # front and back of a sheet: English begins on the right-hand pages
        assert [n for n, page in enumerate(words) if "Caring for your septic system" in page] == [
            2 + 4 * n for n in range(len(mailable))
        ]

    def test_merge_table_has_every_letter_once(self, folder: Path, planned: PlannedMailing) -> None:
        rows = table(folder / "mail_merge.csv")
        both = pd.concat([planned.people, planned.on_file])
        assert [row["reference"] for row in rows] == both["reference"].tolist()
        held = {row["reference"] for row in rows if row["post"].startswith("no")}
        assert held == set(planned.on_file["reference"])

    def test_drafts_until_a_person_releases_them(
        self, folder: Path, planned: PlannedMailing
    ) -> None:
        assert not (folder / "letters_on_file_both.pdf").exists()
        draft = PdfReader(folder / "letters_on_file_draft_both.pdf")
        assert "not released" in draft.pages[2].extract_text()
        rows = table(folder / "to_release.csv")
        rows[0] |= {"released_by": "A. Bee", "released_on": "2026-06-02"}
        path = folder.parent / "released.csv"
        with path.open("w", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)
        write_mailing(planned, folder, QUIET, release=path)
        done = " ".join(
            p.extract_text() for p in PdfReader(folder / "letters_on_file_both.pdf").pages
        )
        assert rows[0]["reference"] in done
        assert "not released" not in done
        assert all(row["reference"] not in done for row in rows[1:])
        merged = {row["reference"]: row["post"] for row in table(folder / "mail_merge.csv")}
        assert merged[rows[0]["reference"]] == "yes"

    @pytest.mark.parametrize(
        ("content", "words"),
        [
            ("reference,released_by\nA,B\n", "no column 'released_on'"),
            ("reference,released_by,released_on\nAAAA-AAAA,B,2026-06-02\n", "not one of this"),
            ("reference,released_by,released_on\n{one},B,\n", "a name or a day of release"),
            ("reference,released_by,released_on\n{one},B,Tuesday\n", "'Tuesday' is no date"),
        ],
    )
    def test_a_table_of_release_that_cannot_be(
        self, folder: Path, planned: PlannedMailing, tmp_path: Path, content: str, words: str
    ) -> None:
        path = tmp_path / "released.csv"
        path.write_text(content.format(one=planned.on_file["reference"].iloc[0]))
        before = sorted(p.name for p in folder.iterdir())
        with pytest.raises(SourceFormatError, match=words):
            write_mailing(planned, folder, QUIET, release=path)
        assert sorted(p.name for p in folder.iterdir()) == before


class TestBack:
    def test_what_came_back_is_read_by_the_reference(
        self, folder: Path, planned: PlannedMailing, assessed: Result, own: Region
    ) -> None:
        path = fill(
            folder,
            {"Sent on": datetime.date(2026, 6, 2), "Answer": NO_MORE,
             "Answered on": datetime.date(2026, 6, 20)},
            {"Sent on": datetime.date(2026, 6, 2), "Came back": "yes"},
        )  # fmt: skip
        (done,) = record(own, [path], today=TODAY)
        assert (done.new, done.wrong) == (2, 0)
        assert "2 letters recorded" in str(done)
        assert "rows not filled in" in str(done)
        told = letters(own.log_place)
        assert told["reference"].tolist() == planned.people["reference"].tolist()[:2]
        assert told["run"].unique().tolist() == [planned.run]
        assert "name" not in told
        again = record(own, [path], today=TODAY)
        assert (again[0].new, again[0].known) == (0, 2)
        after = replace(own, outcomes=log_state(own.log_place))
        assert after.outcomes is not None
        assert (after.outcomes.entries, after.outcomes.letters) == (0, 2)
        next_year = datetime.date(2028, 1, 1)
        found = plan_mailing(with_mailing(assessed, after, to="pump-out overdue"), on=next_year)
        assert found.left_out["why"].tolist() == ["asked for no more letters"]
        soon = plan_mailing(with_mailing(assessed, after, to="pump-out overdue"),
                            on=datetime.date(2026, 7, 1))  # fmt: skip
        assert sorted(soon.left_out["why"]) == ["asked for no more letters", "written to of late"]

    def test_an_answer_corrected_later_counts(self, folder: Path, own: Region) -> None:
        sent = {"Sent on": datetime.date(2026, 6, 2)}
        record(own, [fill(folder, sent | {"Answer": NO_MORE})], today=TODAY)
        record(own, [fill(folder, sent | {"Answer": "visit"})], today=TODAY)
        assert letters(own.log_place)["answer"].tolist() == ["visit"]

    def test_rows_at_fault_are_named_by_cell(self, folder: Path, own: Region) -> None:
        path = fill(
            folder,
            {"Answer": "visit"},
            {"Sent on": datetime.date(2027, 1, 1)},
            {"Sent on": "soon"},
            {"Sent on": datetime.date(2026, 6, 2), "Answer": "maybe"},
            {"Sent on": datetime.date(2026, 6, 2), "Parcel numbers": "99-99-9999"},
        )
        (done,) = record(own, [path], today=TODAY)
        assert (done.new, done.wrong) == (0, 5)
        said = "\n".join(done.faults)
        for words in (
            "an answer but no day on which the letter was sent",
            "sent on 2027-01-01 is still to come",
            "'soon' is no date",
            "'maybe' is none of the words to choose from: none, visit",
            "the region has no parcel '99-99-9999'",
        ):
            assert words in said

    def test_visits_and_letters_in_one_file_are_refused(self, folder: Path, own: Region) -> None:
        book = openpyxl.load_workbook(folder / "letters.xlsx")
        page = book.create_sheet("Visits")
        page.append(["Parcel", "Visited on", "Found", "By"])
        path = folder.parent / "both.xlsx"
        book.save(path)
        with pytest.raises(SourceFormatError, match="visits and letters"):
            record(own, [path], today=TODAY)
