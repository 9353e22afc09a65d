"""One call from inventory columns to flow, capacity, clogging outlook and chance of failing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract import evidence as ev
from riskmap.contract.arrays import Floats
from riskmap.contract.evidence import Codes
from riskmap.contract.rule_sets import TEXAS, LoadingRule
from riskmap.contract.rules import Rules
from riskmap.failure.aging import DEFAULT_AGING, AgingModel, chance_failing_frac
from riskmap.failure.field_state import (
    FieldCase,
    field_outlook,
    stage_of,
    surface_rate_l_d_m2,
    with_ponding_found,
)
from riskmap.failure.flow import daily_flow_l_d, flow_rule, persons, rule_flow_l_d
from riskmap.failure.geometry import (
    SIZED_AS_BED,
    TANKLESS,
    FieldShape,
    field_note,
    field_shape,
    kind_codes,
)
from riskmap.failure.pumping import (
    assumed_years_since_pumped_yr,
    neglect,
    pump_interval_yr,
    pump_overdue_yr,
    recovering,
)
from riskmap.failure.settings import FailureSettings
from riskmap.failure.sizing import (
    absorption_area_m2,
    accept_rate_l_d_m2,
    class_of_clay,
    class_of_texture,
    ksat_of_class,
    load_ratio,
    loading_rule,
    period_in_force,
)

LEAST_KSAT_UM_S: Final = 0.01
"""Conductivities are taken as at least this: a soil never conducts exactly nothing."""


@dataclass(frozen=True)
class _Inputs:
    """Inventory columns with NaN for those that are absent."""

    frame: pd.DataFrame

    def number(self, name: str, *, least: float = 0.0) -> Floats:
        if name not in self.frame:
            return np.full(len(self.frame), np.nan)
        values = pd.to_numeric(self.frame[name]).astype("Float64").to_numpy(float, na_value=np.nan)
        return np.where(values >= least, values, np.nan)

    def text(self, name: str) -> npt.NDArray[Any]:
        if name not in self.frame:
            return np.full(len(self.frame), None, dtype=object)
        return self.frame[name].astype(object).to_numpy()

    def mark(self, name: str) -> Codes:
        marks = ev.codes(self.frame.get(f"{name}_evidence"), len(self.frame))
        return np.minimum(marks, np.int8(ev.ASSUMED))


def assess_failure(
    systems: pd.DataFrame | Mapping[str, Any],
    *,
    rules: Rules,
    physics: FailureSettings,
    margin: float = 1.0,
    aging: Mapping[str, AgingModel] = DEFAULT_AGING,
    hazard_multiplier: npt.ArrayLike = 1.0,
) -> pd.DataFrame:
    """Assess every system: flow, capacity, pumping, ponding, years left, chance of failing.

    Parameters
    ----------
    systems
        Columns named as in the inventory; an absent column is an unknown one: ``kind, age_yr,
        installed_year, dwellings, bedrooms, occupants, metered_flow_l_d, tank_volume_l,
        design_flow_l_d, field_area_m2, loading_class, percolation_min_cm, texture, ksat_um_s,
        clay_pct, wet_depth_cm, restriction_cm, years_since_pumped_yr, ponding_found_cm``, with
        ``<name>_evidence`` beside them where there is one. Negative values count as unknown.
    rules
        Flow, acceptance and sizing rules, separation, horizon, and the values used for what is
        unknown.
    physics
        How fields clog and age.
    margin
        How many times the acceptance rule's rate a field passes in the long run
        (:mod:`riskmap.failure.calibration`; 1: the rule's own).
    aging
        Survival curves by kind.
    hazard_multiplier
        Multiplies each system's hazard, scalar or shape (n,).

    Returns
    -------
    DataFrame
        Same index as `systems`. Each figure has an ``_evidence`` column: never better than
        ``inferred`` (bar a metered flow), ``assumed`` where a default took part, ``unknown`` where
        the figure is NaN. A figure of `LOOK_AHEAD_YR` years means that long or longer.
    """
    frame = systems if isinstance(systems, pd.DataFrame) else pd.DataFrame(systems)
    data = _Inputs(frame)
    flow, flow_mark = _flow(data, rules, physics)
    soil = _Soil.of(data, loading_rule(rules.accept_rule))
    field = _Field.of(data, rules, soil)
    years = _Years.of(data, rules, physics)
    met = soil.with_margin(margin * physics.margin_ratio)
    outlook = _outlook(field, met, years, flow, physics, rules.vertical_separation_m)
    found = data.number("ponding_found_cm") / 100.0
    outlook = with_ponding_found(outlook, found)
    result = pd.DataFrame(index=frame.index)
    _put(result, "daily_flow_l_d", flow, flow_mark)
    _put_sizing(result, field, soil, flow, flow_mark)
    _put_pumping(result, data, years)
    marks = (flow_mark, field.area_mark, soil.accept_mark, soil.ksat_mark, years.age_mark)
    _put_outlook(result, data, outlook, (*marks, years.neglect_mark))
    chance = chance_failing_frac(
        data.text("kind"),
        years.age_yr,
        within_yr=rules.horizon_yr,
        hazard_multiplier=np.asarray(hazard_multiplier, float) * physics.hazard_ratio,
        models=aging,
    )
    _put(result, "chance_failing_frac", chance, ev.derived(chance, years.age_mark))
    return result


def _flow(data: _Inputs, rules: Rules, physics: FailureSettings) -> tuple[Floats, Codes]:
    return daily_flow_l_d(
        data.number("occupants"),
        data.number("bedrooms"),
        dwellings=data.number("dwellings"),
        design_flow_l_d=data.number("design_flow_l_d"),
        metered_l_d=data.number("metered_flow_l_d"),
        use_ratio=physics.water_use_ratio,
        rules=rules,
    )


@dataclass(frozen=True)
class _Soil:
    """The natural soil: acceptance rate with the rule's wall credit, conductivity, water.

    Rate and conductivity are NaN where nothing is known of the soil.
    """

    accept_l_d_m2: Floats
    accept_mark: Codes
    wall_credit_m: Floats
    ksat_um_s: Floats
    ksat_mark: Codes
    limit_depth_m: Floats

    @classmethod
    def of(cls, data: _Inputs, rule: LoadingRule) -> _Soil:
        rate, mark, credit = _accept(data, rule)
        known = np.maximum(data.number("ksat_um_s"), LEAST_KSAT_UM_S)
        by_class = ksat_of_class(_soil_class(data))
        ksat = np.where(np.isnan(known), by_class, known)
        ksat_mark = np.where(np.isnan(known), ev.INFERRED, data.mark("ksat_um_s"))
        ksat_mark = np.where(np.isnan(ksat), ev.UNKNOWN, ksat_mark).astype(np.int8)
        limit = np.fmin(data.number("wet_depth_cm"), data.number("restriction_cm")) / 100.0
        return cls(rate, mark, credit, ksat, ksat_mark, limit)

    def with_margin(self, margin: float) -> _Soil:
        """Return the soil as the fields meet it: passing `margin` times the rule's rate."""
        return replace(self, accept_l_d_m2=self.accept_l_d_m2 * margin)


def _accept(data: _Inputs, rule: LoadingRule) -> tuple[Floats, Codes, Floats]:
    rate, mark = accept_rate_l_d_m2(
        len(data.frame),
        rule=rule,
        loading_class=data.text("loading_class"),
        percolation_min_cm=data.number("percolation_min_cm"),
        texture=data.text("texture"),
        ksat_um_s=np.maximum(data.number("ksat_um_s"), LEAST_KSAT_UM_S),
        clay_pct=data.number("clay_pct"),
    )
    credit = np.where(mark == ev.MEASURED, rule.wall_credit_m, TEXAS.wall_credit_m)
    return rate, mark, credit


def _soil_class(data: _Inputs) -> npt.NDArray[Any]:
    best = data.text("loading_class").copy()
    for later in (class_of_texture(data.text("texture")), class_of_clay(data.number("clay_pct"))):
        empty = pd.isna(best)
        best[empty] = later[empty]
    return best


@dataclass(frozen=True)
class _Field:
    """The field: shape, area by the rule, area used (on the basis of the acceptance rule)."""

    shape: FieldShape
    design_flow_l_d: Floats
    design_flow_mark: Codes
    design_area_m2: Floats
    design_mark: Codes
    area_m2: Floats
    area_mark: Codes

    @classmethod
    def of(cls, data: _Inputs, rules: Rules, soil: _Soil) -> _Field:
        kind = data.text("kind")
        shape = field_shape(kind, wall_credit_m=soil.wall_credit_m)
        index, unsure = period_in_force(data.number("installed_year"), rules.sizing)
        flow, flow_mark = _design_flow(data, rules, index)
        area, credit = np.full(len(data.frame), np.nan), soil.wall_credit_m.copy()
        rate_mark = soil.accept_mark.copy()
        for number, period in enumerate(rules.sizing):
            rule = loading_rule(period.accept_rule)
            rate, mark, by_rule = _accept(data, rule)
            rate = np.clip(rate, min(TEXAS.rates_l_d_m2), None)
            wanted = absorption_area_m2(flow, surface_rate_l_d_m2(shape, rate))
            wanted = wanted * np.where(SIZED_AS_BED[kind_codes(kind)], rule.bed_factor, 1.0)
            here = index == number
            area = np.where(here, wanted, area)
            credit = np.where(here, by_rule, credit)
            rate_mark = np.where(here, mark, rate_mark)
        area[np.isnan(shape.inlet_m)] = np.nan
        doubt = np.where(unsure, np.int8(ev.ASSUMED), np.int8(ev.MEASURED))
        design_mark = ev.derived(area, flow_mark, rate_mark, doubt)
        known = data.number("field_area_m2", least=1e-6)
        basis = field_shape(kind, wall_credit_m=credit).bottom_per_m2 / shape.bottom_per_m2
        used = np.where(np.isnan(known), area, known) * basis
        mark = np.where(np.isnan(known), ev.ASSUMED, data.mark("field_area_m2")).astype(np.int8)
        return cls(shape, flow, flow_mark, area, design_mark, used, mark)


def _design_flow(data: _Inputs, rules: Rules, index: npt.NDArray[np.intp]) -> tuple[Floats, Codes]:
    """Design flow: the permit's, else by the flow rule of the period on bedrooms or persons."""
    beds, permit = data.number("bedrooms", least=1e-6), data.number("design_flow_l_d", least=1e-6)
    people, people_mark = persons(
        data.number("occupants"), beds, dwellings=data.number("dwellings"), rules=rules
    )
    flow, mark = np.full(len(beds), np.nan), people_mark.copy()
    for number, period in enumerate(rules.sizing):
        by_bedroom = flow_rule(period.flow_rule).per == "bedroom"
        count = np.where(np.isnan(beds), rules.unknown_bedrooms, beds) if by_bedroom else people
        counted = np.where(np.isnan(beds), ev.ASSUMED, ev.INFERRED) if by_bedroom else people_mark
        here = index == number
        flow = np.where(here, rule_flow_l_d(count, rule=period.flow_rule), flow)
        mark = np.where(here, counted, mark).astype(np.int8)
    known = ~np.isnan(permit)
    mark = np.where(known, data.mark("design_flow_l_d"), mark).astype(np.int8)
    return np.where(known, permit, flow), mark


@dataclass(frozen=True)
class _Years:
    """Age, and the tank's neglect."""

    age_yr: Floats
    age_mark: Codes
    interval_yr: Floats
    interval_mark: Codes
    since_yr: Floats
    neglect: Floats
    neglect_mark: Codes

    @classmethod
    def of(cls, data: _Inputs, rules: Rules, physics: FailureSettings) -> _Years:
        age = data.number("age_yr")
        age_mark = np.where(np.isnan(age), ev.ASSUMED, data.mark("age_yr")).astype(np.int8)
        age = np.where(np.isnan(age), rules.unknown_age_yr, age)
        people, people_mark = persons(
            data.number("occupants"),
            data.number("bedrooms"),
            dwellings=data.number("dwellings"),
            rules=rules,
        )
        volume = data.number("tank_volume_l", least=1e-6)
        volume_mark = np.where(np.isnan(volume), ev.ASSUMED, data.mark("tank_volume_l"))
        tank = np.where(np.isnan(volume), rules.unknown_tank_l, volume)
        interval = pump_interval_yr(tank, people)
        no_tank = TANKLESS[kind_codes(data.text("kind"))]
        interval[no_tank] = np.nan
        mark = ev.derived(interval, people_mark, volume_mark.astype(np.int8))
        since = data.number("years_since_pumped_yr")
        guess = assumed_years_since_pumped_yr(age)
        if physics.unrecorded_pump_outs_per_yr > 0:
            guess = np.minimum(guess, 1.0 / physics.unrecorded_pump_outs_per_yr)
        taken = np.where(np.isnan(since), guess, since)
        carried = np.where(no_tank, 0.0, neglect(taken, interval))
        taken_mark = np.where(np.isnan(since), ev.ASSUMED, data.mark("years_since_pumped_yr"))
        taken_mark = np.where(no_tank, ev.MEASURED, taken_mark).astype(np.int8)
        return cls(age, age_mark, interval, mark, since, carried, taken_mark)


def _put(result: pd.DataFrame, name: str, values: Any, marks: Codes) -> None:
    result[name] = values
    result[f"{name}_evidence"] = ev.words(marks)


def _put_sizing(
    result: pd.DataFrame, field: _Field, soil: _Soil, flow: Floats, flow_mark: Codes
) -> None:
    rate = surface_rate_l_d_m2(field.shape, soil.accept_l_d_m2)
    rate_mark = np.where(field.shape.mound, ev.ASSUMED, soil.accept_mark).astype(np.int8)
    rate_mark = np.where(np.isnan(rate), ev.UNKNOWN, rate_mark).astype(np.int8)
    ratio = load_ratio(flow, field.area_m2, rate)
    _put(result, "design_flow_used_l_d", field.design_flow_l_d, field.design_flow_mark)
    _put(result, "design_area_m2", field.design_area_m2, field.design_mark)
    used = np.where(np.isnan(field.area_m2), ev.UNKNOWN, field.area_mark).astype(np.int8)
    _put(result, "field_area_used_m2", field.area_m2, used)
    _put(result, "accept_rate_l_d_m2", rate, rate_mark)
    _put(result, "load_ratio", ratio, ev.derived(ratio, flow_mark, field.area_mark, rate_mark))


def _put_pumping(result: pd.DataFrame, data: _Inputs, years: _Years) -> None:
    """Pump columns; a pump-out that is not on record stays unknown."""
    overdue = pump_overdue_yr(years.since_yr, years.interval_yr)
    since_mark = data.mark("years_since_pumped_yr")
    _put(result, "pump_interval_yr", years.interval_yr, years.interval_mark)
    _put(result, "pump_overdue_yr", overdue, ev.derived(overdue, years.interval_mark, since_mark))
    result["after_pump_out"] = recovering(years.since_yr)


def _outlook(
    field: _Field,
    soil: _Soil,
    years: _Years,
    flow_l_d: Floats,
    physics: FailureSettings,
    vertical_separation_m: float,
) -> pd.DataFrame:
    case = FieldCase(
        shape=field.shape,
        area_m2=field.area_m2,
        flow_l_d=flow_l_d,
        accept_l_d_m2=soil.accept_l_d_m2,
        ksat_um_s=soil.ksat_um_s,
        limit_depth_m=soil.limit_depth_m,
        age_yr=years.age_yr,
        neglect=years.neglect,
        vertical_separation_m=vertical_separation_m,
    )
    return field_outlook(case, physics=physics)


def _put_outlook(
    result: pd.DataFrame, data: _Inputs, table: pd.DataFrame, marks: tuple[Codes, ...]
) -> None:
    seen = ~np.isnan(data.number("ponding_found_cm")) & table["inlet_m"].notna().to_numpy()
    for name in table:
        values = table[name].to_numpy(float)
        mark = ev.derived(values, *marks)
        if name in ("ponding_m", "reserve_frac"):
            best = ev.MEASURED if name == "ponding_m" else ev.INFERRED
            mark = np.where(seen, best, mark).astype(np.int8)
        _put(result, str(name), values, mark)
    result["stage"] = stage_of(table)
    result["stage_evidence"] = result["reserve_frac_evidence"]
    result["field_note"] = field_note(data.text("kind"))
