"""Outputs: declared once, nothing read or written that is not declared, kept and copied safely."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from riskmap.contract.versions import package_versions
from riskmap.keeping.inputs import setting
from riskmap.publish.outputs import LAST, OUTPUTS, PUBLISHING
from riskmap.publish.publishing import publish
from riskmap.region.read import settings_in_force
from riskmap.region.sections import Region
from riskmap.stages import making as making_module
from riskmap.stages.county import SOIL
from riskmap.stages.making import Making, begin, write_output
from riskmap.stages.order import STAGES
from riskmap.stages.progress import Progress
from riskmap.stages.stage import CUTTING, File, Output, Stage, faults
from tests.stages.test_order import Watch, changed, covered

STEPS: tuple[Stage, ...] = (*STAGES, *PUBLISHING)
KEPT = tuple(output for output in OUTPUTS if not output.each_run)


class TestDeclarations:
    def test_every_need_is_given_earlier_and_nothing_twice(self) -> None:
        assert list(faults((*STEPS, *LAST))) == []

    def test_every_setting_declared_is_a_setting(self, region: Region) -> None:
        for output in OUTPUTS:
            for path in output.settings:
                setting(region, path)

    def test_no_file_belongs_to_two_outputs(self) -> None:
        plain = [file.path for output in OUTPUTS for file in output.files if "*" not in file.path]
        assert len(set(plain)) == len(plain)
        for path in plain:
            assert len([o for o in OUTPUTS if any(f.holds(path) for f in o.files)]) == 1

    def test_what_is_linked_is_one_file_with_words(self) -> None:
        for output in OUTPUTS:
            assert output.files
            for file in output.files:
                assert file.title
                assert file.meaning
                assert not (file.linked and "*" in file.path)


class Asked(Mapping[str, Any]):
    """Things that write down which of them are read."""

    def __init__(self, things: Mapping[str, Any]) -> None:
        self.things, self.names = things, set[str]()

    def __getitem__(self, name: str) -> Any:
        self.names.add(name)
        return self.things[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.things)

    def __len__(self) -> int:
        return len(self.things)


def opened(region: Region, folder: Path) -> Making:
    return begin(region, STEPS, Progress(), kept=folder)


def published(region: Region, store: Path, folder: Path) -> Making:
    folder.mkdir(parents=True)
    making = opened(region, store)
    publish(folder, making)
    return making


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("kept")


@pytest.fixture(scope="module")
def watched(region: Region, store: Path, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A whole result, its run, and the settings and the things that each output read."""
    seen: dict[str, set[str]] = {}
    needed: dict[str, set[str]] = {}

    def watching(output: Output, given: Region, things: Any, *rest: Any) -> None:
        watch = Watch()
        asked = Asked(things)
        write_output(output, watch.on(given), asked, *rest)
        seen[output.name] = watch.read
        needed[output.name] = asked.names

    folder = tmp_path_factory.mktemp("result") / "first"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(making_module, "write_output", watching)
        making = published(region, store, folder)
    return folder, making, seen, needed


@pytest.fixture(scope="module")
def first(watched: Any) -> Path:
    return watched[0]  # type: ignore[no-any-return]


def files(folder: Path) -> dict[str, bytes]:
    every = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in every}


class TestFiles:
    def test_every_file_belongs_to_a_declared_output(self, first: Path) -> None:
        declared = [file for output in OUTPUTS for file in output.files]
        assert [n for n in files(first) if not any(file.holds(n) for file in declared)] == []

    def test_every_declared_file_is_written_or_the_record_says_why_not(self, first: Path) -> None:
        said = json.loads((first / "run.json").read_text("utf-8"))["outputs"]
        names = files(first)
        for output in OUTPUTS:
            for file in output.files:
                there = any(file.holds(name) for name in names)
                assert there or file.unless, file.path
                if not output.each_run:
                    assert bool(said[file.path]["files"]) == there
                    assert there or said[file.path]["not_written"] == file.unless

    def test_the_front_page_links_what_is_declared(self, first: Path) -> None:
        page = (first / "index.html").read_text("utf-8")
        for output in OUTPUTS:
            for file in output.files:
                wanted = file.linked and (first / file.path).is_file()
                assert (f'<td><a href="{file.path}">' in page) == wanted, file.path

    @pytest.mark.parametrize(
        ("changes", "missing"),
        [
            ({"lists.letters": 0}, "letters/*"),
            ({"lists.stops": 0}, "sheets/*"),
            ({"public.threshold": 0}, "public/**"),
        ],
    )
    def test_what_a_setting_turns_off_is_not_written(
        self, first: Path, region: Region, store: Path, tmp_path: Path,
        changes: dict[str, Any], missing: str,
    ) -> None:  # fmt: skip
        published(changed(region, changes), store, tmp_path / "r")
        gone = {name for name in files(first) if File(missing, "", "").holds(name)}
        assert gone
        assert set(files(first)) - set(files(tmp_path / "r")) == gone


SOURCES = ("sources", "outcomes")
"""A county names its sources, the outcome log among them, which reads none of them."""


class TestSettings:
    @pytest.mark.parametrize("output", KEPT, ids=lambda output: output.name)
    def test_an_output_reads_only_what_it_declares(self, output: Output, watched: Any) -> None:
        read = watched[2][output.name]
        assert {r for r in read if not covered(r, output.settings)} - {*CUTTING, *SOURCES} == set()

    @pytest.mark.parametrize("output", KEPT, ids=lambda output: output.name)
    def test_an_output_declares_only_what_it_reads(self, output: Output, watched: Any) -> None:
        read = watched[2][output.name]
        assert {p for p in output.settings if not any(covered(r, (p,)) for r in read)} == set()

    @pytest.mark.parametrize("output", KEPT, ids=lambda output: output.name)
    def test_an_output_needs_only_what_it_reads(self, output: Output, watched: Any) -> None:
        """What it may read is refused beyond its needs; what it needs it should read."""
        given = {*watched[1].region.sources, *SOIL}
        layers = {f"layer_{name}" for name in output.layers if name in given}
        idle = {*output.needs, *layers} - watched[3][output.name]
        assert idle - NOT_IN_THIS_COUNTY.get(output.name, set()) == set()


NOT_IN_THIS_COUNTY = {"write the learned reasons": {"parcels"}}
"""Needs that are read only where learning ranks."""


class TestWhatIsKept:
    def test_a_second_run_writes_the_same_and_does_nothing_anew(
        self, first: Path, region: Region, store: Path, tmp_path: Path
    ) -> None:
        again = published(region, store, tmp_path / "r")
        assert again.fresh == []
        same, other = files(first), files(tmp_path / "r")
        assert {n: c for n, c in other.items() if n != "run.json"} == {
            n: c for n, c in same.items() if n != "run.json"
        }

    @pytest.mark.parametrize(
        ("changes", "anew"),
        [
            ({"lists.site_last_line": "X NY 123"}, {"write the letters", "write the mailing list"}),
            ({"lists.stops": 5}, {"write the day sheets"}),
            ({"public.cell_m": 900.0}, {"write the public edition"}),
            ({"map.base_map_credit": "x"}, {"write the map"}),
            ({"county.contact": "x"}, {
                "write the public edition", "write the report", "write the day sheets",
                "write the letters", "write the metadata",
            }),
        ],
    )  # fmt: skip
    @pytest.mark.usefixtures("first")
    def test_a_changed_setting_writes_again_what_reads_it(
        self, region: Region, store: Path, tmp_path: Path,
        changes: dict[str, Any], anew: set[str],
    ) -> None:  # fmt: skip
        assert set(published(changed(region, changes), store, tmp_path / "r").fresh) == anew

    def test_changed_letter_texts_write_only_the_letters_again(
        self, first: Path, region: Region, tmp_path: Path, store: Path
    ) -> None:
        """And what bears the name of the run, in which the texts are: the lists and the sheets."""
        own = tmp_path / "own"
        own.mkdir()
        for code in ("en", "es"):
            name = f"letter_{code}.toml"
            (own / name).write_bytes((first / "letters" / name).read_bytes())
        worded = changed(region, {"lists.letter_texts": str(own)})
        listed = {"list the files read", "write the inspection list", "write the metadata"}
        listed |= {"write the day sheets"}
        assert set(published(worded, store, tmp_path / "a").fresh) == {"write the letters", *listed}
        text = (own / "letter_en.toml").read_text(encoding="utf-8")
        edited = text.replace("Dear neighbor,", "Good morning,")
        assert edited != text
        (own / "letter_en.toml").write_text(edited, encoding="utf-8")
        again = published(worded, store, tmp_path / "b")
        assert set(again.fresh) == {"write the letters", *listed}
        assert b"Good morning," in files(tmp_path / "b")["letters/mail_merge.csv"]

    @pytest.mark.usefixtures("first")
    def test_a_killed_run_goes_on_with_the_output_it_was_at(
        self, region: Region, store: Path, tmp_path: Path
    ) -> None:
        """Whatever was kept before the stop is not written again."""
        stopped = changed(region, {"county.name": "Stopped County"})

        def killed(output: Output, *rest: Any) -> None:
            write_output(output, *rest)
            if output.name == "write the report":
                raise KeyboardInterrupt

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(making_module, "write_output", killed)
            with pytest.raises(KeyboardInterrupt):
                published(stopped, store, tmp_path / "a")
        assert files(tmp_path / "a") == {}
        on = published(stopped, store, tmp_path / "b").fresh
        assert on[0] == "write the report"
        assert "write the map" not in on
        assert "write the letters" in on

    @pytest.mark.parametrize("edit", ["in place", "replaced", "deleted", "moded"])
    def test_an_edited_result_harms_nothing_that_is_kept(
        self, first: Path, region: Region, store: Path, tmp_path: Path, edit: str
    ) -> None:
        published(region, store, tmp_path / "a")
        path = tmp_path / "a" / "lists" / "inspections.csv"
        if edit == "in place":
            with path.open("r+b") as file:
                file.write(b"EDITED")
        elif edit == "replaced":
            path.write_text("EDITED")
        elif edit == "moded":
            path.chmod(0o600)
        else:
            path.unlink()
        assert published(region, store, tmp_path / "b").fresh == []
        again = files(tmp_path / "b")
        assert again["lists/inspections.csv"] == files(first)["lists/inspections.csv"]

    def test_what_was_damaged_in_the_store_is_written_again(
        self, first: Path, region: Region, store: Path, tmp_path: Path
    ) -> None:
        """The same number of other bytes: only the hash tells."""
        making = opened(region, store)
        making.bring_up("files_mailing")
        kept = making.made["files_mailing"].read()["lists/mailing.csv"]
        kept.write_bytes(b"X" * kept.stat().st_size)
        again = published(region, store, tmp_path / "r")
        assert again.fresh == ["write the mailing list"]
        assert files(tmp_path / "r")["lists/mailing.csv"] == files(first)["lists/mailing.csv"]

    @pytest.mark.usefixtures("first")
    def test_a_failing_writer_leaves_nothing(
        self, region: Region, store: Path, tmp_path: Path
    ) -> None:
        def failing(output: Output, region: Region, things: Any, folder: Path, *_: Any) -> None:
            (folder / "half").write_text("half")
            raise RuntimeError(output.name)

        other = changed(region, {"lists.stops": 7})
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(making_module, "write_output", failing)
            with pytest.raises(RuntimeError, match="day sheets"):
                published(other, store, tmp_path / "a")
        assert list((store / "new").iterdir()) == []
        assert published(other, store, tmp_path / "b").fresh == ["write the day sheets"]


class TestRunRecord:
    def test_it_names_every_declared_package(self, first: Path, repo: Path) -> None:
        said = json.loads((first / "run.json").read_text("utf-8"))["versions"]
        project = tomllib.loads((repo / "pyproject.toml").read_text("utf-8"))["project"]
        names = {re.split(r"[^\w.-]", text, maxsplit=1)[0] for text in project["dependencies"]}
        assert {"python", "riskmap", *names} <= set(said)
        assert said == package_versions()

    def test_it_holds_every_setting_in_force(self, first: Path, region: Region) -> None:
        said = json.loads((first / "run.json").read_text("utf-8"))["settings"]
        plain = json.loads(json.dumps(settings_in_force(region), default=str))
        assert said["in_force"] == plain
        assert set(said["layers"]) == set(region.sources)
        parcels = said["layers"]["parcels"]
        assert parcels["files"] == ["parcels/parcels.shp"]
        assert parcels["columns"]["parcel_id"]["column"] == "PIN"


def test_a_path_is_held_by_its_pattern() -> None:
    assert not File("styles/*.sld", "", "").holds("styles/more/a.sld")
