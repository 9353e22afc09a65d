"""What each list, letter and page of a run states: its county, its date, its units."""

from __future__ import annotations

import datetime
from typing import TypedDict

from riskmap.contract.quantities import Units
from riskmap.region.sections import Region


class Imprint(TypedDict):
    """County by name, the date of the run, and the units that people read.

    Handed on whole: ``write_zone_list(folder, zones, **imprint)``.
    """

    county: str
    date: datetime.date
    units: Units


def imprint_of(region: Region) -> Imprint:
    """Return the imprint of a run by its region file."""
    return Imprint(county=region.county.name, date=region.county.date, units=region.county.units)
