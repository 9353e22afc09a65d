"""State files: which counties belong together."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import MISSING, dataclass
from pathlib import Path

from riskmap.contract.errors import RegionError, RiskmapError
from riskmap.contract.settings import JUDGED, Section, setting
from riskmap.contract.suggest import unknown_keys
from riskmap.region.sections import Region
from riskmap.region.toml_file import decoded, read_small, toml_tables
from riskmap.region.values import read_section
from riskmap.running import open_region


@dataclass(frozen=True)
class StateSettings(Section):
    """The counties of a state, and how long its list is."""

    name: str = setting(MISSING, "Name of the state, as it is shown")
    counties: tuple[str, ...] = setting(
        MISSING, "Region files of the counties, relative to this file"
    )
    first: int = setting(
        1_000, "Rows of the statewide list", low=1, high=1_000_000, source=JUDGED
    )  # fmt: skip


@dataclass(frozen=True)
class State:
    """A state as its file declares it; ``regions`` by a short name made from the county's name."""

    settings: StateSettings
    regions: Mapping[str, Region]


def read_state(path: Path | str) -> State:
    """Read a state file and the region file of every county.

    Raises
    ------
    RegionError
        With all faults together: of the file, of any region file, two counties of one name, lists
        that serve different aims and so cannot be ranked together.
    """
    path = Path(path)
    raw = read_small(path, "the state file", RegionError)
    content = toml_tables(decoded(raw, path.name, RegionError), path.name, RegionError)
    faults = unknown_keys(content, ["state"], path.name)
    settings = read_section(StateSettings, content.get("state", {}), "[state]", faults)
    regions: dict[str, Region] = {}
    if settings is not None:
        opened = [_opened(path.parent / name, faults) for name in settings.counties]
        regions = {short_name(one.county.name): one for one in opened if one is not None}
        faults += _conflicts([one for one in opened if one is not None])
    if settings is None or faults or not regions:
        faults = faults or [f"{path.name}: name at least one region file in counties."]
        raise RegionError(f"{path.name}:\n- " + "\n- ".join(faults))
    return State(settings, regions)


def short_name(county: str) -> str:
    """Name of a county as files and columns hold it.

    >>> short_name("Fennimarsh County (invented)")
    'fennimarsh-county-invented'
    """
    return re.sub(r"[^a-z0-9]+", "-", county.lower()).strip("-") or "county"


def _opened(path: Path, faults: list[str]) -> Region | None:
    try:
        return open_region(path)
    except RiskmapError as error:
        faults.append(str(error))
        return None


def _conflicts(regions: list[Region]) -> list[str]:
    times = Counter(short_name(region.county.name) for region in regions)
    said = [
        f"{count} region files name their county {name!r}: give each a name of its own."
        for name, count in times.items()
        if count > 1
    ]
    aims = sorted({region.lists.aim for region in regions})
    if len(aims) > 1:
        said.append(
            f"the counties' lists serve different aims ({', '.join(aims)}): one rank of all needs "
            "one aim. Set the same [lists] aim in every region file."
        )
    return said
