"""Which systems to visit, and what to look for at each.

The signs to look for are common practice, no single source; the outward signs of a field in trouble
are those of EPA's A Homeowner's Guide to Septic Systems (EPA-832-B-02-005, 2005; from memory). They
are prompts for a trained eye, not a procedure, and are given with the columns that they go by
(:class:`riskmap.contract.columns.Prompt`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.action.aims import first_of_lists
from riskmap.action.stops import plan_days
from riskmap.contract.arrays import Flags
from riskmap.contract.columns import Prompt
from riskmap.contract.features import COLUMNS

ALWAYS: Final = (
    "Soggy ground, standing water, smell or a strip of rank grass over the field",
    "Slow drains or sewage backing up in the house: ask the people who live there",
)
"""What is looked for at every stop."""
MOST_PROMPTS: Final = 7


def inspection_stops(
    ranked: pd.DataFrame,
    *,
    stops: int,
    followup_frac: float,
    per_day: int = 8,
    start: tuple[float, float] | None = None,
) -> pd.DataFrame:
    """Choose the first systems of both lists and group them into days in driving order.

    Parameters
    ----------
    ranked
        Features and ranks, index ``parcel_id``; reads ``worklist``, ``list_rank``, ``x_m``,
        ``y_m``.
    stops
        How many; 0 for all.
    followup_frac
        Most of them for systems on file, 0..1.
    per_day
        Most stops a day.
    start
        Easting and northing of the office (m), or None.

    Returns
    -------
    DataFrame
        Rows of `ranked` with ``day``, ``stop``, ``leg_m`` (see
        :func:`riskmap.action.stops.plan_days`) and ``look_for`` (tuples of text), by day and
        stop. Ranked systems without a position are left out.
    """
    known = ranked["x_m"].notna() & ranked["y_m"].notna()
    first = first_of_lists(ranked[known.to_numpy(dtype=bool)], stops, followup_frac)
    plan = plan_days(
        first["x_m"].to_numpy(dtype=float),
        first["y_m"].to_numpy(dtype=float),
        per_day=per_day,
        start=start,
    )
    plan["look_for"] = look_for(first)
    table = first.assign(**{str(name): plan[name].to_numpy() for name in plan})
    return table.sort_values(["day", "stop"], kind="stable")


def look_for(features: pd.DataFrame) -> list[tuple[str, ...]]:
    """Prompts for each row: the general ones, then the most urgent that its columns call for."""
    prompts = [[*ALWAYS] for _ in range(len(features))]
    for name, prompt in _by_urgency():
        if name not in features:
            continue
        for row in _holds(prompt, features[name]).nonzero()[0]:
            if len(prompts[row]) < MOST_PROMPTS:
                prompts[row].append(prompt.words)
    return [tuple(words) for words in prompts]


def _by_urgency() -> list[tuple[str, Prompt]]:
    """List the declared prompts with their columns, the most urgent first."""
    pairs = [(column.name, prompt) for column in COLUMNS.values() for prompt in column.prompts]
    return sorted(pairs, key=lambda pair: pair[1].urgency)


def _holds(prompt: Prompt, values: pd.Series) -> Flags:
    """Rows of which a prompt holds; never where the value is unknown."""
    if prompt.among:
        return values.isin(prompt.among).to_numpy(dtype=bool)
    numbers = pd.to_numeric(values, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    least = -np.inf if prompt.least is None else prompt.least
    most = np.inf if prompt.most is None else prompt.most
    return (numbers >= least) & (numbers <= most)
