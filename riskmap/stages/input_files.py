"""The files a run reads: hashed before they are read, and found unchanged afterwards."""

from __future__ import annotations

import glob
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from riskmap.contract.errors import OutputError, SourceChangedError, SourceMissingError, reason
from riskmap.keeping.inputs import HashMemory, state_of
from riskmap.keeping.store import sha256_of
from riskmap.region.sections import Region
from riskmap.stages.kept_backtest import FILE as BACKTEST


@dataclass(frozen=True)
class InputFile:
    """A file as it was when a run began: its SHA-256, and what the system then said of it."""

    path: Path
    sha256: str
    state: list[int]


def hash_inputs(region: Region, memory: HashMemory | None = None) -> dict[str, InputFile]:
    """Hash every file that `region` names and that is there.

    Parameters
    ----------
    region
        As opened.
    memory
        Knows the hashes of files that are untouched since another run.

    Returns
    -------
    dict
        By the path from the region file's folder, in order. Of a file outside that folder only as
        much of the path as separates it from the others, so that nothing depends on the machine.

    Raises
    ------
    SourceMissingError
        If a file may not be read.
    SourceChangedError
        If a file changes meanwhile, or the region file is not the one that was read.
    """
    folder = region.path.parent.resolve()
    names = _names({path.resolve() for path in _named(region) if path.is_file()}, folder)
    files = {name: _seen(names[name], name, memory) for name in sorted(names)}
    own = files.get(region.path.resolve().name)
    if own is None or own.sha256 != region.sha256:
        raise _changed(region.path.name)
    return files


def require_unchanged(files: Mapping[str, InputFile]) -> None:
    """Make sure that the bytes read are the bytes hashed.

    A file that the system calls untouched is not read again.

    Raises
    ------
    SourceChangedError
        Naming the first file that changed or vanished since :func:`hash_inputs`.
    """
    for name, file in files.items():
        try:
            same = state_of(file.path) == file.state or sha256_of(file.path) == file.sha256
        except OSError as error:
            raise _changed(name, f"cannot be read any more ({reason(error)})") from error
        if not same:
            raise _changed(name)


def behind(files: Mapping[str, InputFile], path: Path) -> dict[str, InputFile]:
    """Those of the files that a path means: a folder's, a shape with its companions."""
    places = {place.resolve() for place in _all_of([path])}
    return {name: file for name, file in files.items() if file.path in places}


def refuse_inputs_inside(region: Region, target: Path) -> None:
    """Refuse a result folder that holds what the run reads: the result would take its place.

    Raises
    ------
    OutputError
        Naming a file that lies in `target`.
    """
    target = target.resolve()
    for path in _named(region, earlier=False):
        if path.resolve().is_relative_to(target):
            raise OutputError(
                f"{target} holds {path.name}, which the run reads. Name another folder for the "
                "result, or move that file out of it."
            )


def parcels_bytes(region: Region) -> int:
    """Size of the parcel layer's files that are there."""
    paths = _all_of(region.sources["parcels"].all_files)
    return sum(path.stat().st_size for path in paths if path.is_file())


def _named(region: Region, *, earlier: bool = True) -> set[Path]:
    """All files that a region names, whether they are there or not, with their companions."""
    single = (region.path, region.model_file, region.letter_texts, region.standing_file)
    named = [path for path in single if path is not None]
    if region.outcomes is not None and region.outcomes.file is not None:
        named.append(region.outcomes.file)
    for source in region.sources.values():
        named += source.all_files
    named += region.catalogs
    if region.backtest is not None:
        named.append(region.backtest / BACKTEST)
    before = region.before
    if earlier and before is not None:
        named += [before / name for name in ("run.json", "parcels.parquet")]
    return _all_of(named)


def _all_of(named: Iterable[Path]) -> set[Path]:
    files: set[Path] = set()
    for path in named:
        files.add(path)
        if path.is_dir():
            files |= set(path.rglob("*"))
        elif path.suffix.lower() == ".shp":
            files |= set(path.parent.glob(glob.escape(path.stem) + ".*"))
    return files


def _names(paths: set[Path], folder: Path) -> dict[str, Path]:
    """Short names that differ from each other."""
    within = {path for path in paths if path.is_relative_to(folder)}
    inside = {path.relative_to(folder).as_posix(): path for path in within}
    outside = paths - within
    tails = Counter(tail for path in outside for tail in _tails(path))
    named = {
        next(tail for tail in _tails(path) if tails[tail] == 1 and tail not in inside): path
        for path in outside
    }
    return inside | named


def _tails(path: Path) -> list[str]:
    """Return the ends of a path, shortest first.

    >>> _tails(Path("/srv/gis/wells.csv"))
    ['wells.csv', 'gis/wells.csv', 'srv/gis/wells.csv', '/srv/gis/wells.csv']
    """
    parts = path.parts
    return [Path(*parts[place:]).as_posix() for place in range(len(parts) - 1, -1, -1)]


def _seen(path: Path, name: str, memory: HashMemory | None) -> InputFile:
    try:
        before = state_of(path)
        digest = sha256_of(path) if memory is None else memory.sha256(path)
        after = state_of(path)
    except FileNotFoundError as error:
        raise _changed(name, "has just vanished") from error
    except OSError as error:
        raise SourceMissingError(
            name, f"the file cannot be read ({reason(error)}).", "Make it readable, then run again."
        ) from error
    if before != after:
        raise _changed(name)
    return InputFile(path, digest, after)


def _changed(name: str, how: str = "changed") -> SourceChangedError:
    return SourceChangedError(
        name,
        f"the file {how} while the run was reading.",
        "Run again when no one works on it, or on a copy.",
    )
