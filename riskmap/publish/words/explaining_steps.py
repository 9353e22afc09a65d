"""How the derived numbers of one parcel came about, step by step, so that each can be redone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isnan, nan
from typing import Any

import pandas as pd

from riskmap.contract.kinds import kind_of
from riskmap.contract.rule_sets import FLOW_RULES
from riskmap.failure.flow import persons
from riskmap.groundwater.nitrogen import present_frac
from riskmap.region.sections import Region

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Step:
    """One number: the feature, the sum as text with its numbers in it, and what the sum gives.

    ``value`` is worked out here again from the numbers shown; NaN where a number is unknown.
    """

    feature: str
    text: str
    value: float


def soil_parts(
    parcel_id: str, soil_shares: pd.DataFrame, component_ratings: pd.DataFrame
) -> pd.DataFrame:
    """Soil components under the treatment area with their weights, largest first.

    The weight is the map unit's share of the area times the component's share of the listed
    percentages of its unit.

    Parameters
    ----------
    parcel_id
        The parcel.
    soil_shares
        ``parcel_id``, ``mukey``, ``frac``: share of the treatment area, 0..1.
    component_ratings
        Rated components; index ``cokey``, with ``mukey`` and ``comppct``.
    """
    listed = component_ratings[component_ratings["comppct"].gt(0)].rename_axis("cokey")
    listed = listed.reset_index()
    total = listed.groupby("mukey")["comppct"].transform("sum")
    listed = listed.assign(part=listed["comppct"] / total)
    own = soil_shares[soil_shares["parcel_id"] == parcel_id]
    parts = own.merge(listed, on="mukey", how="inner")
    parts["weight"] = parts["frac"] / max(1.0, own["frac"].sum()) * parts["part"]
    return parts.sort_values("weight", ascending=False, kind="stable", ignore_index=True)


def steps(row: Row, *, region: Region) -> list[Step]:
    """List the steps from what is known of a parcel to its derived features."""
    made = [
        _age(row, region),
        _flow(row, region),
        _load(row),
        _reserve(row),
        _overdue(row),
        _room(row),
        _nitrogen(row, region),
    ]
    return [step for step in made if step is not None]


def rating_step(parts: pd.DataFrame, least_frac: float) -> Step:
    """Give the soil rating as the weighted mean over the rated components, if they cover enough."""
    rated = parts[parts["rating"].notna()]
    terms = " + ".join(f"{w:.4f} x {r:.3f}" for w, r in rated[["weight", "rating"]].to_numpy())
    total = float(rated["weight"].sum())
    if total < least_frac:
        text = f"rated soils cover {total:.4f} of the area, less than {least_frac:g}"
        return Step("soil_rating", text, nan)
    value = float((rated["weight"] * rated["rating"]).sum() / total)
    return Step("soil_rating", f"({terms}) / {total:.4f}", value)


def _number(row: Row, name: str) -> float:
    value = row.get(name)
    return nan if value is None or value is pd.NA else float(value)


def _age(row: Row, region: Region) -> Step:
    year, now = _number(row, "installed_year"), region.county.date.year
    text = f"{now} - {year:.6g} (year installed, {row['installed_year_evidence']})"
    return Step("age_yr", text, max(0.0, now - year) if not isnan(year) else nan)


def _flow(row: Row, region: Region) -> Step | None:
    """Give the flow by the rule; None where a permit's or a meter's flow was used instead."""
    rule = FLOW_RULES[region.rules.flow_rule]
    people, use = _persons(row, region), region.failure.water_use_ratio
    beds = _number(row, "bedrooms")
    count, unit = (beds, "bedrooms") if rule.per == "bedroom" else (people, "persons")
    value = count * rule.each_l_d * use
    found = _number(row, "daily_flow_l_d")
    if isnan(value) or abs(value - found) > 1e-6 * max(found, 1.0):
        return None
    times = "" if use == 1.0 else f" x {use:g}"
    text = f"{count:.6g} {unit} x {rule.each_l_d:.6g} L/day ({rule.name}){times}"
    return Step("daily_flow_l_d", text, value)


def _persons(row: Row, region: Region) -> float:
    people, _ = persons(
        [_number(row, "occupants")],
        [_number(row, "bedrooms")],
        dwellings=[_number(row, "dwellings")],
        rules=region.rules,
    )
    return float(people[0])


def _load(row: Row) -> Step:
    flow, area = _number(row, "daily_flow_l_d"), _number(row, "field_area_used_m2")
    rate = _number(row, "accept_rate_l_d_m2")
    text = f"{flow:.6g} L/day / ({area:.6g} m2 x {rate:.6g} L/day/m2)"
    return Step("load_ratio", text, flow / (area * rate) if area * rate else nan)


def _reserve(row: Row) -> Step:
    depth, inlet = _number(row, "ponding_m"), _number(row, "inlet_m")
    by = "clogging model" if isnan(_number(row, "ponding_found_cm")) else "found by a visitor"
    text = f"1 - {depth:.6g} m standing / {inlet:.6g} m to the inlet, at least 0 ({by})"
    left = 1 - depth / inlet if inlet else nan
    return Step("reserve_frac", text, left if isnan(left) else max(0.0, left))


def _overdue(row: Row) -> Step:
    since, interval = _number(row, "years_since_pumped_yr"), _number(row, "pump_interval_yr")
    text = f"{since:.6g} years since the last pump-out - {interval:.6g} years it lasts, at least 0"
    late = since - interval
    return Step("pump_overdue_yr", text, late if isnan(late) else max(0.0, late))


def _room(row: Row) -> Step:
    left, needed = _number(row, "room_m2"), _number(row, "room_needed_m2")
    text = f"{left:.6g} m2 left / {needed:.6g} m2 needed"
    return Step("room_ratio", text, left / needed if needed else nan)


def _nitrogen(row: Row, region: Region) -> Step:
    people, water = _persons(row, region), region.groundwater
    removed = _number(row, "nitrogen_removed_frac")
    removed = kind_of(row["kind"]).removed_frac[0] if isnan(removed) else removed
    each, lost = water.per_person_kg_yr, water.denitrified_frac
    present = float(present_frac([row["land_use"]], water)[0])
    text = (
        f"{people:.6g} persons x {each:g} kg/yr x (1 - {removed:g} removed before the soil) x "
        f"(1 - {lost:g} lost below the field)"
    )
    if present != 1:
        text += f" x {present:.3g} of the year lived in"
    return Step("nitrogen_kg_yr", text, people * present * each * (1 - removed) * (1 - lost))
