"""What each list, letter and page of a run says of itself: whose, of what day, in what units."""

from __future__ import annotations

import datetime
from typing import TypedDict

from riskmap.contract.quantities import Units
from riskmap.region.read import Region


class Imprint(TypedDict):
    """County by name, the day that the run speaks for, and the units that people read.

    Handed on whole: ``write_zone_list(folder, zones, **imprint)``.
    """

    county: str
    date: datetime.date
    units: Units


def imprint_of(region: Region) -> Imprint:
    """Return the imprint of a run by its region file."""
    return Imprint(county=region.name, date=region.date, units=region.units)
