"""How much sewage a system takes in a day, and how much it was designed for."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.evidence import ASSUMED, INFERRED, MEASURED
from riskmap.failure.rules_data import FLOW_RULES, PERSON_USE, FlowRule

HOUSEHOLD_PERSONS: Final = 2.5
"""Persons of a household when nothing is known (US average, from memory)."""
PERSONS_PER_BEDROOM: Final = 0.85
"""Persons actually living per bedroom: 2.5 persons in about 3 bedrooms (own choice). Design rules
count on two; sizing the day's use by the design rule would make every system look full."""
DESIGN_USE_FRAC: Final = 0.5
"""Share of the design flow that is used on an ordinary day (own choice; 0.85 x 68.6 gal/150 gal
gives 0.4, design practice holds a factor of about two)."""
DEFAULT_BEDROOMS: Final = 3.0
"""Bedrooms a system was designed for when nothing is known (own choice)."""


def flow_rule(name: str) -> FlowRule:
    """Return the named flow rule; ValueError lists the names if there is none."""
    if name not in FLOW_RULES:
        raise ValueError(f"no flow rule {name!r}; known: {', '.join(sorted(FLOW_RULES))}")
    return FLOW_RULES[name]


def rule_flow_l_d(count: npt.ArrayLike, *, rule: str | FlowRule) -> Floats:
    """Daily flow of `count` persons or bedrooms by a named rule, L/day.

    Examples
    --------
    >>> from riskmap.contract.units import GALLON_L
    >>> (rule_flow_l_d([3.0], rule="bedroom_montana") / GALLON_L).round(6).tolist()
    [300.0]
    """
    chosen = flow_rule(rule) if isinstance(rule, str) else rule
    return np.asarray(count, float) * chosen.each_l_d


def persons(
    occupants: npt.ArrayLike,
    bedrooms: npt.ArrayLike,
    *,
    dwellings: npt.ArrayLike = 1.0,
    persons_per_bedroom: float = PERSONS_PER_BEDROOM,
    household: float = HOUSEHOLD_PERSONS,
) -> tuple[Floats, npt.NDArray[np.int8]]:
    """Persons served: recorded, else from bedrooms, else an average household per dwelling.

    No bedroom on record (0 or NaN) counts as unknown; recorded occupants may be 0.

    Returns
    -------
    persons, evidence codes (measured, inferred, assumed).
    """
    people, beds = _clean(occupants), _clean(bedrooms, zero=False)
    homes = np.nan_to_num(_clean(dwellings, zero=False), nan=1.0)
    people, beds, homes = np.broadcast_arrays(people, beds, homes)
    value = np.where(np.isnan(people), beds * persons_per_bedroom, people)
    mark = np.where(np.isnan(people), INFERRED, MEASURED)
    mark = np.where(np.isnan(value), ASSUMED, mark).astype(np.int8)
    return np.where(np.isnan(value), homes * household, value), mark


def daily_flow_l_d(
    occupants: npt.ArrayLike,
    bedrooms: npt.ArrayLike,
    *,
    dwellings: npt.ArrayLike = 1.0,
    design_flow_l_d: npt.ArrayLike = np.nan,
    metered_l_d: npt.ArrayLike = np.nan,
    rule: str = PERSON_USE.name,
    design_use_frac: float = DESIGN_USE_FRAC,
) -> tuple[Floats, npt.NDArray[np.int8]]:
    """Flow of an ordinary day, L/day, with evidence codes.

    In this order: a meter; the rule on recorded occupants or bedrooms (a per-person rule turns
    bedrooms into persons first, a per-bedroom rule prefers bedrooms and falls back on persons); a
    share of the permit's design flow; an average household.
    """
    by_rule, mark = _flow_by_rule(occupants, bedrooms, dwellings, flow_rule(rule))
    metered, design = _clean(metered_l_d), _clean(design_flow_l_d, zero=False) * design_use_frac
    by_rule, mark, metered, design = np.broadcast_arrays(by_rule, mark, metered, design)
    use_design = (mark == ASSUMED) & ~np.isnan(design)
    flow = np.where(use_design, design, by_rule)
    marks = np.where(use_design, INFERRED, np.maximum(mark, INFERRED))
    known = ~np.isnan(metered)
    return np.where(known, metered, flow), np.where(known, MEASURED, marks).astype(np.int8)


def _flow_by_rule(
    occupants: npt.ArrayLike, bedrooms: npt.ArrayLike, dwellings: npt.ArrayLike, rule: FlowRule
) -> tuple[Floats, npt.NDArray[np.int8]]:
    people, mark = persons(occupants, bedrooms, dwellings=dwellings)
    if rule.per == "person":
        return people * rule.each_l_d, mark
    beds = np.broadcast_to(_clean(bedrooms, zero=False), people.shape)
    known: Flags = ~np.isnan(beds)
    flow = np.where(known, beds * rule.each_l_d, people * PERSON_USE.each_l_d)
    return flow, np.where(known, INFERRED, mark).astype(np.int8)


def _clean(values: npt.ArrayLike, *, zero: bool = True) -> Floats:
    """Float array in which negative values (and zeros, unless allowed) are unknown."""
    array = np.asarray(values, float)
    bad = array < 0 if zero else array <= 0
    return np.where(bad, np.nan, array)
