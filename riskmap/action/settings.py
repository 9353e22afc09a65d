"""The ``[season]`` section: who goes out, when, how far, and where what they find is kept."""

from __future__ import annotations

import datetime
import re
from dataclasses import MISSING, dataclass
from itertools import pairwise
from typing import Final, Literal

from riskmap.contract.settings import JUDGED, Section, setting

BOSCOE: Final = (
    "Boscoe, Henry and Zdeb 2012, Professional Geographer 64:188, road over straight line from "
    "66,000 places of the United States to hospitals: 1.417 (from memory)"
)
CHOSEN: Final = "chosen by the program"
TRADE: Final = "common practice, no source"
SERVER: Final = re.compile(r"postgres(ql)?://|(^|\s)(host|dbname|service)\s*=")
"""How the connection string of a database begins, where a file could be named too."""
_PASSWORD: Final = re.compile(r"://[^/@]*:[^/@]+@|(^|[\s?&])password\s*=")


@dataclass(frozen=True)
class Inspector(Section):
    """One who goes out; what is left out is as for all."""

    name: str = setting(MISSING, "Name or initials, on every sheet")
    x_m: float | None = setting(
        None, "Easting of the place where the day begins and ends, in the county's reference "
        "system", unit="m", low=-2e7, high=2e7,
    )  # fmt: skip
    y_m: float | None = setting(None, "Its northing", unit="m", low=-2e7, high=2e7)
    begins_h: float | None = setting(None, "Hour the day begins", unit="h", low=0, high=24)
    ends_h: float | None = setting(None, "Hour the day ends", unit="h", low=0, high=24)
    days_off: tuple[datetime.date, ...] = setting((), "Days off")

    def conflicts(self) -> list[str]:
        """Refuse half a place and a day that ends before it begins."""
        said = []
        if (self.x_m is None) != (self.y_m is None):
            said.append(f"inspector {self.name}: give both x_m and y_m, or neither")
        if None not in (self.begins_h, self.ends_h) and not self.begins_h < self.ends_h:  # type: ignore[operator]
            said.append(f"inspector {self.name} has no hours: the day ends before it begins")
        return said


@dataclass(frozen=True)
class Appointment(Section):
    """A visit that was promised for a day and hours."""

    parcel: str = setting(MISSING, "Parcel number")
    date: datetime.date = setting(MISSING, "Day")
    from_h: float = setting(0.0, "Not before this hour", unit="h", low=0, high=24)
    to_h: float = setting(24.0, "Begun by this hour", unit="h", low=0, high=24)
    inspector: str = setting("", "Name of who was promised; anybody if left out")

    def conflicts(self) -> list[str]:
        """Refuse hours that end before they begin."""
        return [f"appointment {self.parcel}: from_h is after to_h"] * (self.from_h > self.to_h)


@dataclass(frozen=True)
class SeasonSettings(Section):
    """The season's work: its plan and its outcome log."""

    log: str = setting(
        "outcomes.sqlite", "Outcome log: a file, relative to the region file, or the connection "
        "string of a PostgreSQL database with PostGIS, without its password",
    )  # fmt: skip
    begins: datetime.date | None = setting(
        None, "First day of the season; the first working day after the run's if left out"
    )
    inspectors: tuple[Inspector, ...] = setting(
        (), "Who goes out, as `[[season.inspectors]]` tables"
    )
    appointments: tuple[Appointment, ...] = setting(
        (), "Visits promised, as `[[season.appointments]]` tables"
    )
    revisits: tuple[str, ...] = setting((), "Parcels to be visited again, such as for no access")
    office_x_m: float | None = setting(
        None, "Easting of the office, where days begin and end; the middle of the candidates if "
        "left out", unit="m", low=-2e7, high=2e7, source=CHOSEN,
    )  # fmt: skip
    office_y_m: float | None = setting(
        None, "Northing of the office", unit="m", low=-2e7, high=2e7, source=CHOSEN
    )
    begins_h: float = setting(8.0, "Hour a day begins", unit="h", low=0, high=24, source=TRADE)
    ends_h: float = setting(
        15.5, "Hour a day ends back at the office; leaves an hour for a break and writing up",
        unit="h", low=0, high=24, source=TRADE,
    )  # fmt: skip
    days_off: tuple[datetime.date, ...] = setting((), "Days on which nobody goes out")
    list_min: float = setting(
        40.0, "Minutes at a system from the list", unit="min", low=1, high=480, source=JUDGED
    )
    followup_min: float = setting(
        30.0, "Minutes at a system on file as failed", unit="min", low=1, high=480, source=JUDGED
    )
    audit_min: float = setting(
        40.0, "Minutes at a system drawn at random", unit="min", low=1, high=480, source=JUDGED
    )
    revisit_min: float = setting(
        25.0, "Minutes at a system visited again", unit="min", low=1, high=480, source=JUDGED
    )
    followup_frac: float = setting(
        0.1,
        "Most stops of a day or a season for systems on file, to follow up",
        unit="0-1",
        low=0,
        high=1,
        source=JUDGED,
    )
    audit_frac: float = setting(
        0.1, "Stops for systems drawn at random, from which the county's share of failed systems "
        "is told", unit="0-1", low=0, high=1, source=JUDGED,
    )  # fmt: skip
    stops_by: Literal["failures", "priority"] = setting(
        "failures", "What stops are chosen for: the chance to find a failure, or the priority, "
        "which serves the aim of the lists",
    )  # fmt: skip
    candidates: int = setting(
        3000, "Systems, the first of the list, that the plan chooses from", low=1, high=20_000,
        source=JUDGED,
    )  # fmt: skip
    together_min: float = setting(
        5.0, "Minutes of way that going to another neighborhood is taken to cost beside the way; "
        "more keeps neighborhoods together", unit="min", low=0, high=480, source=JUDGED,
    )  # fmt: skip
    circuity: float = setting(
        1.417, "Road over straight line, where there is no road layer", unit="ratio", low=1,
        high=5, source=BOSCOE,
    )  # fmt: skip
    speed_km_h: float = setting(50.0, "Driving speed", unit="km/h", low=5, high=130, source=TRADE)
    search_rounds: int = setting(
        8000, "Rounds of search for the best stops; more takes longer and finds a little more",
        low=1, high=10**7, source=JUDGED,
    )  # fmt: skip

    @property
    def on_server(self) -> bool:
        """Whether the log is in a database."""
        return SERVER.search(self.log) is not None

    def conflicts(self) -> list[str]:
        """Refuse what cannot be a season, and a password where everybody reads it."""
        said = [] if self.log.strip() else ["log is empty: name a file or a database"]
        if (self.office_x_m is None) != (self.office_y_m is None):
            said.append("give both office_x_m and office_y_m, or neither")
        if self.begins_h >= self.ends_h:
            said.append("begins_h and ends_h leave no hours")
        if self.on_server and _PASSWORD.search(self.log):
            said.append(
                "log holds a password, which every result would show; keep it in a password file "
                "(.pgpass) or in PGPASSWORD"
            )
        names = sorted(one.name for one in self.inspectors)
        said += [f"two inspectors are called {a}" for a, b in pairwise(names) if a == b]
        if self.followup_frac + self.audit_frac > 1:
            said.append("followup_frac and audit_frac leave no stops for the list")
        return said
