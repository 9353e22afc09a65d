"""How much sewage a system takes in a day, and how much it was designed for."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.evidence import ASSUMED, INFERRED, MEASURED
from riskmap.contract.rule_sets import FLOW_RULES, PERSON_USE, FlowRule
from riskmap.contract.rules import Rules


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
    rules: Rules,
) -> tuple[Floats, npt.NDArray[np.int8]]:
    """Persons served: recorded, else from bedrooms, else an average household per dwelling.

    No bedroom on record (0 or NaN) counts as unknown; recorded occupants may be 0.

    Parameters
    ----------
    occupants, bedrooms, dwellings
        On record, scalar or shape (n,); NaN where unknown.
    rules
        Persons per bedroom and per dwelling.

    Returns
    -------
    persons, evidence codes (measured, inferred, assumed).
    """
    people, beds = _clean(occupants), _clean(bedrooms, zero=False)
    homes = np.nan_to_num(_clean(dwellings, zero=False), nan=1.0)
    people, beds, homes = np.broadcast_arrays(people, beds, homes)
    value = np.where(np.isnan(people), beds * rules.persons_per_bedroom, people)
    mark = np.where(np.isnan(people), INFERRED, MEASURED)
    mark = np.where(np.isnan(value), ASSUMED, mark).astype(np.int8)
    return np.where(np.isnan(value), homes * rules.persons_per_dwelling, value), mark


def daily_flow_l_d(
    occupants: npt.ArrayLike,
    bedrooms: npt.ArrayLike,
    *,
    dwellings: npt.ArrayLike = 1.0,
    design_flow_l_d: npt.ArrayLike = np.nan,
    metered_l_d: npt.ArrayLike = np.nan,
    use_ratio: float = 1.0,
    rules: Rules,
) -> tuple[Floats, npt.NDArray[np.int8]]:
    """Flow of an ordinary day, L/day, with evidence codes.

    In this order: a meter; the rule on recorded occupants or bedrooms (a per-person rule turns
    bedrooms into persons first, a per-bedroom rule prefers bedrooms and falls back on persons); a
    share of the permit's design flow; an average household.

    Parameters
    ----------
    occupants, bedrooms, dwellings, design_flow_l_d, metered_l_d
        On record, scalar or shape (n,); NaN where unknown.
    use_ratio
        What all flows but metered ones are multiplied by.
    rules
        Flow rule, and the values used where nothing is on record.
    """
    by_rule, mark = _flow_by_rule(occupants, bedrooms, dwellings, rules)
    metered, design = _clean(metered_l_d), _clean(design_flow_l_d, zero=False)
    design = design * rules.design_use_frac
    by_rule, mark, metered, design = np.broadcast_arrays(by_rule, mark, metered, design)
    use_design = (mark == ASSUMED) & ~np.isnan(design)
    flow = np.where(use_design, design, by_rule)
    marks = np.where(use_design, INFERRED, np.maximum(mark, INFERRED))
    known = ~np.isnan(metered)
    value = np.where(known, metered, flow * use_ratio)
    return value, np.where(known, MEASURED, marks).astype(np.int8)


def _flow_by_rule(
    occupants: npt.ArrayLike, bedrooms: npt.ArrayLike, dwellings: npt.ArrayLike, rules: Rules
) -> tuple[Floats, npt.NDArray[np.int8]]:
    rule = flow_rule(rules.flow_rule)
    people, mark = persons(occupants, bedrooms, dwellings=dwellings, rules=rules)
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
