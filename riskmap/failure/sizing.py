"""How large a field must be: acceptance rates, absorption area, load ratio, rules by year."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any, Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.evidence import INFERRED, MAPPED, MEASURED, UNKNOWN
from riskmap.contract.rule_sets import LOADING_RULES, TEXAS, LoadingRule
from riskmap.contract.rules import RulePeriod

TEXTURE_CLASS: Final[Mapping[str, str]] = {
    "sand": "Ib",
    "loamy sand": "Ib",
    "sandy loam": "II",
    "loam": "II",
    "silt": "III",
    "silt loam": "III",
    "sandy clay loam": "III",
    "clay loam": "III",
    "silty clay loam": "III",
    "sandy clay": "IV",
    "silty clay": "IV",
    "clay": "IV",
}
"""USDA texture class -> class of ``texas_soil_class`` (30 TAC 285.91(6), from memory)."""

CLAY_CLASS_PCT: Final = ((20.0, "II"), (35.0, "III"), (float("inf"), "IV"))
"""Clay content below the figure -> class; own choice for soils known by clay alone."""

KSAT_ANCHORS_UM_S: Final = (0.42, 4.0, 14.0, 42.0, 141.0)
KSAT_ANCHOR_CLASSES: Final = ("IV", "III", "II", "Ib", "Ia")
"""Saturated conductivity that stands for each class. 4, 14 and 42 are break points of the national
absorption-field rule (slow water movement; poor filter); 0.42 and 141 bound the survey's slow and
rapid classes (from memory). Giving a class to each is our own choice."""

TIGHT_SOIL_POWER = 0.5
"""How acceptance falls with conductivity in soils finer than the finest class (own choice)."""


def loading_rule(name: str) -> LoadingRule:
    """Return the named loading rule; ValueError lists the names if there is none."""
    if name not in LOADING_RULES:
        raise ValueError(f"no loading rule {name!r}; known: {', '.join(sorted(LOADING_RULES))}")
    return LOADING_RULES[name]


def rate_of_class(names: npt.ArrayLike, *, rule: LoadingRule) -> Floats:
    """Look up the rate of named soil classes, L/day/m2; NaN for names the rule does not hold."""
    return _look_up(names, dict(zip(rule.names, rule.rates_l_d_m2, strict=True)))


def rate_of_percolation(percolation_min_cm: npt.ArrayLike, *, rule: LoadingRule) -> Floats:
    """Look up the rate at a percolation time (minutes per centimeter), L/day/m2.

    Between printed rows the next slower row holds. NaN outside the range the rule calls suitable.

    Examples
    --------
    >>> from riskmap.contract.rule_sets import MONTANA
    >>> from riskmap.contract.units import GPD_PER_FT2_L_D_M2, MIN_IN_MIN_CM
    >>> minutes_per_inch = np.array([5.0, 30.9, 121.0])
    >>> rate = rate_of_percolation(minutes_per_inch * MIN_IN_MIN_CM, rule=MONTANA)
    >>> (rate / GPD_PER_FT2_L_D_M2).round(3).tolist()
    [0.8, 0.4, 0.15]
    """
    if rule.key != "percolation":
        raise ValueError(f"rule {rule.name!r} uses soil class, not percolation")
    time = np.asarray(percolation_min_cm, float)
    side: Literal["left", "right"] = "right" if rule.upper_open else "left"
    row = np.searchsorted(rule.slowest_min_cm, np.nan_to_num(time, nan=-1.0), side=side)
    rates = np.append(np.asarray(rule.rates_l_d_m2), np.nan)[row]
    return np.where(time >= rule.fastest_min_cm, rates, np.nan)


def rate_of_ksat(ksat_um_s: npt.ArrayLike) -> Floats:
    """Estimate the rate from saturated conductivity, L/day/m2, smoothly (own formulation).

    Straight lines in log-log between the classes of ``texas_soil_class`` at the conductivities of
    ``KSAT_ANCHORS_UM_S``; the last line is drawn on above, and below the finest class the rate
    falls with the power `TIGHT_SOIL_POWER`. Acceptance then varies far less than conductivity (Niec
    & Spychala 2014, Water 6:2808: about an order of magnitude less). NaN unless the conductivity is
    positive.
    """
    rates = _anchor_rates()
    anchors = np.log(KSAT_ANCHORS_UM_S)
    coarse_power = (rates[-1] - rates[-2]) / (anchors[-1] - anchors[-2])
    ksat = np.asarray(ksat_um_s, float)
    x = np.log(np.where(ksat > 0, ksat, np.nan))
    above, below = np.maximum(x - anchors[-1], 0), np.minimum(x - anchors[0], 0)
    inside = np.interp(x, anchors, rates)
    return np.asarray(np.exp(inside + coarse_power * above + TIGHT_SOIL_POWER * below), float)


@cache
def _anchor_rates() -> Floats:
    """Logarithm of the rate at each anchor."""
    return np.log(rate_of_class(KSAT_ANCHOR_CLASSES, rule=TEXAS))


def ksat_of_class(names: npt.ArrayLike) -> Floats:
    """Return the conductivity that stands for a class of ``texas_soil_class``, um/s; NaN if none.

    The reverse of :func:`rate_of_ksat`, for soils whose class is known but not their conductivity.
    """
    return _look_up(names, dict(zip(KSAT_ANCHOR_CLASSES, KSAT_ANCHORS_UM_S, strict=True)))


def class_of_texture(texture: npt.ArrayLike) -> npt.NDArray[Any]:
    """Soil class of a USDA texture class name ("sandy loam"), None where not known."""
    labels = pd.Series(np.asarray(texture, object).ravel(), dtype=object)
    found = labels.str.strip().str.lower().map(TEXTURE_CLASS).to_numpy(dtype=object)
    found[pd.isna(found)] = None
    return found


def _look_up(names: npt.ArrayLike, table: Mapping[Any, float]) -> Floats:
    labels = np.asarray(names, object)
    found = pd.Series(labels.ravel(), dtype=object).map(table)
    return found.to_numpy(dtype=float).reshape(labels.shape)


def class_of_clay(clay_pct: npt.ArrayLike) -> npt.NDArray[Any]:
    """Soil class from clay content alone (own choice), None where unknown."""
    clay = np.asarray(clay_pct, float)
    names = np.array([name for _, name in CLAY_CLASS_PCT] + [None], object)
    row = np.searchsorted([limit for limit, _ in CLAY_CLASS_PCT], clay, side="right")
    return np.asarray(names[np.where(np.isnan(clay), len(CLAY_CLASS_PCT), row)])


def accept_rate_l_d_m2(
    size: int,
    *,
    rule: LoadingRule = TEXAS,
    loading_class: npt.ArrayLike | None = None,
    percolation_min_cm: npt.ArrayLike | None = None,
    texture: npt.ArrayLike | None = None,
    ksat_um_s: npt.ArrayLike | None = None,
    clay_pct: npt.ArrayLike | None = None,
) -> tuple[Floats, npt.NDArray[np.int8]]:
    """Find the rate of `size` soils by the best that is known of each, with evidence codes.

    In this order: the rule's own key (class named on the permit, or percolation test: measured),
    the permit's class by ``texas_soil_class`` (inferred), texture class (mapped), conductivity
    (inferred), clay content (inferred). A soil of which nothing is known has no rate: NaN, unknown.
    Rules by percolation, and soils without the rule's key, use the classes of ``texas_soil_class``
    for the later steps.

    Parameters
    ----------
    size
        Number of soils n.
    rule
        The acceptance rule.
    loading_class, percolation_min_cm
        From the permit, (n,); None or NaN where there is none.
    texture, ksat_um_s, clay_pct
        From the soil survey, (n,); None or NaN where unknown.
    """
    blank = np.full(size, np.nan)
    permitted = rate_on_permit_l_d_m2(
        size, rule=rule, loading_class=loading_class, percolation_min_cm=percolation_min_cm
    )
    by_name = blank if loading_class is None else rate_of_class(loading_class, rule=TEXAS)
    by_texture = blank if texture is None else rate_of_class(class_of_texture(texture), rule=TEXAS)
    by_ksat = blank if ksat_um_s is None else rate_of_ksat(ksat_um_s)
    by_clay = blank if clay_pct is None else rate_of_class(class_of_clay(clay_pct), rule=TEXAS)
    return _first_known(
        (permitted, MEASURED),
        (by_name, INFERRED),
        (by_texture, MAPPED),
        (by_ksat, INFERRED),
        (by_clay, INFERRED),
    )


def rate_on_permit_l_d_m2(
    size: int,
    *,
    rule: LoadingRule,
    loading_class: npt.ArrayLike | None = None,
    percolation_min_cm: npt.ArrayLike | None = None,
) -> Floats:
    """Rate of `size` soils by the rule's own key on the permit, L/day/m2; NaN where it has none.

    Parameters
    ----------
    size
        Number of soils n.
    rule
        The acceptance rule: a class named on the permit counts before a percolation test.
    loading_class, percolation_min_cm
        From the permit, (n,); None or NaN where there is none.
    """
    named = np.full(size, np.nan)
    if loading_class is not None:
        named = rate_of_class(loading_class, rule=rule)
    if percolation_min_cm is None or rule.key != "percolation":
        return named
    return np.where(np.isnan(named), rate_of_percolation(percolation_min_cm, rule=rule), named)


def _first_known(*steps: tuple[Floats, int]) -> tuple[Floats, npt.NDArray[np.int8]]:
    value, mark = steps[0][0].copy(), np.full(steps[0][0].shape, steps[0][1], np.int8)
    for later, code in steps[1:]:
        empty = np.isnan(value)
        value[empty] = later[empty]
        mark[empty] = code
    mark[np.isnan(value)] = UNKNOWN
    return value, mark


def absorption_area_m2(flow_l_d: npt.ArrayLike, rate_l_d_m2: npt.ArrayLike) -> Floats:
    """Area that takes a flow at a rate: flow / rate, m2.

    Examples
    --------
    >>> from riskmap.contract.units import GALLON_L, GPD_PER_FT2_L_D_M2, SQUARE_FOOT_M2
    >>> area = absorption_area_m2(300 * GALLON_L, 0.4 * GPD_PER_FT2_L_D_M2)
    >>> round(float(area) / SQUARE_FOOT_M2, 6)
    750.0
    """
    rate = np.asarray(rate_l_d_m2, float)
    return np.asarray(flow_l_d, float) / np.where(rate > 0, rate, np.nan)


def load_ratio(
    flow_l_d: npt.ArrayLike, area_m2: npt.ArrayLike, rate_l_d_m2: npt.ArrayLike
) -> Floats:
    """Flow over what the field accepts in the long term: 1 is a field used to the full.

    Parameters
    ----------
    flow_l_d
        Daily flow (n,), L/day.
    area_m2
        Area of the field on the basis of the rate (n,), m2.
    rate_l_d_m2
        Long-term acceptance rate (n,), L/day/m2.

    Returns
    -------
    ndarray
        NaN where an input is NaN or the capacity is not positive.
    """
    capacity = np.asarray(area_m2, float) * np.asarray(rate_l_d_m2, float)
    return np.asarray(flow_l_d, float) / np.where(capacity > 0, capacity, np.nan)


def period_in_force(
    year: npt.ArrayLike, periods: Sequence[RulePeriod]
) -> tuple[npt.NDArray[np.intp], Flags]:
    """Which period's rules held in each year, and whether that is only assumed.

    The later-listed period wins where two hold. A year that no period covers takes the nearest
    period's rules, an unknown year the last listed: both are assumed.

    Returns
    -------
    index into `periods`, flag True where assumed.
    """
    if not periods:
        raise ValueError("no rule periods given")
    years = np.asarray(year, float)
    start = np.array([-np.inf if p.first_year is None else p.first_year for p in periods])
    end = np.array([np.inf if p.last_year is None else p.last_year for p in periods])
    whole = np.floor(years)[..., None]
    gap = np.maximum(np.maximum(start - whole, whole - end), 0.0)
    last = len(periods) - 1
    gap = np.where(np.isnan(whole), np.where(np.arange(last + 1) == last, 0.0, 1.0), gap)
    index = last - np.argmin(gap[..., ::-1], axis=-1)
    return index, np.isnan(years) | (np.min(gap, axis=-1) > 0)
