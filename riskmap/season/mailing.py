"""A mailing from a run: who is written to by the rule of the region file, and with which letter."""

from __future__ import annotations

import base64
import datetime
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import pandas as pd

from riskmap.action.mailing import addressees
from riskmap.action.mailing_settings import To
from riskmap.action.outreach import (
    expected_effect,
    keep_to_log_and_budget,
    less_spent,
    meant_by_rule,
    part_by_record,
)
from riskmap.action.zone_shapes import holders
from riskmap.contract.errors import RegionError
from riskmap.contract.suggest import nearest
from riskmap.contract.vocabulary import ON_FILE
from riskmap.outcomes.log import letters
from riskmap.publish.words.imprint import run_name
from riskmap.region.sections import Region
from riskmap.stages.result import Result
from riskmap.stages.zones import Planning

OF_RULE: Final[dict[To, str]] = {
    "first on the list": "general",
    "pump-out overdue": "general",
    "well owners": "well",
}
"""Rule of a mailing -> the letter that it sends."""


@dataclass(frozen=True)
class PlannedMailing:
    """A mailing as planned: who gets the rule's letter, who that of a system on file as failed.

    ``people`` and ``on_file`` have the columns of addressees, ``letter`` and ``reference``;
    ``on_file`` has ``since``, the year of the oldest open case, and ``on_file``, the
    cases in words, too. ``left_out`` says why the others of the rule get none;
    ``effect`` what the letters are expected to reach.
    """

    region: Region
    run: str
    on: datetime.date
    people: pd.DataFrame
    on_file: pd.DataFrame
    left_out: pd.DataFrame
    effect: dict[str, float]


def plan_mailing(result: Result, *, on: datetime.date | None = None) -> PlannedMailing:
    """Choose whom to write to.

    Parameters
    ----------
    result
        From :func:`riskmap.assess`.
    on
        Day of the mailing; the day of the run by default.

    Raises
    ------
    RegionError
        If the rule names a zone or a neighborhood that there is not.
    """
    region = result.region
    settings, on = region.mailing, on or region.county.date
    parcels = pd.DataFrame(result.parcels.drop(columns="geometry"))
    planning = result.planning
    _refuse_unknown(region, parcels, planning)
    zones = pd.Series(dtype=object) if planning is None else _zone_of(parcels, planning)
    wells = set() if planning is None else _parcels_with_wells(planning)
    meant = parcels[meant_by_rule(parcels, settings, zone_of=zones, with_wells=wells)]
    plain, failed = part_by_record(meant, settings.to)
    sent = letters(region.log_place)
    apart = keep_to_log_and_budget(_addressees(result, failed), sent, settings, on=on)
    rest = less_spent(settings, len(apart.people))
    chosen = keep_to_log_and_budget(_addressees(result, plain), sent, rest, on=on)
    people = _numbered(chosen.people, OF_RULE[settings.to], on)
    on_file = _numbered(apart.people, ON_FILE, on)
    on_file = on_file.assign(**_cases(parcels, on_file["parcel_ids"]))
    return PlannedMailing(
        region,
        run_name(region, result.inputs),
        on,
        people,
        on_file,
        pd.concat([chosen.left_out, apart.left_out], ignore_index=True),
        expected_effect(people, parcels, settings),
    )


def reference(letter: str, audience: str, parcel_ids: str, on: datetime.date) -> str:
    """Make the number of a letter: eight signs, the same whenever the same letter is made.

    No sign can be mistaken for another (base 32 without I, L, O and U would still have 0 and 1;
    RFC 4648 has neither).

    >>> reference("general", "household", "12-1", datetime.date(2026, 6, 1))
    'N7HC-ZD4Z'
    """
    told = "|".join([letter, audience, parcel_ids, on.isoformat()])
    signs = base64.b32encode(hashlib.sha256(told.encode()).digest()).decode()[:8]
    return f"{signs[:4]}-{signs[4:]}"


def _numbered(people: pd.DataFrame, letter: str, on: datetime.date) -> pd.DataFrame:
    numbers = [
        reference(letter, audience, ids, on)
        for audience, ids in zip(people["audience"], people["parcel_ids"], strict=True)
    ]
    return people.assign(letter=letter, reference=numbers)


def _addressees(result: Result, chosen: pd.DataFrame) -> pd.DataFrame:
    return addressees(
        chosen,
        result.county.tables["parcels"],
        site_last_line=result.region.lists.site_last_line,
        residents_too=result.region.mailing.residents_too,
    )


def _zone_of(parcels: pd.DataFrame, planning: Planning) -> pd.Series:
    """Zone of each parcel whose system lies in one."""
    known = parcels[parcels["x_m"].notna()]
    x, y = (known[name].to_numpy(float) for name in ("x_m", "y_m"))
    found = holders(planning.zones.geometry.to_numpy(), x, y)
    names = [*planning.zones["zone_id"].astype(str), None]
    return pd.Series([names[place] for place in found], index=known.index, dtype=object)


def _parcels_with_wells(planning: Planning) -> set[str]:
    """Parcels with a drinking-water well in whose capture area there are systems."""
    wells = planning.wells
    return set(wells.loc[wells["capture_systems"].gt(0), "parcel_id"].dropna().astype(str))


def _refuse_unknown(region: Region, parcels: pd.DataFrame, planning: Planning | None) -> None:
    settings = region.mailing
    if planning is None and (settings.zones or settings.to == "well owners"):
        raise RegionError("[mailing] zones and wells need an elevation layer, which is not given.")
    zones = [] if planning is None else planning.zones["zone_id"].astype(str).tolist()
    areas = sorted(parcels["neighborhood"].dropna().astype(str).unique())
    for what, named, known in (
        ("zone", settings.zones, zones),
        ("neighborhood", settings.neighborhoods, areas),
    ):
        for name in named:
            if name not in known:
                raise RegionError(f"[mailing] there is no {what} {name!r}.{nearest(name, known)}")


def _cases(parcels: pd.DataFrame, parcel_ids: Iterable[str]) -> dict[str, list[str]]:
    """Year and words of what is on file of each addressee's parcels."""
    since, words = [], []
    for ids in parcel_ids:
        own = parcels.loc[ids.split("; ")]
        since.append(f"{own['on_file_year'].min():.0f}")
        words.append(" | ".join(own["on_file"].dropna().astype(str)))
    return {"since": since, "on_file": words}
