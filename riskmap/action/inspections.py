"""Which systems to visit, and what to look for at each.

The signs to look for are common practice, no single source; the outward signs of a field in
trouble are those of EPA's A Homeowner's Guide to Septic Systems (EPA-832-B-02-005, 2005; from
memory). They are prompts for a trained eye, not a procedure.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import pandas as pd

from riskmap.action.stops import plan_days
from riskmap.contract.units import FOOT_M

ALWAYS: Final = (
    "Soggy ground, standing water, smell or a strip of rank grass over the field",
    "Slow drains or sewage backing up in the house: ask the people who live there",
)
"""What is looked for at every stop."""
MOST_PROMPTS: Final = 7

Test = Callable[[pd.Series], pd.Series]


@dataclass(frozen=True)
class Prompt:
    """One thing to look for where a feature says so; ``holds`` takes the column."""

    feature: str
    holds: Test
    words: str


def _at_least(limit: float) -> Test:
    return lambda values: pd.to_numeric(values, errors="coerce") >= limit


def _at_most(limit: float) -> Test:
    return lambda values: pd.to_numeric(values, errors="coerce") <= limit


def _one_of(*words: str) -> Test:
    return lambda values: values.isin(words)


PROMPTS: Final = (
    Prompt(
        "last_stage",
        _one_of("failed", "stressed"),
        "What became of the trouble found at the last visit; whether a repair was made",
    ),
    Prompt(
        "complaints", _at_least(1), "What the complaint on record was about, and whether it is gone"
    ),
    Prompt("repairs", _at_least(1), "Where the repair was made and how it holds"),
    Prompt(
        "kind",
        _one_of("cesspool", "seepage_pit"),
        "A pit instead of a field: note cover, sinking ground and distance to wells. Keep off it",
    ),
    Prompt(
        "kind",
        _one_of("holding_tank"),
        "Pumping receipts, the alarm, and any outlet that should not be there",
    ),
    Prompt(
        "kind",
        _one_of("aerobic_unit", "mound", "drip"),
        "Alarm, pump and service contract; wet spots at the toe of the mound or along the lines",
    ),
    Prompt(
        "age_yr",
        _at_least(30),
        "Sunken covers, rusted or broken baffles as far as seen from outside",
    ),
    Prompt("years_since_pumped_yr", _at_least(5), "Date of the last pump-out: ask for the receipt"),
    Prompt(
        "well_distance_m",
        _at_most(100 * FOOT_M),
        "The well: pace its distance from the field; cap and casing sound and above ground",
    ),
    Prompt(
        "waterbody_distance_m",
        _at_most(100 * FOOT_M),
        "The shore: seepage, algae, a pipe to the water",
    ),
    Prompt(
        "stream_distance_m", _at_most(100 * FOOT_M), "The stream bank: seepage, gray growth, a pipe"
    ),
    Prompt(
        "flood_zone",
        _one_of("floodway", "hundred_year"),
        "Flood marks, washed-out soil, tank lids that leak",
    ),
    Prompt(
        "wet_depth_cm",
        _at_most(60),
        "Wet-season water: mottled soil, ditches, sump pumps; where they drain to",
    ),
    Prompt("slope_pct", _at_least(15), "Seepage below the field, down the slope"),
    Prompt(
        "restriction_cm",
        _at_most(75),
        "Rock or hard soil at the surface; fill brought in for the field",
    ),
    Prompt(
        "lot_m2", _at_most(2000), "Cars, sheds or paving over the field; room left for another one"
    ),
    Prompt(
        "ksat_um_s",
        _at_most(1),
        "Roof and sump water led onto the field: tight soil has no room for it",
    ),
)
"""In the order in which they are printed; the first that hold, up to :data:`MOST_PROMPTS`."""


def inspection_stops(
    ranked: pd.DataFrame,
    *,
    stops: int,
    per_day: int = 8,
    start: tuple[float, float] | None = None,
) -> pd.DataFrame:
    """Choose the first ranked systems and group them into days in driving order.

    Parameters
    ----------
    ranked
        Features and ranks, index ``parcel_id``; reads ``rank``, ``x_m``, ``y_m``.
    stops
        How many of the first ranked; 0 for all.
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
    known = ranked["rank"].notna() & ranked["x_m"].notna() & ranked["y_m"].notna()
    first = ranked[known.to_numpy(dtype=bool)].sort_values("rank", kind="stable")
    if stops:
        first = first.head(stops)
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
    """Prompts for each row: the general ones, then those its features call for."""
    prompts = [[*ALWAYS] for _ in range(len(features))]
    for prompt in PROMPTS:
        if prompt.feature not in features:
            continue
        holds = prompt.holds(features[prompt.feature]).fillna(False).to_numpy(dtype=bool)
        for row in holds.nonzero()[0]:
            if len(prompts[row]) < MOST_PROMPTS:
                prompts[row].append(prompt.words)
    return [tuple(words) for words in prompts]
