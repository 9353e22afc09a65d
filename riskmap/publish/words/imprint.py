"""What each list, letter and page of a run states: its county, its date, its units."""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace

from riskmap.contract.quantities import Units
from riskmap.publish.words.text_safety import plain_text
from riskmap.region.sections import Region


@dataclass(frozen=True)
class Imprint:
    """What is at the head of every list, letter and page.

    Parameters
    ----------
    county
        Its name.
    date
        Date of the run.
    units
        Units that people read; they choose the paper, too.
    contact
        Office and telephone; lines are kept.
    """

    county: str
    date: datetime.date
    units: Units = "us"
    contact: str = ""


def run_name(region: Region, inputs: Mapping[str, str]) -> str:
    """Name of a run: the day it speaks for, and eight letters that stand for all it read.

    >>> from types import SimpleNamespace as Some
    >>> region = Some(county=Some(date=datetime.date(2026, 6, 1)))
    >>> run_name(region, {"region.toml": "ab"})
    '2026-06-01 68dd1369'
    """
    told = json.dumps(sorted(inputs.items())).encode()
    return f"{region.county.date.isoformat()} {hashlib.sha256(told).hexdigest()[:8]}"


def contact_words(imprint: Imprint) -> str:
    """Whom to call, in plain lines; empty ones are left out."""
    lines = (plain_text(line) for line in imprint.contact.splitlines())
    return "\n".join(line for line in lines if line)


def imprint_of(region: Region) -> Imprint:
    """Return the imprint of a run by its region file, without whom to call."""
    return Imprint(region.county.name, region.county.date, region.county.units)


def sender_of(region: Region) -> Imprint:
    """Return the imprint of a run with whom to call."""
    return replace(imprint_of(region), contact=region.county.contact)
