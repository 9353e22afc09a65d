"""Disks that fill or cannot be written, places that cannot be replaced; told before the work."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from riskmap.contract.errors import OutputError
from riskmap.results.folder import MARK
from riskmap.results.swap import result_folder

Disk = Callable[..., Path]


def silent(text: str) -> None:
    del text


def write(target: Path, word: str = "first", *, files: int = 3, size: int = 1000) -> None:
    with result_folder(target, tell=silent) as part:
        for number in range(files):
            (part / f"{number}.txt").write_text(f"{word} {number}".ljust(size))


def content(folder: Path) -> dict[str, str]:
    files = (path for path in folder.rglob("*") if path.is_file() and path.name != MARK)
    return {path.name: path.read_text().strip() for path in files}


FIRST = {f"{number}.txt": f"first {number}" for number in range(3)}


def refused_before_the_work(target: Path) -> str:
    with pytest.raises(OutputError) as caught, result_folder(target, tell=silent):
        raise AssertionError("the work must not begin")
    return str(caught.value)


class TestFullDisk:
    def test_the_earlier_result_stays_and_the_next_run_goes_on(self, disk: Disk) -> None:
        place = disk("small", "size=1m")
        write(place / "result")
        with pytest.raises(OutputError, match=r"the disk is full.*is untouched. Free space"):
            write(place / "result", "second", files=40, size=50_000)
        assert content(place / "result") == FIRST
        assert [path.name for path in place.iterdir()] == ["result"]
        write(place / "result", "third", size=100_000)
        assert content(place / "result")["2.txt"] == "third 2"

    def test_no_room_for_more_files(self, disk: Disk) -> None:
        place = disk("small", "nr_inodes=20")
        write(place / "result")
        with pytest.raises(OutputError, match="the disk is full"):
            write(place / "result", "second", files=40)
        assert content(place / "result") == FIRST
        told: list[str] = []
        with result_folder(place / "result", tell=told.append) as part:
            (part / "page").touch()
        assert "more files" in told[0]

    @pytest.mark.parametrize("options", ["size=64k", "nr_inodes=10"])
    def test_a_disk_that_is_full_already(self, disk: Disk, options: str) -> None:
        place = disk("small", options)
        (place / "deep").mkdir()
        with suppress(OSError):
            for number in range(100):
                (place / "deep" / str(number)).write_bytes(bytes(4096))
        assert number < 99
        said = refused_before_the_work(place / "result")
        assert "the disk is full" in said
        assert [path.name for path in place.iterdir()] == ["deep"]

    def test_room_for_all_but_the_list_of_files(self, disk: Disk) -> None:
        """What was computed is kept when only the last step fails."""
        place = disk("small", "nr_inodes=12")

        def compute() -> None:
            with result_folder(place / "result", tell=silent) as part:
                for number in range(int(os.statvfs(place).f_favail)):
                    (part / f"{number}.txt").write_text("computed")

        with pytest.raises(OutputError) as caught:
            compute()
        assert "the disk is full" in str(caught.value)
        (new,) = place.iterdir()
        assert f"What was computed lies in {new}" in str(caught.value)
        assert set(content(new).values()) == {"computed"}
        assert len(content(new)) > 3


class TestCannotBeWritten:
    def test_a_disk_that_can_only_be_read(self, disk: Disk) -> None:
        place = disk("small", "size=1m")
        write(place / "result")
        disk("small", "ro")
        said = refused_before_the_work(place / "result")
        assert "the disk can only be read" in said
        assert content(place / "result") == FIRST

    @pytest.mark.parametrize(
        "mode", [pytest.param(0o555, id="to write"), pytest.param(0o000, id="to look into")]
    )
    def test_a_folder_without_the_right(self, tmp_path: Path, mode: int) -> None:
        """As another user, since the administrator may do everything."""
        place = tmp_path / "theirs"
        place.mkdir()
        write(place / "result")
        if not os.getuid():
            for parent in (tmp_path, *tmp_path.parents[:2]):
                parent.chmod(0o755)
        place.chmod(mode)
        code = (
            "import os, sys; from pathlib import Path\n"
            "from riskmap.results.swap import result_folder\n"
            "os.getuid() or os.setuid(65534)\n"
            "with result_folder(Path(sys.argv[1]), tell=print): sys.exit('the work began')"
        )
        command = [sys.executable, "-c", code, str(place / "result")]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        place.chmod(0o755)
        assert "cannot be written (you have no right to)" in done.stderr
        assert content(place / "result") == FIRST
        assert [path.name for path in place.iterdir()] == ["result"]


class TestMountPoint:
    def test_a_disk_of_its_own_is_refused_before_the_work(self, disk: Disk) -> None:
        place = disk("volume", "size=1m")
        said = refused_before_the_work(place)
        assert "is a disk of its own (a mount point)" in said
        assert f"Name a folder in it: {place / 'result'}." in said
        assert not [path.name for path in place.parent.iterdir() if path.name != "volume"]
        write(place / "result")
        assert content(place / "result") == FIRST

    def test_so_is_a_folder_shown_at_a_second_place(self, disk: Disk, tmp_path: Path) -> None:
        """On the same disk, where the folder's own looks give nothing away."""
        write(tmp_path / "first")
        place = disk("second", bind=tmp_path / "first")
        assert not os.path.ismount(place)
        assert "a mount point" in refused_before_the_work(place)
        assert content(place) == FIRST

    def test_a_disk_mounted_within_a_result_is_not_emptied(self, disk: Disk) -> None:
        """Whatever is done about it, its files stay where they are."""
        place = disk("place", "size=1m")
        write(place / "result")
        (place / "result" / "archive").mkdir()
        inner = disk("place/result/archive", "size=1m")
        (inner / "years.txt").write_text("of work")
        write(place / "result", "second")
        (kept,) = place.glob("result kept *")
        assert content(kept) == {"years.txt": "of work"}
        assert content(place / "result")["0.txt"] == "second 0"
