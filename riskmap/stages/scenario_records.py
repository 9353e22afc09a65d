"""What a county's records leave open about each system, as distributions to draw from.

A guess is as good as the county's own records show: where both the record and what would have been
guessed are known, the difference is learned and the guesses elsewhere miss by the like of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.arrays import Floats
from riskmap.contract.kinds import UNKNOWN_CODE
from riskmap.contract.rules import Rules
from riskmap.contract.vocabulary import DRAINAGE_CLASSES
from riskmap.failure.assess import assess_failure
from riskmap.failure.flow import persons
from riskmap.failure.geometry import kind_codes
from riskmap.failure.pumping import PUMP_OUT_RATE_YR
from riskmap.failure.settings import USUAL
from riskmap.failure.sizing import loading_rule, rate_on_permit_l_d_m2
from riskmap.ranking.priors import sizes, spread_of
from riskmap.ranking.records import QUANTILES, UncertainRecord, UncertainWord, learned

HOUSEHOLD_USE: Final = 0.35
"""Spread of the logarithm of water use per person between households (assumption of this project;
end-use studies find a standard deviation of about half the mean, from memory)."""
METERED_USE: Final = 0.05
UNKNOWN_TANK: Final = 0.3
MIDDLE_KSAT_UM_S: Final = 4.0
"""Soil on which fields in unknown soil are sized; the soil drawn then makes them larger or smaller
(own choice: the middle of the classes of ``texas_soil_class``)."""
STREAMS: Final = (
    "kind", "age", "soil", "patch", "wetter", "persons", "use", "tank", "pumped", "pumped_since",
    "area", "water_table", "vulnerability",
)  # fmt: skip
"""Names of the dice behind the records."""


@dataclass(frozen=True)
class SoilComponents:
    """The soils that may lie under each of n systems, in long form by system.

    ``ladder``: running shares of a system's soils, up to 1, plus the system's number, so that the
    whole list rises. ``last`` (n,): a system's last entry, -1 where the survey names no soil.
    ``values``: feature -> value per entry; drainage classes as codes.
    """

    ladder: Floats
    last: npt.NDArray[np.int64]
    values: Mapping[str, Floats]

    @classmethod
    def of(cls, tables: Mapping[str, pd.DataFrame], systems: pd.Index) -> SoilComponents:
        """From the tables of :func:`riskmap.inventory.soil_mixtures.soil_mixtures`."""
        first = next(iter(tables.values()))
        row = systems.get_indexer(pd.Index(first["parcel_id"]))
        order = np.argsort(row, kind="stable")
        order = order[(row[order] >= 0) & (first["share"].to_numpy(float)[order] > 0)]
        rows, share = row[order], first["share"].to_numpy(float)[order]
        total = np.bincount(rows, share, minlength=len(systems))
        running = np.cumsum(share) - (np.cumsum(total) - total)[rows]
        last = np.full(len(systems), -1, np.int64)
        last[rows] = np.arange(len(rows))
        values = {
            name: _as_numbers(name, table["value"].iloc[order]) for name, table in tables.items()
        }
        return cls(np.minimum(running / total[rows], 1.0) + rows, last, values)

    def choose(self, uniform: Floats) -> npt.NDArray[np.int64]:
        """Entry of the component drawn for each system (n,); -1 where there is none."""
        place = np.searchsorted(self.ladder, uniform + np.arange(len(self.last)))
        return np.asarray(np.minimum(place, self.last))


def _as_numbers(name: str, values: pd.Series) -> Floats:
    """Values of a soil feature as numbers; a drainage class as its code, below 0 unknown."""
    if name == "drainage_class":
        return _drainage_codes(values).astype(float)
    return values.to_numpy(float)


def _drainage_codes(values: pd.Series) -> npt.NDArray[np.int64]:
    return np.asarray(pd.Categorical(values, categories=DRAINAGE_CLASSES).codes, np.int64)


@dataclass(frozen=True)
class CountyRecords:
    """Distributions of the records that the physics reads, for n systems.

    ``flow_l_d`` is today's flow for ``persons_base`` (n,) persons; ``use`` the household's factor
    on it; ``metered`` (n,) flags flows that no doubt about water use changes. ``by_soil`` (n,)
    flags fields whose area follows from the sizing rule alone: a slower soil had to be given more
    than one of ``ksat_base`` (n,). ``accept_l_d_m2`` (n,) is the rate by the permit's test, NaN
    without one, with the wall that its rule counts; ``ponding_found_m`` (n,) what a visitor
    measured. ``plain``: soil features of the systems for which the survey names no component, in
    their order.
    """

    kind: UncertainWord
    age: UncertainRecord
    persons: UncertainRecord
    persons_base: Floats
    flow_l_d: Floats
    metered: npt.NDArray[np.bool_]
    use: UncertainRecord
    tank: UncertainRecord
    pumped: UncertainRecord
    area: UncertainRecord
    by_soil: npt.NDArray[np.bool_]
    ksat_base: Floats
    accept_l_d_m2: Floats
    wall_credit_m: float
    ponding_found_m: Floats
    water_table: UncertainRecord
    vulnerability: UncertainRecord
    soils: SoilComponents
    plain: Mapping[str, UncertainRecord]
    drainage: UncertainWord


def county_records(
    features: pd.DataFrame,
    house_year: pd.Series,
    soils: Mapping[str, pd.DataFrame],
    *,
    year: int,
    rules: Rules,
) -> CountyRecords:
    """Describe the records of all systems.

    Parameters
    ----------
    features
        The ranked rows with inventory, failure and groundwater columns.
    house_year
        Year each house was built, index ``parcel_id``; NaN where unknown.
    soils
        From :func:`riskmap.inventory.soil_mixtures.soil_mixtures`.
    year
        Year of the run.
    rules
        Values used where nothing is on record.
    """
    people, people_mark = persons(
        numbers(features, "occupants"),
        numbers(features, "bedrooms"),
        dwellings=numbers(features, "dwellings"),
        rules=rules,
    )
    marks = pd.Series(np.array(["measured", "", "inferred", "assumed"])[people_mark])
    flow, rule = numbers(features, "daily_flow_l_d"), loading_rule(rules.accept_rule)
    metered = (features["daily_flow_l_d_evidence"] == "measured").to_numpy()
    codes = kind_codes(features["kind"].fillna("unknown").to_numpy(object))
    kind = np.where(codes == UNKNOWN_CODE, -1, codes)
    components = SoilComponents.of(soils, features.index)
    ksat, (area, by_soil) = numbers(features, "ksat_um_s"), _area(features, rules)
    return CountyRecords(
        kind=UncertainWord.of(
            kind, sizes(spread_of("kind", words=True), features["kind_evidence"])
        ),
        age=_age(features, house_year, year),
        persons=UncertainRecord(people, sizes(spread_of("occupants"), marks), log=True),
        persons_base=people,
        flow_l_d=flow,
        metered=metered,
        use=UncertainRecord(
            np.ones(len(flow)), np.where(metered, METERED_USE, HOUSEHOLD_USE), log=True
        ),
        tank=_tank(features, rules),
        pumped=_pumped(features),
        area=area,
        by_soil=by_soil,
        ksat_base=np.where(np.isnan(ksat), MIDDLE_KSAT_UM_S, ksat),
        accept_l_d_m2=rate_on_permit_l_d_m2(
            len(features),
            rule=rule,
            loading_class=features["loading_class"].to_numpy(object),
            percolation_min_cm=numbers(features, "percolation_min_cm"),
        ),
        wall_credit_m=rule.wall_credit_m,
        ponding_found_m=numbers(features, "ponding_found_cm") / 100.0,
        water_table=_water_table(features),
        vulnerability=plain_record(features, "vulnerability"),
        soils=components,
        plain={
            name: plain_record(features, name).of(components.last < 0)
            for name in soils
            if name != "drainage_class"
        },
        drainage=_drainage(features),
    )


def numbers(features: pd.DataFrame, name: str) -> Floats:
    """Column as floats, NaN where missing."""
    column = features[name].astype("Float64")
    return np.asarray(column.to_numpy(np.float64, na_value=np.nan))


def plain_record(features: pd.DataFrame, name: str) -> UncertainRecord:
    """Give a feature the spread of its evidence; like any of the county's where unknown."""
    prior = spread_of(name)
    mark = f"{name}_evidence"
    marks = features[mark] if mark in features else pd.Series("mapped", index=features.index)
    value = numbers(features, name)
    return UncertainRecord(
        value, sizes(prior, marks), log=prior.shape == "lognormal", county=learned(value)
    )


def _water_table(features: pd.DataFrame) -> UncertainRecord:
    """Depth to water; one from measured levels is as sure as its surface is there."""
    record, sd = plain_record(features, "water_table_m"), numbers(features, "water_table_sd_m")
    with np.errstate(divide="ignore"):
        spread = np.sqrt(np.log1p((sd / record.value) ** 2))
    own = np.isfinite(spread)
    usual = 0.0 if record.spread is None else record.spread
    return replace(record, spread=np.where(own, spread, usual))


def _age(features: pd.DataFrame, house_year: pd.Series, year: int) -> UncertainRecord:
    """Age; a guess from the house's year is as wrong as it is where a permit gives the year.

    A permit on file is itself a sign of a replacement, so that guesses without one are wrong less
    often: half as often (judgment). A neighborhood's median counts as an assumption.
    """
    value, marks = numbers(features, "age_yr"), features["age_yr_evidence"]
    guess = year - house_year.reindex(features.index).to_numpy(float)
    by_house = (marks == "inferred").to_numpy() & np.isfinite(guess)
    misses = learned(np.where((marks == "measured").to_numpy(), value - guess, np.nan))
    return UncertainRecord(
        value,
        sizes(spread_of("age_yr"), marks.where(~(marks == "inferred") | by_house, "assumed")),
        guessed=by_house,
        misses=learned(np.concatenate([misses, np.zeros(len(misses))])),
        county=learned(value),
    )


def _tank(features: pd.DataFrame, rules: Rules) -> UncertainRecord:
    value = numbers(features, "tank_volume_l")
    county = learned(value)
    spread = np.where(np.isnan(value), UNKNOWN_TANK, 0.05)
    filled = value if len(county) else np.where(np.isnan(value), rules.unknown_tank_l, value)
    return UncertainRecord(filled, spread, log=True, county=county)


def _pumped(features: pd.DataFrame) -> UncertainRecord:
    """Years since the last pump-out; where none is on record, as in the county or by survey."""
    value = numbers(features, "years_since_pumped_yr")
    county = learned(value)
    if not len(county):
        ranks = (np.arange(QUANTILES) + 0.5) / QUANTILES
        county = -np.log1p(-ranks) / PUMP_OUT_RATE_YR
    spread = sizes(spread_of("years_since_pumped_yr"), features["years_since_pumped_yr_evidence"])
    return UncertainRecord(value, spread, county=county)


def _area(features: pd.DataFrame, rules: Rules) -> tuple[UncertainRecord, npt.NDArray[np.bool_]]:
    """Area of the field, and where it is the sizing rule's (n,).

    The rule's area is as wrong as it is where a permit gives one. In unknown soil it is the rule's
    on a soil of :data:`MIDDLE_KSAT_UM_S`.
    """
    used, marks = numbers(features, "field_area_used_m2"), features["field_area_used_m2_evidence"]
    recorded, rule = numbers(features, "field_area_m2"), numbers(features, "design_area_m2")
    unsized = np.isnan(used)
    if unsized.any():
        middle = features[unsized].assign(ksat_um_s=MIDDLE_KSAT_UM_S)
        sized = assess_failure(middle, rules=rules, physics=USUAL)
        used = used.copy()
        used[unsized] = numbers(sized, "field_area_used_m2")
        marks = marks.where(~unsized, sized["field_area_used_m2_evidence"].reindex(marks.index))
    with np.errstate(divide="ignore", invalid="ignore"):
        miss = np.log(np.where(recorded > 0, recorded, np.nan) / rule)
    by_rule = (marks == "assumed").to_numpy()
    record = UncertainRecord(
        used,
        sizes(spread_of("field_area_m2"), marks),
        log=True,
        guessed=by_rule,
        misses=learned(miss),
    )
    return record, by_rule


def _drainage(features: pd.DataFrame) -> UncertainWord:
    redraw = sizes(spread_of("drainage_class", words=True), features["drainage_class_evidence"])
    return UncertainWord.of(_drainage_codes(features["drainage_class"]), redraw)
