"""What each list, letter and page of a run states: its county, its date, its units."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace

from riskmap.contract.quantities import Units
from riskmap.region.sections import Region


@dataclass(frozen=True)
class Imprint:
    """What stands at the head of every list, letter and page.

    Parameters
    ----------
    county
        Its name.
    date
        The day that the run speaks for.
    units
        Units that people read; they choose the paper, too.
    contact
        Office and telephone; lines are kept.
    """

    county: str
    date: datetime.date
    units: Units = "us"
    contact: str = ""


def imprint_of(region: Region) -> Imprint:
    """Return the imprint of a run by its region file, without whom to call."""
    return Imprint(region.county.name, region.county.date, region.county.units)


def sender_of(region: Region) -> Imprint:
    """Return the imprint of a run with whom to call."""
    return replace(imprint_of(region), contact=region.county.contact)
