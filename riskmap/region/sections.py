"""The region file's sections that belong to no science package, and the list of all of them.

A section is read into one frozen object (:mod:`riskmap.contract.settings`), which the stages hand
to the rooms as it is. ``Region.rules.horizon_yr`` is the key ``horizon_yr`` below ``[rules]``.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields
from pathlib import Path
from typing import Literal, get_type_hints

from data_pipelines.source_catalog import catalog_of
from riskmap.action.mailing_settings import MailingSettings
from riskmap.action.settings import SeasonSettings
from riskmap.action.zone_reasons import ZoneSettings
from riskmap.contract.rules import Rules
from riskmap.contract.settings import JUDGED, Section, setting
from riskmap.contract.sources import Source
from riskmap.failure.settings import FailureSettings
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings
from riskmap.outcomes.log import LogState
from riskmap.ranking.priority import Aim
from riskmap.ranking.settings import LearningSettings, ServiceSettings


@dataclass(frozen=True)
class CountySettings(Section):
    """Name of the county, date of the run, and the units that people read."""

    name: str = setting(MISSING, "The county's name, as every page shows it")
    date: datetime.date = setting(MISSING, "The day of the run; ages count to it")
    state: str = setting("", "State or province, for the pages")
    crs: str = setting(
        "auto", "Projected reference system to compute in (`EPSG:...`), or `auto` for the UTM zone "
        "of the parcels' middle",
    )  # fmt: skip
    units: Literal["us", "si"] = setting("us", "Units that people read")
    sewers: Literal["some", "none"] = setting(
        "some", "Whether the county has public sewers. `none`: every building is on an onsite "
        "system; `some`: where there is no sewer map, buildings without a record are unknown",
        source="unknown is never safe",
    )  # fmt: skip
    contact: str = setting("", "Office and telephone printed on lists and letters")


@dataclass(frozen=True)
class ModelSettings(Section):
    """The scoring model."""

    file: str = setting("", "Scoring-model file; empty for the one that comes with the program")


@dataclass(frozen=True)
class ListSettings(Section):
    """Lists, sheets and letters."""

    inspections: int = setting(
        200, "Visits that a season holds: rows of the inspection lists, and the size of the "
        "classes; 0 for as many as are ranked", low=0, high=10**7, source=JUDGED,
    )  # fmt: skip
    order: Literal["priority", "chance"] = setting(
        "priority", "What the inspection list is ordered by: the priority, or the chance to be "
        "belonging among the first",
    )  # fmt: skip
    aim: Aim = setting(
        "find failures", "What the priority serves: find failures; save stressed fields while they "
        "can be saved; least harm to wells and water",
    )  # fmt: skip
    stops: int = setting(40, "Stops on the day sheets; 0 for none", low=0, high=2000, source=JUDGED)
    letters: int = setting(
        10_000,
        "Letters at most, to the systems likeliest to fail; 0 for none",
        low=0,
        high=100_000,
        source=JUDGED,
    )  # fmt: skip
    letter_texts: str = setting(
        "", "Folder with the county's own `letter_en.toml` or `letter_es.toml`; empty: as they come"
    )
    site_last_line: str = setting(
        "", "City, state and ZIP code of site addresses, where the records have none"
    )

    def length(self, ranked: int) -> int:
        """Rows of the inspection list where `ranked` systems have a rank.

        The one answer for the list, the chance to be on it, and all that is said of "the first".
        """
        return min(self.inspections or ranked, ranked)


@dataclass(frozen=True)
class MapSettings(Section):
    """The map page."""

    base_map_tiles: str = setting(
        "", "Address of online background tiles with {z}, {x}, {y}; off until a reader turns it "
        "on. Empty: the page never asks the network for anything",
    )  # fmt: skip
    base_map_credit: str = setting("", "Credit line of that background")


@dataclass(frozen=True)
class PublicSettings(Section):
    """The public edition."""

    threshold: int = setting(
        10, "Counts from 1 to this are withheld in the public edition; 0: no public edition",
        low=0, high=1000, source="common practice of health statistics, no source",
    )  # fmt: skip
    cell_m: float = setting(
        0.0, "Width of the public map's hexagons; 0: chosen. Keep it from year to year", unit="m",
        low=0, high=50_000, source="chosen by the program",
    )  # fmt: skip


@dataclass(frozen=True)
class RunSettings(Section):
    """How a run works."""

    chunk_parcels: int = setting(
        20_000, "Parcels worked on at a time", low=50, high=10**7, source="memory of a laptop"
    )
    workers: int = setting(
        0, "Work done at the same time; 0: as much as there are processor cores", low=0, high=1000,
        source="chosen by the program",
    )  # fmt: skip
    draws: int = setting(
        512, "Draws of the Monte Carlo behind ranges and chances, best a power of two; 0 for none",
        low=0, high=65_536, source=JUDGED,
    )  # fmt: skip
    seed: int = setting(1, "Seed of everything random", low=0, high=2**31, source="any number")
    before: str = setting(
        "", "Result folder of an earlier run to compare with; relative to the region file"
    )
    backtest: str = setting(
        "", "Folder that `riskmap backtest --out` wrote, to stand in the report; relative to the "
        "region file",
    )  # fmt: skip


@dataclass(frozen=True)
class FairnessSettings(Section):
    """A number by neighborhood to compare picks with."""

    standing: str = setting(
        "", "CSV file with a number by neighborhood, such as income or share of tenants; used for "
        "the fairness check only, never to rank",
    )  # fmt: skip
    neighborhood: str = setting("neighborhood", "Its column with the neighborhood")
    column: str = setting("", "Its column with the number; empty for the second column")


@dataclass(frozen=True)
class Region:
    """A county as its region file declares it: one object for each section, and its sources.

    ``sha256`` is the hash of the region file itself; ``outcomes`` the outcome log as it was when
    the region file was read, None where nothing was ever recorded.
    """

    path: Path
    county: CountySettings
    sources: Mapping[str, Source]
    rules: Rules = field(default_factory=Rules)
    failure: FailureSettings = field(default_factory=FailureSettings)
    groundwater: GroundwaterSettings = field(default_factory=GroundwaterSettings)
    wells: WellSettings = field(default_factory=WellSettings)
    zones: ZoneSettings = field(default_factory=ZoneSettings)
    model: ModelSettings = field(default_factory=ModelSettings)
    lists: ListSettings = field(default_factory=ListSettings)
    map: MapSettings = field(default_factory=MapSettings)
    public: PublicSettings = field(default_factory=PublicSettings)
    run: RunSettings = field(default_factory=RunSettings)
    learning: LearningSettings = field(default_factory=LearningSettings)
    service: ServiceSettings = field(default_factory=ServiceSettings)
    fairness: FairnessSettings = field(default_factory=FairnessSettings)
    season: SeasonSettings = field(default_factory=SeasonSettings)
    mailing: MailingSettings = field(default_factory=MailingSettings)
    sha256: str = ""
    outcomes: LogState | None = None

    @property
    def model_file(self) -> Path | None:
        """The county's scoring model; None for the one that comes with the program."""
        return self.path_of(self.model.file)

    @property
    def letter_texts(self) -> Path | None:
        """Folder of the county's own letters; None for those that come with the program."""
        return self.path_of(self.lists.letter_texts)

    @property
    def standing_file(self) -> Path | None:
        """Table with a number by neighborhood; None where none is given."""
        return self.path_of(self.fairness.standing)

    @property
    def catalogs(self) -> tuple[Path, ...]:
        """Catalogues of the fetched files among the sources."""
        own = [path for source in self.sources.values() for path in source.all_files]
        return tuple(sorted({found for path in own if (found := catalog_of(path)) is not None}))

    @property
    def before(self) -> Path | None:
        """Result folder of an earlier run to compare with; None where none is named."""
        return self.path_of(self.run.before)

    @property
    def backtest(self) -> Path | None:
        """Folder of a backtest that is to stand in the report; None where none is named."""
        return self.path_of(self.run.backtest)

    @property
    def log_place(self) -> Path | str:
        """Where the outcome log is or will be: a file, or the connection string of a server."""
        return self.season.log if self.season.on_server else self.path.parent / self.season.log

    def path_of(self, name: str) -> Path | None:
        """Path of a file that a setting names, relative to the region file; None for no name."""
        return self.path.parent / name if name else None


def sections() -> dict[str, type[Section]]:
    """List the sections of the region file by name, in the order of their page."""
    hints = get_type_hints(Region)
    types = {one.name: hints[one.name] for one in fields(Region)}
    return {
        name: kind
        for name, kind in types.items()
        if isinstance(kind, type) and issubclass(kind, Section)
    }
