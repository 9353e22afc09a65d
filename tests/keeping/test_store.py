"""The folder of kept results: whole entries only, whoever writes at the same time or is killed."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from riskmap.contract.errors import OutputError
from riskmap.keeping import store as store_module
from riskmap.keeping.store import Store, key_of
from tests.damage.outcomes import cases
from tests.fuzz.blows import KINDS, strike
from tests.fuzz.damage import Blow


@pytest.fixture
def store(tmp_path: Path) -> Store:
    made = Store(tmp_path / ".riskmap")
    assert made.open() == ""
    return made


def writing(text: str = "hello", name: str = "thing"):
    def write(folder: Path) -> dict[str, list[Path]]:
        (folder / f"{name}.txt").write_text(text, encoding="utf-8")
        return {name: [folder / f"{name}.txt"]}

    return write


class TestEntries:
    def test_what_was_added_is_found(self, store: Store) -> None:
        assert store.find("k") is None
        added = store.add("k", "a stage", writing())
        found = store.find("k")
        assert found == added
        assert (added.folder / "thing.txt").read_text("utf-8") == "hello"
        assert list((store.folder / "new").iterdir()) == []

    def test_the_same_content_has_the_same_hash_under_any_key(self, store: Store) -> None:
        one, two = (store.add(key, "s", writing()) for key in ("a", "b"))
        other = store.add("c", "s", writing("other"))
        assert one.things == two.things != other.things

    @pytest.mark.parametrize("harm", ["cut", "gone", "mark"])
    def test_a_damaged_entry_is_no_entry_and_is_replaced(self, store: Store, harm: str) -> None:
        entry = store.add("k", "s", writing())
        if harm == "cut":
            (entry.folder / "thing.txt").write_text("hel", encoding="utf-8")
        elif harm == "gone":
            (entry.folder / "thing.txt").unlink()
        else:
            (entry.folder / "entry.json").write_text('{"stage": "s"', encoding="utf-8")
        assert store.find("k") is None
        store.add("k", "s", writing("anew"))
        assert store.find("k") is not None
        assert (entry.folder / "thing.txt").read_text("utf-8") == "anew"

    def test_an_error_while_writing_leaves_nothing(self, store: Store) -> None:
        def fail(folder: Path) -> dict[str, list[Path]]:
            (folder / "half.txt").write_text("half", encoding="utf-8")
            raise ValueError("stop")

        with pytest.raises(ValueError, match="stop"):
            store.add("k", "s", fail)
        assert store.find("k") is None
        assert list((store.folder / "new").iterdir()) == []

    def test_a_full_disk_is_told_of(self, store: Store) -> None:
        def full(folder: Path) -> dict[str, list[Path]]:
            raise OSError(28, "No space left on device")

        with pytest.raises(OutputError, match="the disk is full"):
            store.add("k", "s", full)

    def test_many_at_once_add_the_same(self, store: Store) -> None:
        start = threading.Barrier(8)

        def add() -> None:
            start.wait()
            store.add("k", "s", writing())

        threads = [threading.Thread(target=add) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert store.find("k") is not None
        assert [path.name for path in (store.folder / "entries").iterdir()] == ["k"]


KILLED = """
import os, signal, sys
from pathlib import Path
from riskmap.keeping.store import Store
store = Store(Path(sys.argv[1]))
def write(folder):
    (folder / "thing.txt").write_text("half")
    os.kill(os.getpid(), signal.SIGKILL)
store.open()
store.add("k", "s", write)
"""


@pytest.mark.skipif(os.name == "nt", reason="kill -9 is a matter of POSIX systems")
def test_a_killed_writer_leaves_no_entry(store: Store) -> None:
    done = subprocess.run([sys.executable, "-c", KILLED, str(store.folder)], check=False)
    assert done.returncode == -9
    assert store.find("k") is None
    store.add("k", "s", writing())
    assert store.find("k") is not None
    left = list((store.folder / "new").iterdir())
    assert len(left) == 1
    os.utime(left[0], (0, 0))
    store.prune("region.toml", ["k"])
    assert list((store.folder / "new").iterdir()) == []


class TestFolder:
    def test_it_says_what_it_is_and_keeps_out_of_the_way(self, store: Store) -> None:
        assert "Safe to delete" in (store.folder / "README.txt").read_text("utf-8")
        assert (store.folder / "CACHEDIR.TAG").read_bytes().startswith(b"Signature: 8a477f597d28d")
        assert (store.folder / ".gitignore").read_text("utf-8") == "*\n"

    def test_where_nothing_can_be_written_results_live_as_long_as_the_program(
        self, tmp_path: Path
    ) -> None:
        (tmp_path / "file").write_text("", encoding="utf-8")
        store = Store(tmp_path / "file" / ".riskmap")
        assert "nothing is kept for later" in store.open()
        store.add("k", "s", writing())
        assert store.find("k") is not None
        place = store.folder
        del store
        assert not place.exists()

    def test_small_files_are_whole_or_the_old_ones(self, store: Store) -> None:
        store.write_json("runs.json", {"a": 1})
        assert store.read_json("runs.json") == {"a": 1}
        (store.folder / "runs.json").write_text("{", encoding="utf-8")
        assert store.read_json("runs.json") == {}

    def test_small_files_are_read_as_written_or_not_at_all(self, store: Store) -> None:
        """A hash or a number of seconds that damage has changed is never taken for one."""
        kept = {"parcels.shp": [[76689, 17960], "7f61d0", 1.5], "region.toml": {"read": 0.5}}
        store.write_json("inputs.json", kept)
        sound, refused = (store.folder / "inputs.json").read_bytes(), 0
        for case in cases(300):
            draw = random.Random(case)
            kind = draw.choice(KINDS["json"])
            blow = Blow(kind, draw.random(), draw.random(), draw.randrange(10**6))
            struck = strike({"inputs.json": sound}, "inputs.json", [blow]).files
            (store.folder / "inputs.json").write_bytes(struck.get("inputs.json", b""))
            found = store.read_json("inputs.json")
            assert found in ({}, kept), blow
            refused += found == {}
        assert refused > 200


class TestPruning:
    @pytest.fixture
    def old(self, store: Store) -> Store:
        """Five entries that nobody used for long."""
        for key in "abcde":
            store.add(key, "s", writing())
        return store

    @staticmethod
    def age(store: Store) -> None:
        for place in (store.folder / "entries").iterdir():
            os.utime(place, (0, 0))

    @staticmethod
    def left(store: Store) -> str:
        return "".join(sorted(path.name for path in (store.folder / "entries").iterdir()))

    def test_what_the_last_three_runs_used_stays(self, old: Store) -> None:
        for key in "abc":
            old.prune("region.toml", [key])
        self.age(old)
        old.prune("region.toml", ["d"])
        assert self.left(old) == "bcd"

    def test_other_region_files_count_apart(self, old: Store) -> None:
        for key in "abc":
            old.prune("one.toml", [key])
        self.age(old)
        for _ in range(9):
            old.prune("two.toml", ["d"])
        assert self.left(old) == "abcd"

    def test_what_was_used_lately_stays_for_a_run_at_work(self, old: Store) -> None:
        self.age(old)
        assert old.find("b") is not None
        old.prune("region.toml", ["a"])
        assert self.left(old) == "ab"

    def test_a_reader_sees_an_entry_whole_or_not_at_all(
        self, store: Store, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """Entries are found, or they are not, while another run clears and writes them."""
        monkeypatch.setattr(store_module, "IN_USE_S", -1.0)
        stop = time.monotonic() + 2.0

        def churn() -> None:
            while time.monotonic() < stop:
                store.add("k", "s", writing("x" * 10_000))
                store.prune("region.toml", [])

        other = threading.Thread(target=churn)
        other.start()
        seen = 0
        while time.monotonic() < stop:
            entry = store.find("k")
            seen += entry is not None
        other.join()
        assert seen


def test_keys_tell_everything_apart_and_nothing_else() -> None:
    assert key_of(a=1, b=[2.0]) == key_of(b=[2.0], a=1)
    keys = {key_of(a=1), key_of(a="1"), key_of(a=1.5), key_of(a=None), key_of(b=1), key_of(a=True)}
    assert len(keys) == 6
