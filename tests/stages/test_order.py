"""The list of stages: needs given earlier, nothing read that is not declared, nothing declared
that no run reads; what is read back is what was made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from types import MethodType
from typing import Any

import pandas as pd
import pytest

from riskmap.keeping.inputs import setting
from riskmap.region.sections import Region
from riskmap.stages import making as making_module
from riskmap.stages.county import UndeclaredError, county_of
from riskmap.stages.making import Making, Things, begin, call
from riskmap.stages.order import STAGES
from riskmap.stages.progress import Progress
from riskmap.stages.result import Result
from riskmap.stages.stage import CUTTING, Stage, faults, needed_for

ALL = tuple(name for stage in STAGES for name in stage.gives)


def test_every_need_is_given_earlier_and_nothing_twice() -> None:
    assert list(faults(STAGES)) == []


def test_a_need_given_later_would_be_seen() -> None:
    assert list(faults(STAGES[::-1]))


def test_every_setting_declared_is_a_setting(region: Region) -> None:
    for stage in STAGES:
        for path in stage.settings:
            setting(region, path)


def test_names_are_plain_words() -> None:
    names = [stage.name for stage in STAGES]
    assert len(set(names)) == len(names)
    assert all(name == name.lower() and "_" not in name for name in names)


def test_a_result_shows_only_what_stages_give() -> None:
    assert set(Result.__annotations__) <= set(ALL)


def test_every_thing_is_needed_or_shown() -> None:
    """A thing that no later stage needs and no result shows would be made for nothing."""
    needed = {name for stage in STAGES for name in stage.all_needs}
    layers = {name for name in ALL if name.startswith("layer_")}
    assert set(ALL) - needed - layers <= set(Result.__annotations__)


class Watch:
    """Writes down which settings are read, by dotted path."""

    def __init__(self) -> None:
        self.read: set[str] = set()

    def on(self, value: Any, path: str = "") -> Any:
        """Return a twin of a settings object that tells of every attribute read."""
        watch = self

        class Twin(type(value)):  # type: ignore[misc]
            def __getattribute__(self, name: str) -> Any:
                found = object.__getattribute__(value, name)
                if name.startswith("__"):
                    return found
                if callable(found):
                    mine = getattr(found, "__self__", None) is value
                    return MethodType(found.__func__, self) if mine else found
                if name not in names:
                    if isinstance(getattr(type(value), name, None), property):
                        watch.read.add(f"{path}{name}")
                    return found
                whole = f"{path}{name}"
                if is_dataclass(found):
                    return watch.on(found, f"{whole}.")
                watch.read.add(whole)
                return watch.mapping(found, whole) if isinstance(found, Mapping) else found

        Twin.__module__, Twin.__qualname__ = type(value).__module__, type(value).__qualname__
        names = {field.name for field in fields(value)}
        return object.__new__(Twin)

    def mapping(self, value: Mapping[str, Any], path: str) -> Mapping[str, Any]:
        """Return a twin of a mapping whose entries are told by name."""
        watch = self

        class Twin(dict):  # type: ignore[type-arg]
            def __getitem__(self, name: str) -> Any:
                watch.read.add(f"{path}.{name}")
                return dict.__getitem__(self, name)

            def get(self, name: str, default: Any = None) -> Any:
                watch.read.add(f"{path}.{name}")
                return dict.get(self, name, default)

            def __iter__(self) -> Any:
                watch.read.add(path)
                return dict.__iter__(self)

            def values(self) -> Any:
                watch.read.add(path)
                return dict.values(self)

        self.read.discard(path)  # naming the sources reads none
        return Twin(value)


def covered(read: str, declared: tuple[str, ...]) -> bool:
    plain = [path.partition("/")[0] for path in declared]
    return any(read == path or read.startswith(f"{path}.") for path in plain)


@pytest.fixture(scope="module")
def reads(region: Region, tmp_path_factory: pytest.TempPathFactory) -> dict[str, set[str]]:
    """Settings that each stage read, over runs that go every way the settings open."""
    seen: dict[str, set[str]] = {stage.name: set() for stage in STAGES}
    folder = tmp_path_factory.mktemp("watched")
    learned = replace(region.learning, use="compare")
    whole = replace(region, learning=learned)

    def watched(stage: Stage, *given: Any) -> tuple[Any, ...]:
        watch.read.clear()
        made = call(stage, *given)
        seen[stage.name] |= watch.read
        return made

    watch = Watch()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(making_module, "call", watched)
        patch.setattr(
            making_module,
            "county_of",
            lambda region, *given: replace(county_of(region, *given), region=watch.on(region)),
        )
        begin(whole, STAGES, Progress(), kept=folder).bring_up(*ALL)
    return seen


class TestSettings:
    @pytest.mark.parametrize("stage", STAGES, ids=lambda stage: stage.name)
    def test_a_stage_reads_only_what_it_declares(
        self, stage: Stage, reads: dict[str, set[str]]
    ) -> None:
        unsaid = {read for read in reads[stage.name] if not covered(read, stage.settings)}
        assert unsaid - set(CUTTING) == set()

    @pytest.mark.parametrize("stage", STAGES, ids=lambda stage: stage.name)
    def test_a_stage_declares_only_what_it_reads(
        self, stage: Stage, reads: dict[str, set[str]]
    ) -> None:
        idle = {p for p in stage.settings if not any(covered(r, (p,)) for r in reads[stage.name])}
        assert idle - NOT_IN_THIS_COUNTY.get(stage.name, set()) == set()

    def test_the_watch_sees_reads_at_any_depth(self, region: Region) -> None:
        watch = Watch()
        twin = watch.on(region)
        assert twin.rules.horizon_yr == region.rules.horizon_yr
        assert twin.sources["parcels"] == region.sources["parcels"]
        assert isinstance(twin, Region)
        assert watch.read == {"rules.horizon_yr", "sources.parcels"}


NOT_IN_THIS_COUNTY = {
    "read inspections": {"county.date"},
    "read the number by neighborhood": {"fairness"},
    "follow what was learned": {
        "lists.inspections", "run.seed", "county.units", "learning",
        "lists.aim",
    },
    "infer service": {"run.seed", "service"},
    "compare with the earlier run": {"county.date", "lists.inspections", "rules", "failure"},
}  # fmt: skip
"""Settings that are read only where learning ranks, service is open, visits are in an outcome log,
an earlier run is named."""


class TestWhatIsNotDeclared:
    def test_no_other_layer_can_be_read(self, assessed: Result) -> None:
        county = county_of(assessed.region, assessed.things, ("parcels",))
        assert list(county.tables) == ["parcels"]
        for ask in (
            lambda: county.tables.get("wells"),
            lambda: "wells" in county.tables,
            lambda: county.rasters.get("elevation"),
        ):
            with pytest.raises(UndeclaredError):
                ask()

    def test_no_other_thing_can_be_read(self, assessed: Result) -> None:
        things = Things(assessed.things._made, declared=("parcels",))
        assert len(things["parcels"])
        with pytest.raises(UndeclaredError):
            things["model"]

    def test_a_layer_that_the_region_does_not_give_is_not_there(self, assessed: Result) -> None:
        county = county_of(assessed.region, assessed.things, ("parcels", "wellhead_areas"))
        assert county.tables.get("wellhead_areas") is None
        assert "wellhead_areas" not in county.tables


def changed(region: Region, changes: Mapping[str, Any]) -> Region:
    """Return the region with settings, named ``section.name``, changed."""
    for path, value in changes.items():
        section, _, name = path.partition(".")
        region = replace(region, **{section: replace(getattr(region, section), **{name: value})})
    return region


def contents(making: Making) -> dict[str, str]:
    return {name: made.content for name, made in making.made.items()}


def made_of(region: Region, folder: Path, *, at_hand: bool = True) -> Making:
    making = begin(region, STAGES, Progress(), kept=folder)
    if not at_hand:
        making.seen = _Forgetful()
    making.bring_up(*ALL)
    return making


@pytest.fixture(scope="module")
def first(region: Region, tmp_path_factory: pytest.TempPathFactory) -> Making:
    """Everything made from nothing."""
    return made_of(region, tmp_path_factory.mktemp("first"))


class TestWhatIsKept:
    def test_things_read_back_make_what_things_at_hand_make(
        self, first: Making, region: Region, tmp_path: Path
    ) -> None:
        """A run that reads every thing from its file gives the same bytes as one that hands on."""
        assert contents(made_of(region, tmp_path, at_hand=False)) == contents(first)

    @pytest.mark.parametrize(("workers", "chunk"), [(1, 50), (2, 333), (3, 100_000)])
    def test_neither_workers_nor_chunks_change_a_byte(
        self, first: Making, region: Region, tmp_path: Path, workers: int, chunk: int
    ) -> None:
        other = changed(region, {"run.workers": workers, "run.chunk_parcels": chunk})
        assert contents(made_of(other, tmp_path)) == contents(first)

    def test_no_pickle_is_kept(self, first: Making) -> None:
        kinds = {path.suffix for path in first.store.folder.rglob("*") if path.is_file()}
        assert kinds <= {".json", ".npz", ".parquet", ".txt", ".TAG", ""}

    def test_nothing_is_done_twice(self, first: Making, region: Region) -> None:
        again = made_of(region, first.store.folder)
        assert again.fresh == []
        assert contents(again) == contents(first)
        pd.testing.assert_frame_equal(
            pd.DataFrame(again.things()["parcels"]), pd.DataFrame(first.things()["parcels"])
        )

    @pytest.mark.parametrize(
        ("changes", "anew"),
        [
            ({"lists.letters": 3}, {"compare picks with need"}),
            ({"county.units": "si"}, {"score and rank", "draw zones, check wells"}),
            ({"run.draws": 32}, {"carry doubt"}),
            ({"run.chunk_parcels": 99, "run.workers": 1}, set()),
            ({"county.name": "Another County"}, set()),
        ],
    )
    def test_a_changed_setting_does_again_what_reads_it(
        self, first: Making, region: Region, changes: dict[str, Any], anew: set[str]
    ) -> None:
        again = made_of(changed(region, changes), first.store.folder)
        behind = {stage.name for stage in STAGES if stage.name in again.fresh}
        assert anew <= behind or not anew
        direct = {s.name for s in STAGES if any(covered(p, s.settings) for p in changes)}
        may = {s.name for s in STAGES if direct & {b.name for b in needed_for(s.gives, STAGES)}}
        assert behind <= may

    def test_a_killed_run_goes_on_where_it_stopped(self, region: Region, tmp_path: Path) -> None:
        """Whatever was kept before the stop is not done again."""
        begun = begin(region, STAGES, Progress(), kept=tmp_path)
        begun.bring_up("condition")
        assert any(stage.name in begun.fresh for stage in STAGES if "condition" in stage.gives)
        on = made_of(region, tmp_path)
        assert not set(on.fresh) & set(begun.fresh)
        assert "score and rank" in on.fresh

    def test_a_damaged_thing_is_made_again(self, first: Making, region: Region) -> None:
        entry = first.made["room"].entry
        (entry.folder / "room.json").write_text("{", encoding="utf-8")
        again = made_of(region, first.store.folder)
        assert again.fresh == ["find room on the lots"]
        assert contents(again) == contents(first)


class _Forgetful(dict):  # type: ignore[type-arg]
    """Values at hand that are forgotten at once."""

    def __setitem__(self, key: str, value: Any) -> None:
        pass
