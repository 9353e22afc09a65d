"""Input files are known by their content; untouched ones are not read again."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest

from riskmap.keeping import inputs as inputs_module
from riskmap.keeping.inputs import HashMemory, setting, stated
from riskmap.keeping.store import Store


@pytest.fixture
def store(tmp_path: Path) -> Store:
    made = Store(tmp_path / "kept")
    made.open()
    return made


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the files that are read."""
    seen: list[str] = []
    real = inputs_module.sha256_of

    def watched(path: Path) -> str:
        seen.append(path.name)
        return real(path)

    monkeypatch.setattr(inputs_module, "sha256_of", watched)
    return seen


def old_file(path: Path, text: str, when: float = 1e9) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    os.utime(path, (when, when))
    return path


class TestHashes:
    def test_they_are_sha256(self, tmp_path: Path, store: Store) -> None:
        path = old_file(tmp_path / "a.csv", "x")
        assert HashMemory(store).sha256(path) == hashlib.sha256(b"x").hexdigest()

    def test_an_untouched_file_is_read_once(
        self, tmp_path: Path, store: Store, reads: list[str]
    ) -> None:
        path = old_file(tmp_path / "a.csv", "x")
        first = HashMemory(store)
        one = first.sha256(path)
        first.remember()
        assert HashMemory(store).sha256(path) == one
        assert reads == ["a.csv"]

    def test_a_touched_file_is_read_again_and_content_decides(
        self, tmp_path: Path, store: Store, reads: list[str]
    ) -> None:
        path = old_file(tmp_path / "a.csv", "x")
        memory = HashMemory(store)
        one = memory.sha256(path)
        old_file(path, "x", when=1.1e9)
        assert memory.sha256(path) == one
        old_file(path, "y", when=1.1e9)  # same size, same time
        assert memory.sha256(path) != one
        assert reads == ["a.csv"] * 3

    def test_a_file_just_written_is_not_trusted(
        self, tmp_path: Path, store: Store, reads: list[str]
    ) -> None:
        """It could change once more within one step of the file system's clock."""
        path = tmp_path / "a.csv"
        path.write_text("x", encoding="utf-8")
        memory = HashMemory(store)
        memory.sha256(path)
        memory.sha256(path)
        assert reads == ["a.csv"] * 2


@dataclass(frozen=True)
class Section:
    depth_m: float
    file: Path


class TestStating:
    def test_of_a_file_the_content_counts_and_not_the_place(self) -> None:
        said = [
            stated(Section(1.0, Path(place)), lambda path: {path.name: "hash"})
            for place in ("here/a.csv", "there/a.csv")
        ]
        assert said[0] == said[1] == {"depth_m": 1.0, "file": {"files": {"a.csv": "hash"}}}

    def test_plain_forms(self) -> None:
        def none(path: Path) -> dict[str, str]:
            raise AssertionError(path)

        assert stated((1, None, date(2020, 1, 2)), none) == [1, None, "2020-01-02"]
        assert stated({"a": (True,)}, none) == [["a", [True]]]
        with pytest.raises(TypeError, match="no plain form"):
            stated(object(), none)


def test_paths_to_settings(tmp_path: Path) -> None:
    @dataclass(frozen=True)
    class Region:
        rules: Section
        before: Path | None

    region = Region(Section(2.0, tmp_path), tmp_path)
    assert setting(region, "rules.depth_m") == 2.0
    assert setting(region, "before/run.json") == tmp_path / "run.json"
    assert setting(Region(region.rules, None), "before/run.json") is None
    with pytest.raises(AttributeError):
        setting(region, "rules.depht_m")
