"""Scenarios as tables: against today with 90% ranges, and which step buys most per dollar."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
import pandas as pd

from riskmap.whatif.following import MEASURES, TODAY, Followed
from riskmap.whatif.steps import Plan

ENDS: Final = (5.0, 50.0, 95.0)
"""Percentiles of a 90% range, and its middle."""
PER: Final = 1_000_000.0
"""Money that a step's effect is told for."""


def compared(followed: Followed) -> pd.DataFrame:
    """Put every scenario beside today, a row a scenario and measure.

    Returns
    -------
    DataFrame
        ``scenario``, ``measure``, ``today``, ``then`` (means over the draws), ``change`` with
        ``change_low`` and ``change_high``, the 90% range of the difference on the same draws, and
        ``cost``. Measures that the county does not tell are left out.
    """
    today = followed.draws[TODAY.name]
    rows = []
    for name, told in followed.draws.items():
        for measure, values in told.items():
            apart = values - today[measure]
            if np.isnan(apart).all():
                continue
            low, _, high = np.percentile(apart, ENDS)
            rows.append(
                {"scenario": name, "measure": measure, "today": today[measure].mean(),
                 "then": values.mean(), "change": apart.mean(), "change_low": low,
                 "change_high": high, "cost": followed.cost[name]}
            )  # fmt: skip
    return pd.DataFrame(rows)


def waters_compared(followed: Followed) -> pd.DataFrame:
    """Put the lakes of every scenario beside today, a row a scenario and water that is reached.

    Returns
    -------
    DataFrame
        ``scenario``, ``water``, ``systems_today`` and ``systems_then`` whose plumes come to it, and
        nitrogen that arrives, kg a year: ``today``, ``then``, ``change``, ``change_low``,
        ``change_high`` as in :func:`compared`. Waters that no plume comes to, today or then, are
        left out; those with the most today come first.
    """
    today = followed.arriving.get(TODAY.name, np.zeros((1, 0)))
    rows = []
    for name, values in followed.arriving.items():
        apart = values - today
        low, _, high = np.percentile(apart, ENDS, axis=0)
        rows.append(
            pd.DataFrame(
                {"scenario": name, "water": followed.waters,
                 "systems_today": followed.reaching[TODAY.name],
                 "systems_then": followed.reaching[name], "today": today.mean(axis=0),
                 "then": values.mean(axis=0), "change": apart.mean(axis=0), "change_low": low,
                 "change_high": high}
            ).sort_values("today", ascending=False, kind="stable")
        )  # fmt: skip
    table = pd.concat(rows, ignore_index=True) if rows else pd.DataFrame()
    return table[table[["systems_today", "systems_then"]].gt(0).any(axis=1)] if rows else table


def single_steps(plans: Sequence[Plan]) -> Iterator[Plan]:
    """Give every step of some scenarios as a scenario of its own; a step that recurs once."""
    seen: dict[str, Plan] = {}
    for plan in plans:
        for number, step in enumerate(plan.steps, start=1):
            if step in [one.steps[0] for one in seen.values()]:
                continue
            name = f"{plan.name}, step {number}: {step.title}"
            seen[name] = Plan(name, (step,), plan.folder)
    yield from seen.values()


def worth_of_steps(followed: Followed, steps: Sequence[Plan]) -> pd.DataFrame:
    """Rank steps by what they buy for the money, each alone against today.

    Returns
    -------
    DataFrame
        ``step``, ``systems`` touched, ``cost``, and for each measure how much less there is of it
        (``less_failing`` ...) and how much less for a million (``per_million_failing`` ...; NaN
        without a cost). Best for failures first; steps without a cost last, by their effect.
    """
    table = compared(followed)
    rows = []
    for plan in steps:
        own = table[table["scenario"] == plan.name].set_index("measure")
        cost = followed.cost[plan.name]
        less = {name: -own["change"].astype(float)[name] for name in MEASURES if name in own.index}
        each = {
            f"per_million_{name}": value / cost * PER if cost > 0 else np.nan
            for name, value in less.items()
        }
        rows.append(
            {"step": plan.name, "systems": sum(followed.touched[plan.name]), "cost": cost,
             **{f"less_{name}": value for name, value in less.items()}, **each}
        )  # fmt: skip
    made = pd.DataFrame(rows)
    if made.empty:
        return made
    order = ["per_million_failing", "less_failing"]
    return made.sort_values(order, ascending=False, na_position="last", ignore_index=True)
