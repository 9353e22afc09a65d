"""Hashes of the files read, and files that change or vanish meanwhile."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from riskmap.contract.errors import OutputError, SourceChangedError, SourceMissingError
from riskmap.region.read import read_region
from riskmap.region.sections import Region
from riskmap.stages.input_files import hash_inputs, refuse_inputs_inside, require_unchanged
from riskmap.stages.making import begin
from riskmap.stages.order import READING
from riskmap.stages.progress import Progress
from sample_region.make import make_county

REGION = """
[county]
name = "Nowhere"
state = "ZZ"
date = 2026-06-01
[layers.parcels]
file = "data/parcels.shp"
[layers.soil_survey]
file = "soils"
[layers.wells]
files = ["../one/wells.csv", "../two/wells.csv", "../two/more.csv"]
"""


@pytest.fixture
def region(tmp_path: Path) -> Region:
    home = tmp_path / "home"
    for name in (
        "home/data/parcels.shp",
        "home/data/parcels.dbf",
        "home/data/parcels.shp.xml",
        "home/data/other.dbf",
        "home/soils/ZZ001/tabular/comp.txt",
        "one/wells.csv",
        "two/wells.csv",
        "two/more.csv",
    ):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(name)
    (home / "region.toml").write_text(REGION)
    return read_region(home / "region.toml")


class TestHashes:
    def test_every_file_that_is_read_is_there_under_a_name_of_its_own(
        self, region: Region, tmp_path: Path
    ) -> None:
        files = hash_inputs(region)
        assert list(files) == sorted(files)
        assert set(files) == {
            "data/parcels.shp",
            "data/parcels.dbf",
            "data/parcels.shp.xml",
            "soils/ZZ001/tabular/comp.txt",
            "region.toml",
            "one/wells.csv",
            "two/wells.csv",
            "more.csv",
        }
        assert files["two/wells.csv"].path == (tmp_path / "two" / "wells.csv").resolve()
        for file in files.values():
            assert file.sha256 == hashlib.sha256(file.path.read_bytes()).hexdigest()

    def test_other_files_of_the_region_are_among_them(self, region: Region) -> None:
        home = region.path.parent
        (home / "last").mkdir()
        for name in ("model.toml", "words.toml", "standing.csv", "last/run.json"):
            (home / name).write_text("x")
        more = REGION.replace(
            "[layers.parcels]",
            '[model]\nfile = "model.toml"\n[lists]\nletter_texts = "words.toml"\n'
            '[fairness]\nstanding = "standing.csv"\n[run]\nbefore = "last"\n[layers.parcels]',
        )
        region.path.write_text(more)
        files = hash_inputs(read_region(region.path))
        assert {"model.toml", "words.toml", "standing.csv", "last/run.json"} <= set(files)

    def test_a_missing_file_is_left_to_its_reader(self, region: Region, tmp_path: Path) -> None:
        (tmp_path / "two" / "more.csv").unlink()
        assert "more.csv" not in hash_inputs(region)

    def test_a_region_file_that_was_changed_since_it_was_read(self, region: Region) -> None:
        region.path.write_text(REGION + "\n")
        with pytest.raises(SourceChangedError, match=r"region.toml: the file changed"):
            hash_inputs(region)

    def test_a_file_without_the_right_to_read(self, region: Region, tmp_path: Path) -> None:
        if not os.getuid():
            pytest.skip("the administrator may read everything")
        (tmp_path / "two" / "more.csv").chmod(0)
        with pytest.raises(SourceMissingError, match=r"more.csv.*no right to"):
            hash_inputs(region)


class TestUnchanged:
    def test_looked_at_and_copied_is_not_changed(self, region: Region, tmp_path: Path) -> None:
        files = hash_inputs(region)
        path = tmp_path / "two" / "more.csv"
        path.write_bytes(path.read_bytes())
        path.chmod(0o600)
        os.utime(path, (0, 0))
        require_unchanged(files)

    def test_a_changed_file_is_named(self, region: Region, tmp_path: Path) -> None:
        files = hash_inputs(region)
        (tmp_path / "two" / "more.csv").write_text("two/MORE.csv")
        with pytest.raises(SourceChangedError, match=r"more.csv: the file changed while"):
            require_unchanged(files)

    def test_the_same_size_and_time_do_not_hide_a_change(
        self, region: Region, tmp_path: Path
    ) -> None:
        files = hash_inputs(region)
        path = tmp_path / "two" / "more.csv"
        seen = path.stat()
        other = tmp_path / "other"
        other.write_text("two/MORE.csv")
        os.utime(other, ns=(seen.st_atime_ns, seen.st_mtime_ns))
        other.replace(path)
        assert (path.stat().st_size, path.stat().st_mtime_ns) == (seen.st_size, seen.st_mtime_ns)
        with pytest.raises(SourceChangedError, match=r"more.csv"):
            require_unchanged(files)

    def test_a_file_that_vanished_is_named(self, region: Region, tmp_path: Path) -> None:
        files = hash_inputs(region)
        (tmp_path / "two" / "more.csv").unlink()
        with pytest.raises(SourceChangedError, match=r"more.csv: the file cannot be read any more"):
            require_unchanged(files)


class TestInsideTheResult:
    @pytest.mark.parametrize("place", ["home", "two", "home/soils/ZZ001", "home/data"])
    def test_a_result_never_takes_the_place_of_what_is_read(
        self, region: Region, tmp_path: Path, place: str
    ) -> None:
        with pytest.raises(OutputError, match="which the run reads"):
            refuse_inputs_inside(region, tmp_path / place)

    def test_beside_them_it_may_lie(self, region: Region, tmp_path: Path) -> None:
        refuse_inputs_inside(region, tmp_path / "home" / "result")


@pytest.fixture(scope="module")
def county(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("county")
    make_county(folder, parcels=100)
    return folder


class Meddler(Progress):
    """Does something to a file when a stage begins."""

    def __init__(self, stage: str, path: Path, text: str | None) -> None:
        super().__init__()
        self.when, self.path, self.text = stage, path, text

    @contextmanager
    def stage(self, name: str, likely_s: float = 0.0) -> Iterator[None]:
        if name == self.when and self.text is None:
            self.path.unlink()
        elif name == self.when:
            self.path.write_text(str(self.text))
        with super().stage(name, likely_s):
            yield


class TestWhileACountyIsRead:
    @pytest.mark.parametrize(
        ("stage", "text"),
        [
            pytest.param("read wells", "a,b\n1,2\n", id="changed after it was read"),
            pytest.param("read permits", "a,b\n1,2\n", id="changed before: its reader fails"),
            pytest.param("read permits", None, id="vanished before it is read"),
            pytest.param("read wells", None, id="vanished after it was read"),
        ],
    )
    def test_the_file_is_named(
        self, county: Path, tmp_path: Path, stage: str, text: str | None
    ) -> None:
        path = county / "permits" / "permits.csv"
        before = path.read_bytes()
        region = read_region(county / "region.toml")
        making = begin(region, READING, Meddler(stage, path, text), kept=tmp_path)
        try:
            with pytest.raises(SourceChangedError, match=r"^permits/permits.csv: the file "):
                making.bring_up("data_quality")
        finally:
            path.write_bytes(before)
