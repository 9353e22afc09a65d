"""Follows scenarios and today on the same draws: failures, people, nitrogen, wells.

Steps work from today on. What has failed stays failed unless it is replaced or connected; what has
not fails by the horizon with the chance h of the condition model, and where a step makes a field's
life harder or easier, by proportional hazards, with 1 - (1 - h)^r, r the ratio of the hazards.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import pandas as pd

from riskmap.condition.chances import expit, logit
from riskmap.condition.renewed import failing_if_new, failing_if_saved
from riskmap.contract.arrays import Floats
from riskmap.contract.errors import RegionError
from riskmap.contract.settings import Belief, drawn
from riskmap.ranking.outcomes import THOUSANDTHS, scenarios_for
from riskmap.stages.condition_scenarios import hazard_reach
from riskmap.stages.doubt import scenarios_of
from riskmap.stages.result import Result
from riskmap.stages.scenarios import (
    CountyScenarios,
    Drawn,
    failure_limits,
    for_each_scenario,
)
from riskmap.whatif.changes import Changes, changes_of
from riskmap.whatif.steps import Plan
from riskmap.whatif.water import Water

MEASURES: Final[Mapping[str, str]] = {
    "failing": "Systems that have failed by the horizon",
    "people": "People living with them",
    "nitrogen_kg_yr": "Nitrogen reaching groundwater, kg a year",
    "surface_nitrogen_kg_yr": "Nitrogen arriving at lakes and streams, kg a year",
    "wells_above": "Wells above the limit of nitrate",
}
"""What is counted -> what it means."""
TODAY: Final = Plan("Today", ())


@dataclass(frozen=True)
class Followed:
    """What came of scenarios.

    ``draws``: scenario's name -> measure -> (s,) by draw; the first is today. ``failing``: name ->
    (n,) mean chance to have failed by the horizon, by ranked system in the order of ``systems``.
    ``cost`` and ``touched``: name -> what the scenario costs, and systems touched by each step.
    ``waters``: lakes, and streams together; ``arriving``: name -> (s, w) nitrogen that arrives at
    each by draw, kg a year; ``reaching``: name -> (w,) mean number of systems whose plume does.
    """

    systems: pd.Index
    draws: dict[str, dict[str, Floats]]
    failing: dict[str, Floats]
    cost: dict[str, float]
    touched: dict[str, list[int]]
    waters: list[str] = field(default_factory=list)
    arriving: dict[str, Floats] = field(default_factory=dict)
    reaching: dict[str, Floats] = field(default_factory=dict)


def follow(result: Result, plans: Sequence[Plan], *, scenarios: int | None = None) -> Followed:
    """Follow some scenarios and today on the same draws.

    Parameters
    ----------
    result
        From :func:`riskmap.assess`, with doubt.
    plans
        Scenarios, by different names.
    scenarios
        Draws; None: as many as the county's size asks for.

    Raises
    ------
    RegionError
        If a step cannot be done in this county, or the region file asks for no draws.
    """
    named = [TODAY, *plans]
    twice = [p.name for n, p in enumerate(named) if p.name in {q.name for q in named[:n]}]
    if twice:
        raise RegionError(f"Two scenarios are called {twice[0]!r}. Give each its own name.")
    fit, region = result.condition_fit, result.region
    if fit is None or not region.run.draws:
        raise RegionError("Scenarios need ranked systems, and draws in [run] that are not 0.")
    rows = result.features.index[result.parcels["rank"].notna()]
    county = scenarios_of(result, rows)
    count = scenarios or scenarios_for(len(rows))
    everyone = result.parcels.index
    own = everyone.get_indexer(rows)
    changes = {plan.name: changes_of(plan, result) for plan in named}
    lots = fit.model.lots.ids.get_indexer(rows)
    within = region.rules.horizon_yr
    life = _Life(
        county=county,
        reach=hazard_reach(fit, rows),
        middle=result.features.loc[rows, "chance_failing_frac"].to_numpy(float),
        if_new=failing_if_new(fit, within_yr=within)[lots],
        if_saved=failing_if_saved(fit, within_yr=within)[lots],
    )
    water = Water.of(result, own)
    houses = {} if water is None else {n: water.plumes_of(c, result) for n, c in changes.items()}
    waters = [] if water is None else water.names
    draws = {p.name: {name: np.full(count, np.nan) for name in MEASURES} for p in named}
    arriving = {p.name: np.zeros((count, len(waters))) for p in named}
    reaching = {p.name: np.zeros((count, len(waters))) for p in named}
    means = {p.name: np.zeros((count, len(rows)), np.float32) for p in named}

    def work(k: int, records: Drawn, values: Mapping[Belief, float]) -> None:
        today = life.begin(records, values, k)
        for name, change in changes.items():
            failing, new = life.failing(today, records, values, change, own)
            told = draws[name]
            built = change.built()
            living = np.asarray(change.persons, float)[built].sum()
            told["failing"][k] = failing.sum() + built.sum() * new
            told["people"][k] = (failing * records["persons"]).sum() + living * new
            means[name][k] = failing
            if water is not None and county.water is not None:
                settings = drawn(county.water, values)
                reached = water.measure(settings, records, change, houses[name])
                for measure, value in reached.sums.items():
                    told[measure][k] = value
                arriving[name][k], reaching[name][k] = reached.arriving, reached.reaching

    for_each_scenario(county, work, scenarios=count, seed=region.run.seed)
    return Followed(
        rows,
        draws,
        {name: value.mean(axis=0, dtype=float) for name, value in means.items()},
        {name: change.cost for name, change in changes.items()},
        {name: change.touched for name, change in changes.items()},
        waters,
        arriving,
        {name: value.mean(axis=0) for name, value in reaching.items()},
    )


@dataclass(frozen=True)
class _Begun:
    """A draw as it is today."""

    limits: Mapping[str, np.ndarray]
    failed: Floats
    failing: Floats


@dataclass(frozen=True)
class _Life:
    """How systems go on from today: see the module."""

    county: CountyScenarios
    reach: pd.DataFrame
    middle: Floats
    if_new: Floats
    if_saved: Floats

    def begin(self, records: Drawn, values: Mapping[Belief, float], k: int) -> _Begun:
        limits = failure_limits(dict(records), self.county, values)
        failed, _, failing = self.county.chances(k, limits)
        return _Begun(limits, failed, failing)

    def failing(
        self,
        today: _Begun,
        records: Drawn,
        values: Mapping[Belief, float],
        change: Changes,
        own: np.ndarray,
    ) -> tuple[Floats, float]:
        """Chance (n,) to have failed by the horizon, and that of a new system on a usual lot."""
        renewed, saved = change.renewed[own], change.saved[own] & ~change.renewed[own]
        connected = change.connected[own]
        harder = self._harder(today, records, values, change, own)
        left = np.maximum(1.0 - today.failed, 1e-12)
        later = (today.failing - today.failed) / left
        # What a draw says of a lot's own system it says of a new one there, in log odds.
        off = logit(today.failing) - logit(self.middle)
        as_new = expit(logit(self.if_new) + off)
        later = np.where(renewed, as_new, later)
        later = np.where(saved, np.minimum(expit(logit(self.if_saved) + off), later), later)
        later = np.where(harder == 0, later, 1 - (1 - later) ** np.exp(harder))
        failed = np.where(renewed, 0.0, today.failed)
        changed = renewed | saved | (harder != 0)
        failing = np.where(changed, failed + (1 - failed) * later, today.failing)
        return np.where(connected, 0.0, failing), float(as_new.mean())

    def _harder(
        self,
        today: _Begun,
        records: Drawn,
        values: Mapping[Belief, float],
        change: Changes,
        own: np.ndarray,
    ) -> Floats:
        """Log ratio (n,) of the hazards, by the limitations that the steps change."""
        moved, county = self._moved(records, change, own)
        if not moved:
            return np.zeros(len(own))
        limits = failure_limits({**records, **moved}, county, values)
        harder = np.zeros(len(own))
        for name in self.reach:
            if name in limits:
                apart = limits[name].astype(float) - today.limits[name]
                harder += self.reach[name].to_numpy() * apart / THOUSANDTHS
        return harder

    def _moved(
        self, records: Drawn, change: Changes, own: np.ndarray
    ) -> tuple[Drawn, CountyScenarios]:
        """Give the drawn records that the steps change; none where they change none."""
        moved: Drawn = {}
        renewed, rise = change.renewed[own], change.rise_m[own]
        wet = rise + change.wet_rise_m[own]
        fresh = renewed | change.saved[own]
        since = np.fmin(records["years_since_pumped_yr"], change.interval_yr[own])
        if np.isfinite(change.interval_yr).any() or renewed.any():
            moved["years_since_pumped_yr"] = np.where(renewed, 0.0, since)
        if (change.times != 1).any():
            moved["flow_l_d"] = records["flow_l_d"] * change.times[own]
        if (wet > 0).any() and "wet_depth_cm" in records:
            moved["wet_depth_cm"] = np.maximum(records["wet_depth_cm"] - 100 * wet, 0.0)
        if (rise > 0).any():
            moved["water_table_m"] = np.maximum(records["water_table_m"] - rise, 0.0)
        if not fresh.any():
            return moved, self.county
        moved["age_yr"] = np.where(renewed, 0.0, records["age_yr"])
        held = self.county.records
        seen = np.where(fresh, np.nan, held.ponding_found_m)
        return moved, replace(self.county, records=replace(held, ponding_found_m=seen))
