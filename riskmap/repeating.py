"""Repeating a run from its record, and saying what differs."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, asdict, replace
from pathlib import Path
from typing import Any, Final, NamedTuple

import pandas as pd

from riskmap.contract.errors import OutputError, RegionError
from riskmap.contract.settings import Section, Setting, settings_of
from riskmap.contract.versions import package_versions
from riskmap.region.read import read_region, settings_in_force
from riskmap.region.sections import Region, sections
from riskmap.region.values import read_section, shown
from riskmap.results.folder import read_mark
from riskmap.running import run
from riskmap.stages.progress import Progress

MOST_NAMED: Final = 12
"""Differences of one kind that are named one by one."""
SAME: Final = 1e-9
"""Scores that differ by no more than this are the same."""


class Record(NamedTuple):
    """A run's record, as ``run.json`` holds it, and the region file it names."""

    path: Path
    region: Path
    content: Mapping[str, Any]


def read_record(path: Path, region: Path | None = None) -> Record:
    """Read the record of a run.

    Parameters
    ----------
    path
        ``run.json``, or the result folder that holds it.
    region
        The region file, where it is no longer where the record says.

    Raises
    ------
    OutputError
        If this is no record of a run, or one of an edition that did not name its region file.
    """
    path = path / "run.json" if path.is_dir() else path
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        there = {"inputs_sha256", "versions", "settings"} <= content.keys()
        named = content.get("region_file", "")
    except (OSError, ValueError, AttributeError) as error:
        raise OutputError(f"{path}: cannot be read as the record of a run ({error}).") from error
    if not there or "in_force" not in content["settings"]:
        raise OutputError(f"{path}: is not the record of a run. Name run.json of a result.")
    if region is None and not named:
        raise OutputError(f"{path}: does not say which region file was run. Add --region FILE.")
    return Record(path, region or Path(named), content)


def repeat(record: Record, *, out: Path | str, progress: Progress | None = None) -> tuple[str, ...]:
    """Run a county again with the settings of an earlier run, and say what differs.

    Parameters
    ----------
    record
        Of :func:`read_record`.
    out
        Folder for the new result; not that of the earlier one.
    progress
        Shows what is going on; quiet by default.

    Returns
    -------
    tuple of str
        A sentence for each difference: settings, inputs, versions, files, ranks.

    Raises
    ------
    RiskmapError
        If the region file or a source is gone, a recorded setting is no longer taken, or the run
        itself fails.
    """
    if Path(out).resolve() == record.path.parent.resolve():
        raise OutputError(f"{out} is the run to be repeated. Name another folder.")
    now = read_region(record.region)
    then = as_recorded(now, record.content["settings"]["in_force"])
    lines = [
        *_settings_differ(now, record.content["settings"]["in_force"]),
        *_versions_differ(record.content["versions"]),
    ]
    result = run(then, out=out, progress=progress)
    lines += _inputs_differ(record.content["inputs_sha256"], result.inputs)
    lines += _files_differ(record.path.parent, Path(out))
    lines += _ranks_differ(record.path.parent, Path(out))
    return tuple(lines)


def as_recorded(region: Region, recorded: Mapping[str, Any]) -> Region:
    """Return a region with every setting as it was in force in an earlier run.

    Parameters
    ----------
    region
        The region file as it is now.
    recorded
        Values by section and name, as ``run.json`` holds them.

    Raises
    ------
    RegionError
        If a recorded value is no longer taken.
    """
    faults: list[str] = []
    made = {
        name: read_section(kind, _table(kind, recorded[name]), f"[{name}] of the record", faults)
        for name, kind in sections().items()
        if name in recorded
    }
    if faults:
        raise RegionError("The run cannot be repeated as it was:\n" + "\n".join(faults))
    return replace(region, **made)  # type: ignore[arg-type]


def _table(section: type[Section], recorded: Mapping[str, Any]) -> dict[str, Any]:
    """Turn recorded values into the table of a region file that gives them."""
    declared = settings_of(section).values()
    return {
        one.key: _given(one, recorded[one.name])
        for one in declared
        if one.name in recorded and recorded[one.name] != _plain(one.default)
    }


def _given(one: Setting, value: Any) -> Any:
    if not issubclass(one.kind, Section):
        return _day(value) if one.kind.__name__ == "date" else value
    return [_table(one.kind, row) for row in value]


def _day(text: str) -> Any:
    return datetime.date.fromisoformat(text)


def _plain(value: Any) -> Any:
    """Return a value as a record holds it."""
    if value is MISSING:
        return MISSING
    held = asdict(value) if hasattr(value, "__dataclass_fields__") else value
    return json.loads(json.dumps(held, default=str))


def _settings_differ(now: Region, recorded: Mapping[str, Any]) -> Iterator[str]:
    for section, values in _plain(settings_in_force(now)).items():
        for name, value in values.items():
            then = recorded.get(section, {}).get(name, MISSING)
            if then is MISSING:
                yield f"[{section}] {name}: not in the record; {shown(value)} was used."
            elif then != value:
                yield (
                    f"[{section}] {name}: {shown(value)} in the region file now; {shown(then)}, as "
                    "recorded, was used."
                )


def _versions_differ(then: Mapping[str, str]) -> Iterator[str]:
    now = package_versions()
    for name in sorted({*then, *now}):
        before, after = then.get(name, "not named"), now.get(name, "not used")
        if before != after:
            yield f"{name}: version {before} then, {after} now."


def _inputs_differ(then: Mapping[str, str], now: Mapping[str, str]) -> Iterator[str]:
    yield from _named("input file", "changed", [n for n in then if n in now and then[n] != now[n]])
    yield from _named("input file", "gone", [name for name in then if name not in now])
    yield from _named("input file", "new", [name for name in now if name not in then])


def _files_differ(then: Path, now: Path) -> Iterator[str]:
    before, after = read_mark(then), read_mark(now)
    if before is None or after is None:
        yield "The earlier result has no list of its files: files were not compared."
        return
    old, new = (
        {name: file for name, file in mark["files"].items() if name != "run.json"}
        for mark in (before, after)
    )
    same = [name for name in old if old[name] == new.get(name)]
    yield f"{len(same):,} of {len(old):,} files are the same, byte for byte."
    yield from _named("file", "not the same", [n for n in old if n in new and old[n] != new[n]])
    yield from _named("file", "not written again", [name for name in old if name not in new])
    yield from _named("file", "new", [name for name in new if name not in old])


def _named(noun: str, what: str, names: list[str]) -> Iterator[str]:
    if names:
        count = f"{len(names):,} {noun}" + ("" if len(names) == 1 else "s")
        more = f" and {len(names) - MOST_NAMED:,} more" if len(names) > MOST_NAMED else ""
        yield f"{count} {what}: {', '.join(sorted(names)[:MOST_NAMED])}{more}."


def _ranks_differ(then: Path, now: Path) -> Iterator[str]:
    columns = ["parcel_id", "priority", "rank"]
    try:
        old, new = (
            pd.read_parquet(folder / "parcels.parquet", columns=columns).set_index("parcel_id")
            for folder in (then, now)
        )
    except (OSError, ValueError) as error:
        yield f"Ranks were not compared ({error})."
        return
    both = old.join(new, how="inner", lsuffix="_then", rsuffix="_now").astype("Float64")
    moved = (both["priority_then"] - both["priority_now"]).abs().gt(SAME).fillna(False)
    ranks = both["rank_then"].ne(both["rank_now"]).fillna(False)
    yield (
        f"Of {len(both):,} parcels in both results the priority of {int(moved.sum()):,} and the "
        f"rank of {int(ranks.sum()):,} differ."
    )
