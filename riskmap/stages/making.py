"""Brings what a run gives up to date: takes what is kept, does what is not, keeps what it did."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from riskmap.contract.chunks import crew, one_thread
from riskmap.contract.errors import OutputError
from riskmap.contract.versions import code_version, package_versions
from riskmap.keeping.inputs import HashMemory, setting, stated
from riskmap.keeping.store import FOLDER, Entry, Store, key_of, sha256_of
from riskmap.keeping.took import Took
from riskmap.keeping.values import read_value, write_value
from riskmap.region.sections import Region
from riskmap.stages.county import UndeclaredError, county_of
from riskmap.stages.input_files import InputFile, behind, hash_inputs, require_unchanged
from riskmap.stages.progress import LONG_S, Progress, duration
from riskmap.stages.result import Result
from riskmap.stages.stage import Output, RunFacts, Stage, needed_for

FILES: Final = "files"
"""Folder of an entry in which an output's files lie; what outputs give begins with it."""


@dataclass(frozen=True)
class Made:
    """One thing that a stage gave: the entry that holds it."""

    entry: Entry
    name: str

    @property
    def content(self) -> str:
        """Hash of what it is: the same content has the same, whatever made it."""
        return self.entry.things[self.name]

    def read(self) -> Any:
        """Read it: the value, or the files written by their path in the result folder."""
        if not self.name.startswith(FILES):
            return read_value(self.entry.folder, self.name)
        return {name: self.entry.folder / FILES / name for name in self.files}

    @property
    def files(self) -> dict[str, str]:
        """Path in the result folder -> SHA-256, of the files that an output wrote."""
        within = f"{FILES}/"
        return {
            name.removeprefix(within): digest
            for name, digest in sorted(self.entry.files.items())
            if name.startswith(within)
        }


class Things(Mapping[str, Any]):
    """What stages gave, by name, each read when it is used.

    Parameters
    ----------
    made
        What there is.
    declared
        Names that may be used; None for all.
    seen
        Values at hand, by the hash of their content.
    make
        Makes a thing that there is not yet.
    """

    def __init__(
        self,
        made: Mapping[str, Made],
        *,
        declared: Collection[str] | None = None,
        seen: dict[str, Any] | None = None,
        make: Callable[[str], None] | None = None,
    ) -> None:
        self._made, self._declared, self._make = made, declared, make
        self._seen = {} if seen is None else seen

    def __getitem__(self, name: str) -> Any:
        if self._declared is not None and name not in self._declared:
            raise UndeclaredError(f"{name!r} is read, but not declared as needed")
        if name not in self._made and self._make is not None:
            self._make(name)
        made = self._made[name]
        if made.content in self._seen:
            return self._seen[made.content]
        value = self._seen[made.content] = made.read()
        return value

    def __iter__(self) -> Iterator[str]:
        return iter(self._made if self._declared is None else self._declared)

    def __len__(self) -> int:
        return sum(1 for _ in self)


@dataclass
class Making:
    """A run at work on a region: what is made so far, and what is kept where.

    ``seen`` holds values at hand; ``keys`` the keys of all entries used; ``fresh`` names the stages
    that were done again; ``seconds`` what each took when it was done.
    """

    region: Region
    stages: Sequence[Stage]
    store: Store
    files: Mapping[str, InputFile]
    progress: Progress
    made: dict[str, Made] = field(default_factory=dict)
    seen: dict[str, Any] = field(default_factory=dict)
    keys: set[str] = field(default_factory=set)
    fresh: list[str] = field(default_factory=list)
    seconds: dict[str, float] = field(default_factory=dict)

    def bring_up(self, *things: str) -> None:
        """Make these things and all behind them, as far as they are not kept.

        Raises
        ------
        RiskmapError
            Of the first stage that cannot do its work.
        """
        waiting = [
            stage
            for stage in needed_for(things, self.stages)
            if not all(name in self.made for name in stage.gives)
        ]
        took = Took(self.store, self.region.path.name)
        self._foretell(waiting, took)
        with crew(self.region.run.workers, bar=not self.progress.quiet), took.noted():
            for stage in waiting:
                key = self.key(stage)
                entry = self.store.find(key)
                if entry is None:
                    with self.progress.stage(stage.name, took.seconds.get(stage.name, 0.0)):
                        entry = self._do(stage, key)
                    self.fresh.append(stage.name)
                    took.seconds[stage.name] = entry.seconds
                self._take(stage, key, entry)
        require_unchanged(self.files)

    def _foretell(self, waiting: Sequence[Stage], took: Took) -> None:
        """Say how long the work will take, where earlier runs tell and it is long."""
        known = replace(self, made=dict(self.made), keys=set(), seconds={})
        left = 0.0
        for stage in waiting:
            ready = all(name in known.made for name in stage.all_needs)
            key = known.key(stage) if ready else ""
            entry = self.store.find(key) if ready else None
            if entry is not None:
                known._take(stage, key, entry)
            elif stage.name in took.seconds:
                left += took.seconds[stage.name]
            else:
                return
        if left >= LONG_S:
            self.progress.say(f"About {duration(left)}, by what the steps to do took before.")

    def key(self, stage: Stage) -> str:
        """Key of what a stage gives now: its code, its settings, and what it is made from."""
        return key_of(
            stage=[stage.name, stage.work, list(stage.gives), dict(stage.fixed)],
            code=code_version(stage.module),
            packages=package_versions(),
            settings={
                path: stated(setting(self.region, path), self._content) for path in stage.settings
            },
            needs={name: self.made[name].content for name in stage.all_needs},
        )

    def things(self, stage: Stage | None = None) -> Things:
        """All things, made when they are used; or those that a stage declares."""
        if stage is None:
            return Things(self.made, seen=self.seen, make=self.bring_up)
        return Things(self.made, declared=stage.all_needs, seen=self.seen)

    def _content(self, path: Path) -> dict[str, str]:
        return {name: file.sha256 for name, file in behind(self.files, path).items()}

    def _take(self, stage: Stage, key: str, entry: Entry) -> None:
        self.keys.add(key)
        self.seconds[stage.name] = entry.seconds
        for name in stage.gives:
            self.made[name] = Made(entry, name)

    def lay_out(self, output: Output, folder: Path) -> None:
        """Copy what an output wrote into the result folder; what was kept damaged is made again.

        A copy, not a second name of the same file: whoever edits the result must not edit what is
        kept.
        """
        for _ in range(2):
            (name,) = output.gives
            made = self.made[name]
            if all(
                _copied(made.entry.folder / FILES / path, folder / path) == digest
                for path, digest in made.files.items()
            ):
                return
            self.store.drop(self.key(output))
            del self.made[name]
            self.bring_up(name)
        raise OutputError(f"{self.store.folder}: its disk gives back other bytes than it got.")

    def _do(self, stage: Stage, key: str) -> Entry:
        files = files_of(stage, self.region, self.files)
        try:
            return self._write(stage, key) if isinstance(stage, Output) else self._give(stage, key)
        except Exception:
            require_unchanged(files)  # a file that changed under its reader is the cause to name
            raise

    def _write(self, output: Output, key: str) -> Entry:
        def write(folder: Path) -> dict[str, list[Path]]:
            place = folder / FILES
            place.mkdir()
            write_output(output, self.region, self.things(output), place)
            return {output.gives[0]: [path for path in place.rglob("*") if path.is_file()]}

        return self.store.add(key, output.name, write)

    def _give(self, stage: Stage, key: str) -> Entry:
        started = time.perf_counter()
        given = call(stage, self.region, self.things(stage))
        require_unchanged(files_of(stage, self.region, self.files))

        def write(folder: Path) -> dict[str, list[Path]]:
            values = zip(stage.gives, given, strict=True)
            return {name: write_value(value, folder, name) for name, value in values}

        entry = self.store.add(key, stage.name, write, started=started)
        for name, value in zip(stage.gives, given, strict=True):
            self.seen[entry.things[name]] = value
        return entry


def begin(
    region: Region, stages: Sequence[Stage], progress: Progress, *, kept: Path | None = None
) -> Making:
    """Open what is kept of a region; nothing is done yet.

    Parameters
    ----------
    region
        As its file declares it.
    stages
        Stages in the order in which they run.
    progress
        Gets the messages.
    kept
        Folder for what is kept; None: :data:`riskmap.keeping.store.FOLDER` next to the region file.
    """
    folder = region.path.parent
    store = Store(kept or folder / FOLDER)
    message = store.open()
    if message:
        progress.tell(message)
    memory = HashMemory(store)
    with progress.stage("hash the files"):
        files = hash_inputs(region, memory)
    memory.remember()
    return Making(region, stages, store, files, progress)


def files_of(
    stage: Stage, region: Region, files: Mapping[str, InputFile]
) -> Mapping[str, InputFile]:
    """Those of a region's files that the settings of a stage name.

    Parameters
    ----------
    stage
        Declares the settings it reads.
    region
        Gives their values.
    files
        Every input file by its name, with its hash.
    """
    found: dict[str, InputFile] = {}

    def content(path: Path) -> dict[str, str]:
        found.update(behind(files, path))
        return {}

    for path in stage.settings:
        stated(setting(region, path), content)
    return found


def call(stage: Stage, region: Region, things: Mapping[str, Any]) -> tuple[Any, ...]:
    """Do a stage's work; returns what it gives, in order.

    Parameters
    ----------
    stage
        Stage to do.
    region
        Gives the settings and sources.
    things
        What earlier stages gave, by name; at least all that the stage needs.
    """
    county, work = county_of(region, things, stage.layers), stage.function()
    with one_thread():
        given = work(county, *(things[name] for name in stage.needs), **stage.fixed)
    return given if len(stage.gives) > 1 else (given,)


def write_output(
    output: Output,
    region: Region,
    things: Mapping[str, Any],
    folder: Path,
    facts: RunFacts | None = None,
) -> None:
    """Write an output's files.

    Parameters
    ----------
    output
        Declares its function, layers and files.
    region
        As its file declares it.
    things
        What stages gave, by name; at least all that the output needs.
    folder
        Where to write.
    facts
        Of the run, for an output that every run writes again; None for others.
    """
    result = Result(region, things, output.layers)
    write = output.function()
    with one_thread():
        write(folder, result, *([facts] if facts else []), **output.fixed)


def _copied(source: Path, target: Path) -> str:
    """Copy a file, making its folder; returns the hash of the copy."""
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(source, target)
    return sha256_of(target)
