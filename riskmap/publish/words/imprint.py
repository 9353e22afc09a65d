"""What each list, letter and page of a run says of itself: whose, of what day, in what units."""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Mapping
from typing import TypedDict

from riskmap.contract.quantities import Units
from riskmap.region.sections import Region


class Imprint(TypedDict):
    """County by name, the day that the run speaks for, and the units that people read.

    Handed on whole: ``write_zone_list(folder, zones, **imprint)``.
    """

    county: str
    date: datetime.date
    units: Units


def run_name(region: Region, inputs: Mapping[str, str]) -> str:
    """Name of a run: the day it speaks for, and eight letters that stand for all it read.

    >>> from types import SimpleNamespace as Some
    >>> region = Some(county=Some(date=datetime.date(2026, 6, 1)))
    >>> run_name(region, {"region.toml": "ab"})
    '2026-06-01 6e2a6a5c'
    """
    told = json.dumps(sorted(inputs.items())).encode()
    return f"{region.county.date.isoformat()} {hashlib.sha256(told).hexdigest()[:8]}"


def imprint_of(region: Region) -> Imprint:
    """Return the imprint of a run by its region file."""
    return Imprint(county=region.county.name, date=region.county.date, units=region.county.units)
