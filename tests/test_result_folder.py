"""What a result folder is, what of it people made, and how it takes an earlier one's place."""

from __future__ import annotations

import json
import os
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from riskmap.contract.errors import OutputError
from riskmap.results.folder import MARK, changed_files, read_mark, sweep, written_bytes
from riskmap.results.swap import kept_files, result_folder, settle_leftovers

FILES = {"index.html": "page", "lists/inspections.xlsx": "list", "run.json": "{}"}
KEPT = f"result kept {date.today()}"


def silent(text: str) -> None:
    raise AssertionError(f"nothing is to be told here: {text}")


@pytest.fixture
def target(tmp_path: Path) -> Path:
    return tmp_path / "place" / "result"


def write(target: Path, word: str = "first", *, told: list[str] | None = None) -> None:
    with result_folder(target, tell=silent if told is None else told.append) as part:
        for name, text in FILES.items():
            path = part / name
            path.parent.mkdir(exist_ok=True)
            path.write_text(f"{word} {text}")


def content(folder: Path) -> dict[str, str]:
    """Every file below a folder but the mark."""
    files = (path for path in folder.rglob("*") if path.is_file() and path.name != MARK)
    return {path.relative_to(folder).as_posix(): path.read_text() for path in files}


def written(word: str) -> dict[str, str]:
    return {name: f"{word} {text}" for name, text in FILES.items()}


def beside(target: Path) -> list[str]:
    return sorted(path.name for path in target.parent.iterdir())


class TestWholeOrNotAtAll:
    def test_it_appears_at_the_end_and_nothing_else_does(self, target: Path) -> None:
        with result_folder(target, tell=silent) as part:
            (part / "index.html").write_text("page")
            assert not target.exists()
        assert content(target) == {"index.html": "page"}
        assert beside(target) == ["result"]

    def test_a_failure_leaves_what_was_there(self, target: Path) -> None:
        def fail(word: str) -> None:
            with result_folder(target, tell=silent) as part:
                (part / "index.html").write_text(word)
                raise ZeroDivisionError

        with pytest.raises(ZeroDivisionError):
            fail("none before")
        assert not target.parent.exists()
        write(target)
        with pytest.raises(ZeroDivisionError):
            fail("one before")
        assert content(target) == written("first")
        assert beside(target) == ["result"]

    def test_an_untouched_result_is_replaced_in_silence(self, target: Path) -> None:
        write(target)
        write(target, "second")
        assert content(target) == written("second")
        assert beside(target) == ["result"]

    @pytest.mark.parametrize("mask", [0o002, 0o027, 0o077])
    def test_the_umask_is_obeyed(self, target: Path, mask: int) -> None:
        code = (
            "import os, sys; from pathlib import Path; os.umask(int(sys.argv[2]));"
            "from riskmap.results.swap import result_folder\n"
            "with result_folder(Path(sys.argv[1]), tell=print) as part:\n"
            "    (part / 'lists').mkdir()"
        )
        subprocess.run([sys.executable, "-c", code, str(target), str(mask)], check=True)
        for path in (target, target / "lists"):
            assert stat.S_IMODE(path.stat().st_mode) == 0o777 & ~mask

    def test_a_link_to_a_folder_stays_one(self, target: Path, tmp_path: Path) -> None:
        write(target)
        link = tmp_path / "link"
        link.symlink_to(target)
        write(link, "second")
        assert link.is_symlink()
        assert content(target) == written("second")


class TestWhatPeopleDid:
    def test_changed_and_added_files_are_kept_named_and_told(self, target: Path) -> None:
        write(target)
        (target / "lists" / "inspections.xlsx").write_text("filled in")
        (target / "notes.txt").write_text("call the owner")
        (target / "photographs").mkdir()
        (target / "away").symlink_to("/etc")
        names = ["away", "lists/inspections.xlsx", "notes.txt", "photographs/"]
        assert changed_files(target) == names
        assert kept_files(target) == [f"{KEPT}/{name}" for name in names]
        told: list[str] = []
        write(target, "second", told=told)
        assert content(target) == written("second")
        kept = target.parent / KEPT
        assert content(kept) == {
            "lists/inspections.xlsx": "filled in",
            "notes.txt": "call the owner",
        }
        assert (kept / "photographs").is_dir()
        assert os.readlink(kept / "away") == "/etc"
        assert beside(target) == ["result", KEPT]
        before, after = told
        assert all(name in before and name in after for name in names)
        assert str(kept) in before
        assert str(kept) in after
        assert "give the workbook to `riskmap record`" in before

    def test_what_was_kept_is_never_overwritten(self, target: Path) -> None:
        for number in range(3):
            write(target, told=[])
            (target / "notes.txt").write_text(str(number))
        write(target, told=[])
        places = [KEPT, f"{KEPT} (2)", f"{KEPT} (3)"]
        assert beside(target) == ["result", *places]
        notes = [(target.parent / place / "notes.txt").read_text() for place in places]
        assert notes == ["0", "1", "2"]

    def test_the_same_size_and_time_do_not_hide_a_change(self, target: Path) -> None:
        write(target)
        page = target / "index.html"
        seen = page.stat()
        page.write_text("first PAGE")
        os.utime(page, ns=(seen.st_atime_ns, seen.st_mtime_ns))
        assert page.stat().st_size == seen.st_size
        assert changed_files(target) == ["index.html"]

    def test_edits_beside_a_database_stay_with_it(self, target: Path) -> None:
        """A row that only stands in the write-ahead log, as a desktop GIS leaves it."""
        with result_folder(target, tell=silent) as part:
            base = sqlite3.connect(part / "parcels.gpkg")
            base.executescript("PRAGMA journal_mode = WAL; CREATE TABLE visits (note)")
            base.close()
        edit = (
            "import os, sqlite3, sys; base = sqlite3.connect(sys.argv[1]);"
            "base.execute('PRAGMA wal_autocheckpoint = 0');"
            "base.execute('INSERT INTO visits VALUES (1)'); base.commit(); os._exit(0)"
        )
        package = target / "parcels.gpkg"
        before = package.read_bytes()
        subprocess.run([sys.executable, "-c", edit, str(package)], check=True)
        assert package.read_bytes() == before
        assert "parcels.gpkg" in changed_files(target)
        write(target, told=[])
        base = sqlite3.connect(target.parent / KEPT / "parcels.gpkg")
        assert base.execute("SELECT note FROM visits").fetchall() == [(1,)]
        base.close()

    @pytest.mark.parametrize("lock", ["~$inspections.xlsx", ".~lock.inspections.xlsx#"])
    def test_a_workbook_that_is_open_is_kept(self, target: Path, lock: str) -> None:
        write(target)
        (target / "lists" / lock).touch()
        assert changed_files(target) == sorted([f"lists/{lock}", "lists/inspections.xlsx"])

    def test_litter_of_file_managers_is_nobody_s_work(self, target: Path) -> None:
        target.mkdir(parents=True)
        (target / ".DS_Store").write_text("x")
        write(target)
        (target / "lists" / "Thumbs.db").write_text("x")
        assert changed_files(target) == []
        write(target, "second")
        assert beside(target) == ["result"]

    def test_emptied_folders_of_riskmap_are_not_people_s(self, target: Path) -> None:
        write(target)
        (target / "lists" / "inspections.xlsx").unlink()
        assert changed_files(target) == []
        write(target, "second")
        assert beside(target) == ["result"]

    def test_empty_folders_that_riskmap_made_are_its_own(self, target: Path) -> None:
        with result_folder(target, tell=silent) as part:
            (part / "sheets").mkdir()
        assert changed_files(target) == []
        write(target, "second")
        assert beside(target) == ["result"]

    def test_names_that_are_no_text_are_kept_and_told(self, target: Path) -> None:
        write(target)
        odd = os.fsdecode(b"caf\xe9\n\x1b[2J.txt")
        try:
            (target / odd).write_text("kept")
        except OSError:
            pytest.skip("this file system takes no such name")
        told: list[str] = []
        write(target, "second", told=told)
        assert (target.parent / KEPT / odd).read_text() == "kept"
        assert all(text.isprintable() for text in told)
        assert "caf\N{REPLACEMENT CHARACTER}" in told[0]

    def test_what_looks_like_a_file_to_read_for_ever_is_not_read(self, target: Path) -> None:
        write(target)
        os.mkfifo(target / "pipe")
        (target / "index.html").unlink()
        os.mkfifo(target / "index.html")
        assert changed_files(target) == ["index.html", "pipe"]

    def test_a_list_that_names_other_places_deletes_nothing_there(self, target: Path) -> None:
        write(target)
        outside = target.parent / "outside.txt"
        outside.write_text("first page")
        mark = json.loads((target / MARK).read_text())
        mark["files"]["../outside.txt"] = mark["files"].pop("index.html")
        (target / MARK).write_text(json.dumps(mark))
        write(target, "second", told=[])
        assert outside.read_text() == "first page"
        assert content(target.parent / KEPT) == {"index.html": "first page"}

    def test_sweeping_can_be_broken_off_anywhere(self, target: Path) -> None:
        write(target)
        (target / "notes.txt").write_text("mine")
        (target / "index.html").unlink()
        (target / "lists" / "inspections.xlsx").unlink()
        assert sweep(target) == ["notes.txt"]
        assert content(target) == {"notes.txt": "mine"}
        assert not (target / "lists").exists()


class TestRefused:
    def refused(self, target: Path, match: str, **given: str) -> None:
        before = content(target) if target.is_dir() else target.read_text()
        with (
            pytest.raises(OutputError, match=match),
            result_folder(target, tell=silent, **given),
        ):
            raise AssertionError("the work must not begin")
        assert (content(target) if target.is_dir() else target.read_text()) == before

    def test_files_that_riskmap_did_not_make(self, tmp_path: Path) -> None:
        (tmp_path / "thesis.doc").write_text("years of work")
        self.refused(tmp_path, r"did not make.*Rename that folder, or name another")
        self.refused(tmp_path / "thesis.doc", "is a file. Name a folder")

    def test_a_file_called_run_json_is_no_mark(self, tmp_path: Path) -> None:
        (tmp_path / "run.json").write_text('{"inputs_sha256": {}, "settings": {}}')
        (tmp_path / "thesis.doc").write_text("years of work")
        self.refused(tmp_path, r"no list of its files \(early editions.*Rename that folder")

    @pytest.mark.parametrize("text", ["", "[]", "{", '{"riskmap": "result 1", "files": [1]}'])
    def test_a_damaged_mark_is_none(self, target: Path, text: str) -> None:
        write(target)
        (target / MARK).write_text(text)
        assert read_mark(target) is None
        self.refused(target, "no list of its files")

    def test_another_thing_that_riskmap_wrote(self, target: Path) -> None:
        write(target)
        self.refused(
            target, "as something else .result 1, not sample county 1", kind="sample county 1"
        )

    def test_a_circle_of_links(self, tmp_path: Path) -> None:
        (tmp_path / "a").symlink_to("b")
        (tmp_path / "b").symlink_to("a")
        with pytest.raises(OutputError, match=r"a"), result_folder(tmp_path / "a", tell=silent):
            raise AssertionError("the work must not begin")

    def test_a_folder_below_a_file(self, tmp_path: Path) -> None:
        (tmp_path / "thesis.doc").write_text("years of work")
        place = tmp_path / "thesis.doc" / "result"
        with (
            pytest.raises(OutputError, match="cannot be written"),
            result_folder(place, tell=silent),
        ):
            raise AssertionError("the work must not begin")


class TestWhatWasComputedIsKept:
    def write_while(self, target: Path, meddle: Callable[[], object]) -> str:
        """Write a result while something happens at its place; return what is said."""

        def work() -> None:
            with result_folder(target, tell=silent) as part:
                (part / "index.html").write_text("an hour of work")
                meddle()

        with pytest.raises(OutputError) as caught:
            work()
        return str(caught.value)

    def test_when_something_foreign_came_to_the_place(self, target: Path) -> None:
        def put_thesis() -> None:
            target.mkdir()
            (target / "thesis.doc").write_text("years of work")

        said = self.write_while(target, put_thesis)
        new = target.parent / f"result new {date.today()}"
        assert "did not make" in said
        assert f"What was computed lies in {new}" in said
        assert content(new) == {"index.html": "an hour of work"}
        assert content(target) == {"thesis.doc": "years of work"}
        assert beside(target) == ["result", new.name]

    def test_it_is_a_result_like_any_other(self, target: Path) -> None:
        self.write_while(target, lambda: target.write_text("a file came here"))
        new = target.parent / f"result new {date.today()}"
        write(new, "second")
        assert content(new) == written("second")


def test_an_earlier_result_left_aside_is_put_back(target: Path) -> None:
    """A killed swap whose new folder somebody deleted by hand."""
    write(target)
    work = target.with_name(".result.riskmap")
    work.mkdir()
    target.rename(work / "earlier")
    settle_leftovers(target, tell=silent)
    assert content(target) == written("first")
    assert beside(target) == ["result"]


def test_room_is_asked_for_before_the_work(target: Path) -> None:
    told: list[str] = []
    with result_folder(target, tell=told.append, expected_bytes=1 << 60) as part:
        (part / "index.html").write_text("page")
    assert "needs about 1,152,921,504,606.8 MB" in told[0]
    assert written_bytes(target) == 4
    with result_folder(target, tell=silent, expected_bytes=1 << 60):
        pass  # the earlier result shows how much is needed
