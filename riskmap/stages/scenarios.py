"""The county in scenarios: records drawn, physics run again, limitations read off.

Each scenario takes one set of physical parameters from their ranges, the same for all, and one draw
of every system's records; the failure physics, the aging curve and the groundwater's arithmetic
run on them as they run on the records themselves.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cache, partial
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.arrays import Floats
from riskmap.contract.chunks import map_chunks, spans
from riskmap.contract.kinds import SYSTEM_KINDS, UNKNOWN_CODE
from riskmap.contract.rules import Rules
from riskmap.contract.settings import Belief, beliefs_of, draw_beliefs, drawn
from riskmap.contract.vocabulary import DRAINAGE_CLASSES
from riskmap.failure.assess import LEAST_KSAT_UM_S
from riskmap.failure.rerun import SystemRecords, SystemsToday, systems_today
from riskmap.failure.settings import FailureSettings
from riskmap.failure.sizing import rate_of_ksat
from riskmap.groundwater.rerun import RERUN_COLUMNS
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.inventory.soil_mixtures import OF_FEATURE
from riskmap.ranking.layout import parcel_keys
from riskmap.ranking.model import Factor, Model
from riskmap.ranking.outcomes import Outcomes, roll, scenarios_for, thousandths
from riskmap.ranking.priority import chance_part, reaches_water
from riskmap.ranking.priors import spread_of
from riskmap.ranking.records import UncertainRecord
from riskmap.stages.scenario_records import STREAMS, CountyRecords

Drawn = dict[str, Floats]
Limits = Mapping[str, npt.NDArray[np.uint16]]
Chances = Callable[[int, Limits], tuple[Floats, Floats, Floats]]
LearnedChance = Callable[[int, Mapping[str, Floats], Limits], Floats]
Reached = Callable[[GroundwaterSettings, Mapping[str, Floats]], Mapping[str, Floats]]

WORDS: Final = {"kind": SYSTEM_KINDS, "drainage_class": DRAINAGE_CLASSES}
"""Features in words -> words in the order of their codes."""

BY_RECORDS: Final = ("kind", "age_yr", "water_table_m")
"""Features that a scenario draws, in addition to the soils'."""
BY_FAILURE: Final = (*(part.name for part in fields(SystemsToday)), "chance_failing_frac")
"""Features that the failure physics gives."""
BY_WATER: Final = ("vulnerability", *RERUN_COLUMNS)
"""Features that the groundwater's arithmetic gives, and the one that it takes."""

VARYING: Final = ("wet_depth_cm", "restriction_cm", "ksat_um_s")
"""Soil features that vary inside a component; its ratings are what the survey makes of it."""

KEPT: Final = ("age_yr", "persons", "years_since_pumped_yr", "field_area_m2")
"""Drawn records that are kept with the limitations: what one could look up."""

MANY_SYSTEMS: Final = 12_000
"""From so many systems on scenarios are run several at a time. Below, arrays are so short that
threads wait for each other more than they work (benchmarks/README.md)."""


@dataclass(frozen=True)
class CountyScenarios:
    """What scenarios are drawn from, for the n ranked systems.

    ``chances``: the chances (n,) of being failed and stressed today, and of having failed by the
    horizon, from the scenario's number and its limitations. ``aim``: what the priority serves.
    ``margin``: how many times the sizing rule's rate fields pass. ``rules``, ``failure`` and
    ``water``: the region's settings; a scenario is the latter two with drawn values. ``reached``:
    the groundwater's arithmetic, which takes such settings and the drawn records and gives
    features; it and ``water`` are None where no terrain was given. ``learned_chance``: the chance
    of having failed by a ranking learned from visits, from the scenario's number, the drawn
    features and their limitations; None where the condition model ranks.
    """

    systems: pd.Index
    records: CountyRecords
    model: Model
    chances: Chances
    aim: str
    margin: float
    rules: Rules
    failure: FailureSettings
    reached: Reached | None = None
    water: GroundwaterSettings | None = None
    learned_chance: LearnedChance | None = None


def draw_outcomes(
    county: CountyScenarios, *, scenarios: int | None = None, seed: int = 0
) -> Outcomes:
    """Run all scenarios, by default as many as suit the county's size.

    A system's draws do not depend on the order of rows or on the number of workers.

    Parameters
    ----------
    county
        Systems, their records and the physics.
    scenarios
        Number of scenarios; None: by :func:`riskmap.ranking.outcomes.scenarios_for`.
    seed
        Of all draws.
    """
    scenarios = scenarios or scenarios_for(len(county.systems))
    names = drawn_factors(county.model, water=county.reached is not None)
    n = len(county.systems)
    limits = np.empty((n, len(names), scenarios), np.uint16)
    by_chance = np.empty((n, scenarios), np.float32)
    kept = {name: np.empty((n, scenarios), np.float32) for name in KEPT}

    def keep(k: int, records: Drawn, values: Mapping[Belief, float]) -> None:
        found, failed, stressed, failing = run_physics(records, county, values, k)
        for place, name in enumerate(names):
            limits[:, place, k] = found[name]
        for name, column in kept.items():
            column[:, k] = records[name]
        if county.learned_chance is not None:
            failed = county.learned_chance(k, records, found)
            failing = np.maximum(failed, failing)
        by_chance[:, k] = 100.0 * chance_part(county.aim, failed, stressed, failing)

    for_each_scenario(county, keep, scenarios=scenarios, seed=seed)
    return Outcomes(names, limits, kept, by_chance, reaches_water(county.aim))


def for_each_scenario(
    county: CountyScenarios,
    work: Callable[[int, Drawn, Mapping[Belief, float]], None],
    *,
    scenarios: int,
    seed: int,
) -> None:
    """Draw every scenario's records and parameters, several at a time, and hand them on.

    Parameters
    ----------
    county
        Systems and their records.
    work
        Gets the scenario's number, the drawn records and the drawn parameters.
    scenarios, seed
        How many, and the seed of all draws.
    """
    table = beliefs_of(county.failure, *(() if county.water is None else (county.water,)))
    dice = roll(
        parcel_keys(county.systems),
        STREAMS,
        parameters=len(table),
        scenarios=scenarios,
        seed=seed,
    )
    values = draw_beliefs(table, dice.shared)

    def part(span: slice) -> None:
        for k in range(span.start, span.stop):
            rolled = partial(dice.uniform, scenario=k)
            work(k, _drawn_records(county, drawn(county.failure, values[k]), rolled), values[k])

    at_once = spans(scenarios, 4 if len(county.systems) >= MANY_SYSTEMS else scenarios)
    map_chunks(part, at_once, unit="batch")


def soils_read(model: Model) -> set[str]:
    """Soil features that scenarios need: what the physics reads, and what the model scores."""
    return {*VARYING, *(f.feature for f in model.factors if f.feature in OF_FEATURE)}


def drawn_factors(model: Model, *, water: bool) -> tuple[str, ...]:
    """Names of the factors whose feature a scenario gives; `water`: with the groundwater's."""
    given = {*BY_RECORDS, *OF_FEATURE, *BY_FAILURE, *(BY_WATER if water else ())}
    return tuple(factor.name for factor in model.factors if factor.feature in given)


def _drawn_records(
    county: CountyScenarios, failure: FailureSettings, dice: Callable[[str], Floats]
) -> Drawn:
    """One draw of every record; ``kind`` and ``drainage_class`` as codes, below 0 unknown."""
    records = county.records
    made = _drawn_soil(records, dice)
    age = records.age.at(dice("age"))
    since = records.pumped.at(dice("pumped"))
    rate = failure.unrecorded_pump_outs_per_yr
    if rate > 0:
        since = np.fmin(since, -np.log(dice("pumped_since")) / rate)
    people = records.persons.at(dice("persons"))
    flow = records.flow_l_d * people / records.persons_base * records.use.at(dice("use"))
    more = failure.water_use_ratio / county.failure.water_use_ratio
    made |= {
        "kind": records.kind.at(dice("kind")).astype(float),
        "age_yr": age,
        "persons": people,
        "flow_l_d": np.where(records.metered, flow, flow * more),
        "tank_volume_l": records.tank.at(dice("tank")),
        "years_since_pumped_yr": np.fmin(since, age),
        "field_area_m2": _drawn_area(records, made["ksat_um_s"], dice("area")),
        "water_table_m": records.water_table.at(dice("water_table")),
        "vulnerability": np.fmin(records.vulnerability.at(dice("vulnerability")), 1.0),
    }
    return made


def _drawn_soil(records: CountyRecords, dice: Callable[[str], Floats]) -> Drawn:
    """Soil features of one component under each system, with what varies inside it."""
    uniform, wetter, patch = dice("soil"), dice("wetter"), dice("patch")
    chosen = records.soils.choose(uniform)
    mapped = chosen >= 0
    made: Drawn = {}
    for name, plain in records.plain.items():
        values = np.empty(len(chosen))
        values[~mapped] = plain.at(uniform[~mapped])
        inside = _inside(name, records.soils.values[name][chosen[mapped]])
        values[mapped] = inside.at((wetter if name.endswith("_cm") else patch)[mapped])
        made[name] = values
    words = records.drainage.at(uniform).astype(float)
    words[mapped] = records.soils.values["drainage_class"][chosen[mapped]]
    return made | {"drainage_class": words}


def _inside(name: str, value: Floats) -> UncertainRecord:
    """Give a component's value the spread of a measured one: soils vary inside a component."""
    if name not in VARYING:
        return UncertainRecord(value)
    prior = spread_of(name)
    size = np.full(len(value), prior.measured)
    return UncertainRecord(value, size, log=prior.shape == "lognormal")


def _drawn_area(records: CountyRecords, ksat_um_s: Floats, uniform: Floats) -> Floats:
    """Area of the field; where it follows from the rule alone, a slower soil was given more."""
    area = records.area.at(uniform)
    base = rate_of_ksat(np.maximum(records.ksat_base, LEAST_KSAT_UM_S))
    slower = base / rate_of_ksat(np.maximum(ksat_um_s, LEAST_KSAT_UM_S))
    return np.where(records.by_soil, area * slower, area)


def run_physics(
    records: Drawn,
    county: CountyScenarios,
    values: Mapping[Belief, float],
    scenario: int,
) -> tuple[dict[str, npt.NDArray[np.uint16]], Floats, Floats, Floats]:
    """Add to the drawn records what the physics makes of them.

    Parameters
    ----------
    records
        One draw of every record; grows.
    county
        The physics.
    values
        Drawn parameters.
    scenario
        Number of the draw.

    Returns
    -------
    The limitations, and the chances (n,): failed today, stressed today, failed by the horizon.
    """
    limits = failure_limits(records, county, values)
    failed, stressed, failing = county.chances(scenario, limits)
    records["chance_failing_frac"] = failing
    if county.reached is not None and county.water is not None:
        records |= county.reached(drawn(county.water, values), records)
    limits |= _limits(county.model.of("groundwater"), records)
    return limits, failed, stressed, failing


def failure_limits(
    records: Drawn, county: CountyScenarios, values: Mapping[Belief, float]
) -> dict[str, npt.NDArray[np.uint16]]:
    """Add to the drawn records what the failure physics makes of them; returns its limitations."""
    kind = np.where(records["kind"] < 0, UNKNOWN_CODE, records["kind"]).astype(np.int64)
    today = systems_today(
        _as_records(records, kind, county.records),
        drawn(county.failure, values),
        margin=county.margin,
        vertical_separation_m=county.rules.vertical_separation_m,
    )
    records |= {part.name: getattr(today, part.name) for part in fields(SystemsToday)}
    return _limits(county.model.of("failure"), records)


def _as_records(
    records: Mapping[str, Floats], kind: npt.NDArray[np.int64], county: CountyRecords
) -> SystemRecords:
    return SystemRecords(
        kind=kind,
        age_yr=records["age_yr"],
        persons=records["persons"],
        flow_l_d=records["flow_l_d"],
        tank_volume_l=records["tank_volume_l"],
        years_since_pumped_yr=records["years_since_pumped_yr"],
        field_area_m2=records["field_area_m2"],
        ksat_um_s=records["ksat_um_s"],
        limit_depth_m=np.fmin(records["wet_depth_cm"], records["restriction_cm"]) / 100.0,
        accept_l_d_m2=county.accept_l_d_m2,
        wall_credit_m=np.full(len(kind), county.wall_credit_m),
        ponding_found_m=county.ponding_found_m,
    )


def _limits(
    factors: Sequence[Factor], records: Mapping[str, Floats]
) -> dict[str, npt.NDArray[np.uint16]]:
    """Limitations in thousandths of the factors whose feature was drawn."""
    return {f.name: _limit(f, records[f.feature]) for f in factors if f.feature in records}


def _limit(factor: Factor, values: Floats) -> npt.NDArray[np.uint16]:
    if factor.feature not in WORDS:
        return thousandths(factor, values)
    return np.asarray(_of_words(factor)[values.astype(np.int64)])


@cache
def _of_words(factor: Factor) -> npt.NDArray[np.uint16]:
    """Limitation of every word by its code, of an unknown one last."""
    words = WORDS[factor.feature]
    return thousandths(factor, pd.Series([*words, None], dtype=object))
