"""Whom a mailing is for: by rule, less those who asked for no more or were written to of late.

Systems on file as failed are put apart: they get another letter, which a person releases.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from riskmap.action.aims import chance_to_find, on_file_as_failed
from riskmap.action.mailing_settings import MailingSettings, To
from riskmap.contract.letters import NO_MORE
from riskmap.contract.vocabulary import FIRST_CLASSES

LEFT_OUT: Final = ("asked for no more letters", "written to of late", "beyond the budget")
"""Why an addressee who is meant by the rule gets no letter."""


def meant_by_rule(
    parcels: pd.DataFrame,
    settings: MailingSettings,
    *,
    zone_of: pd.Series,
    with_wells: Collection[str],
) -> pd.Series:
    """Flag (n,) the parcels that the rule of a mailing means.

    Parameters
    ----------
    parcels
        Ranked table, index ``parcel_id``; parcels without a rank are not meant.
    settings
        The rule.
    zone_of
        ``zone_id`` of each parcel that lies in a zone, index ``parcel_id``.
    with_wells
        Parcels with a drinking-water well in whose capture area there are systems.
    """
    ranked = parcels["rank"].notna()
    rules: dict[To, Callable[[], pd.Series]] = {
        "first on the list": lambda: ranked & parcels["priority_class"].isin(list(FIRST_CLASSES)),
        "pump-out overdue": lambda: ranked & parcels["pump_overdue_yr"].gt(0).fillna(False),
        "well owners": lambda: pd.Series(parcels.index.isin(list(with_wells)), parcels.index),
    }
    meant = rules[settings.to]()
    if settings.zones:
        meant &= zone_of.reindex(parcels.index).isin(list(settings.zones))
    if settings.neighborhoods:
        meant &= parcels["neighborhood"].isin(list(settings.neighborhoods))
    return meant.astype(bool)


def part_by_record(parcels: pd.DataFrame, to: To) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Part the meant parcels into those for the general letter and those on file as failed.

    A letter to a well's owner is about the well: nobody is put apart.
    """
    ordered = parcels.sort_values("rank", kind="stable", na_position="last")
    failed = on_file_as_failed(ordered) & (to != "well owners")
    return ordered[~failed], ordered[failed]


@dataclass(frozen=True)
class Mailing:
    """Addressees who are written to, and why the others of the rule are not.

    ``left_out`` has the columns of addressees and ``why``.
    """

    people: pd.DataFrame
    left_out: pd.DataFrame


def keep_to_log_and_budget(
    people: pd.DataFrame, letters: pd.DataFrame, settings: MailingSettings, *, on: datetime.date
) -> Mailing:
    """Leave out who asked for no more letters or was written to of late, then who costs too much.

    Parameters
    ----------
    people
        Addressees, best rank first (:func:`riskmap.action.mailing.addressees`).
    letters
        What the log has of earlier letters: ``parcel_ids``, ``audience``, ``sent_on``, ``answer``.
    settings
        Budget, cost and how long nobody is written to again.
    on
        Day of the mailing.
    """
    no_more = _about(letters[letters["answer"].eq(NO_MORE)])
    since = pd.Timestamp(on) - pd.Timedelta(days=settings.not_again_d)
    lately = _about(letters[letters["sent_on"].gt(since)])
    why = np.full(len(people), "", dtype=object)
    for place, (audience, ids) in enumerate(
        zip(people["audience"], people["parcel_ids"], strict=True)
    ):
        about = {(audience, parcel) for parcel in ids.split("; ")}
        why[place] = LEFT_OUT[0] if about & no_more else LEFT_OUT[1] if about & lately else ""
    room = letters_for(settings)
    if room is not None:
        why[np.flatnonzero(why == "")[room:]] = LEFT_OUT[2]
    chosen = people[why == ""].reset_index(drop=True)
    return Mailing(
        chosen.assign(order=range(1, len(chosen) + 1)),
        people.assign(why=why)[why != ""].reset_index(drop=True),
    )


def letters_for(settings: MailingSettings) -> int | None:
    """Letters that the budget pays for; None without one.

    >>> letters_for(MailingSettings(budget=100.0, cost=0.8))
    125
    """
    if settings.budget is None or not settings.cost:
        return None
    return int(settings.budget / settings.cost + 1e-9)


def less_spent(settings: MailingSettings, letters: int) -> MailingSettings:
    """Take letters off the budget: those to systems on file come first.

    >>> less_spent(MailingSettings(budget=100.0, cost=0.8), 25).budget
    80.0
    """
    if settings.budget is None or not settings.cost:
        return settings
    return replace(settings, budget=max(0.0, settings.budget - letters * settings.cost))


def _about(letters: pd.DataFrame) -> set[tuple[str, str]]:
    """Whom letters went to: audience and parcel; names and addresses are not in the log."""
    pairs = zip(letters["audience"], letters["parcel_ids"], strict=True)
    return {(audience, parcel) for audience, ids in pairs for parcel in ids.split("; ")}


def expected_effect(
    people: pd.DataFrame, parcels: pd.DataFrame, settings: MailingSettings
) -> dict[str, float]:
    """Work out what a mailing is expected to reach.

    Returns
    -------
    dict
        ``letters``; ``systems`` they are about; ``failing``, how many of these are expected to have
        failed by the best chance that is told; ``failing_at_random``, the same of as many systems
        drawn at random from all that this letter may go to; where the share of addressees who act
        is given ``acting``, the failed systems that get looked at; and ``cost`` where a letter's
        cost is given.
    """
    ids = [parcel for text in people["parcel_ids"] for parcel in text.split("; ")]
    ranked = parcels[parcels["rank"].notna()]
    may, _ = part_by_record(ranked, settings.to)
    chance = pd.Series(chance_to_find(ranked), index=ranked.index)
    told = {
        "letters": float(len(people)),
        "systems": float(len(ids)),
        "failing": float(chance.reindex(ids).fillna(0).sum()),
        "failing_at_random": float(chance[may.index].mean() * len(ids)) if len(may) else 0.0,
    }
    if settings.acting_frac is not None:
        told["acting"] = told["failing"] * settings.acting_frac
    if settings.cost is not None:
        told["cost"] = len(people) * settings.cost
    return told
