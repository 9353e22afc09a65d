"""Scenario files: what is to be done, where, and what it costs.

A scenario is a name and any number of steps, each a ``[[step]]`` table. Steps that touch the same
system go together: a sewer takes away what the others leave.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass
from pathlib import Path
from typing import Any, Final, Literal

from riskmap.contract.errors import RegionError
from riskmap.contract.settings import JUDGED, Section, setting, settings_of
from riskmap.contract.suggest import unknown_keys
from riskmap.region.toml_file import decoded, faults_together, read_small, toml_tables
from riskmap.region.values import read_section

Do = Literal[
    "sewer", "advanced treatment", "pump-out program", "replace oldest", "replace most harmful",
    "save stressed", "less water", "higher water", "wet year", "new houses",
]  # fmt: skip
OF: Final[Mapping[Do, tuple[str, ...]]] = {
    "sewer": (),
    "advanced treatment": ("removed_frac",),
    "pump-out program": ("interval_yr",),
    "replace oldest": ("number",),
    "replace most harmful": ("number",),
    "save stressed": ("number",),
    "less water": ("times",),
    "higher water": ("rise_m",),
    "wet year": ("rise_m",),
    "new houses": ("parcels",),
}
"""What a step does -> the keys that it needs."""
MAY: Final[Mapping[Do, tuple[str, ...]]] = {"new houses": ("persons",)}
"""What a step does -> keys that it may have beside them."""
PLACES: Final = ("area", "zones", "neighborhoods")
NOT_PLACED: Final = ("new houses",)
EVERY: Final = ("do", "name", "cost", "cost_each")


@dataclass(frozen=True)
class Step(Section):
    """One thing that is done, or that happens."""

    do: Do = setting(MISSING, "What is done or happens")
    name: str = setting("", "Its name in tables; what is done if left out")
    area: str = setting("", "File of polygons in which it is done, relative to the scenario file")
    zones: tuple[str, ...] = setting((), "Planners' zones in which it is done, by `zone_id`")
    neighborhoods: tuple[str, ...] = setting((), "Neighborhoods in which it is done")
    number: int | None = setting(
        None, "Systems that are replaced or saved", low=0, high=10**6, source=JUDGED
    )
    removed_frac: float | None = setting(
        None, "Share of the nitrogen that treatment takes out", unit="0-1", low=0, high=1,
        source=JUDGED,
    )  # fmt: skip
    interval_yr: float | None = setting(
        None, "Years within which every tank is pumped", unit="yr", low=0.5, high=50,
        source=JUDGED,
    )  # fmt: skip
    times: float | None = setting(
        None, "Water use, as a multiple of today's", unit="ratio", low=0.05, high=5,
        source=JUDGED,
    )  # fmt: skip
    rise_m: float | None = setting(
        None, "Rise of the water table, or of the seasonal water in a wet year", unit="m", low=0,
        high=20, source=JUDGED,
    )  # fmt: skip
    parcels: tuple[str, ...] = setting((), "Lots that get a new house with a system of its own")
    persons: float = setting(
        2.5, "Persons in a new house", unit="persons", low=0, high=50, source=JUDGED
    )
    cost_each: float = setting(
        0.0, "Cost of each system that is touched, over the horizon", unit="money", low=0,
        high=1e9, source=JUDGED,
    )  # fmt: skip
    cost: float = setting(
        0.0, "Cost beside that, over the horizon", unit="money", low=0, high=1e12, source=JUDGED
    )

    def conflicts(self) -> list[str]:
        """Refuse a step without what it needs, and with what it does not read."""
        needs = OF[self.do]
        said = [f"{self.do} needs {name}" for name in needs if not _given(self, name)]
        reads = {*EVERY, *needs, *MAY.get(self.do, ())}
        reads |= set() if self.do in NOT_PLACED else set(PLACES)
        said += [
            f"{self.do} does not read {name}"
            for name in settings_of(Step)
            if name not in reads and _given(self, name)
        ]
        if self.area and (self.zones or self.neighborhoods):
            said.append("give area, or zones and neighborhoods, not both")
        return said

    @property
    def title(self) -> str:
        """Return its name in tables."""
        return self.name or self.do


def _given(step: Step, name: str) -> bool:
    value = getattr(step, name)
    return value not in (None, "", ()) and value != settings_of(Step)[name].default


@dataclass(frozen=True)
class Plan:
    """A scenario: its name, its steps, and the folder that files in it are relative to."""

    name: str
    steps: tuple[Step, ...]
    folder: Path = Path()


def read_plan(path: Path | str) -> Plan:
    """Read and check a scenario file.

    Raises
    ------
    RegionError
        With all faults together, each with the step, the key and the nearest known word.
    """
    path = Path(path)
    raw = read_small(path, "the scenario file", RegionError)
    content = toml_tables(decoded(raw, path.name, RegionError), path.name, RegionError)
    faults = unknown_keys(content, ["name", "step"], path.name)
    name: Any = content.get("name", path.stem)
    if not isinstance(name, str) or not name.strip():
        faults.append(f"{path.name}: name must be a text.")
    tables: Any = content.get("step", [])
    if not isinstance(tables, list):
        faults.append(f"{path.name}: write each step as a [[step]] table.")
        tables = []
    steps = [
        read_section(Step, table, f"[[step]] {number}", faults)
        for number, table in enumerate(tables, start=1)
    ]
    if faults:
        raise RegionError(faults_together(path.name, faults))
    return Plan(name.strip(), tuple(step for step in steps if step is not None), path.parent)
