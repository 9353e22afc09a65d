"""The condition model at work on a county: chances by state from all that is on file."""

from __future__ import annotations

from datetime import date
from typing import Final

import numpy as np
import pandas as pd

from riskmap.condition.chances import IF_FAILED, chance_of, chances, odds_of
from riskmap.condition.fit import Fit, fit
from riskmap.condition.lots import Lots, first_year, lots_of
from riskmap.condition.records import records_on_file
from riskmap.contract.features import CHANCE, FAILURE, column
from riskmap.contract.features.system import SYSTEM
from riskmap.contract.units import YEAR_D
from riskmap.contract.vocabulary import STAGES, may_be_onsite
from riskmap.inventory.permits import match_permits, permit_date
from riskmap.ranking.model import Factor, Model
from riskmap.ranking.score import factor_points
from riskmap.stages.county import County

MOST_FITTED: Final = 12_000
"""Lots that the model of an earlier day is fitted to at most: it is compared on some thousand
visits, and more lots move its chances less than those can tell."""
OF_SYSTEM: Final = frozenset(found.name for found in (*SYSTEM, *FAILURE))
"""Features of the present system, not of the place."""


def follow_systems(
    county: County,
    inventory: pd.DataFrame,
    failing: pd.DataFrame,
    room: pd.DataFrame,
    model: Model,
) -> tuple[pd.DataFrame, Fit | None]:
    """Columns of :data:`riskmap.contract.features.CHANCE`, and the fitted model behind them.

    Parcels that have no onsite system are unknown. The model is fitted to those known to have one.
    None where no parcel may have one.
    """
    features = inventory.join([failing, room])
    served = features[may_be_onsite(features["service"])]
    if served.empty:
        return _columns(pd.DataFrame(index=served.index), features.index), None
    fitted = fit_county(county, served, model)
    failed = odds_of(fitted, IF_FAILED)
    within = odds_of(fitted, IF_FAILED, within_yr=county.region.rules.horizon_yr)
    found = chances(fitted, failed=failed, within=within)
    columns = _columns(_published(found, county.region.county.date.year), features.index)
    return columns, fitted


def fit_county(
    county: County,
    systems: pd.DataFrame,
    model: Model,
    *,
    day: date | None = None,
    most: int | None = None,
) -> Fit:
    """Fit the condition model to the records up to a day, by default that of the run.

    Parameters
    ----------
    systems
        Features of parcels that may have a system, index ``parcel_id``.
    most
        Lots to fit to, spread evenly over the county; None: all.
    """
    lots = county_lots(county, systems, model, day=day or county.region.county.date)
    hazard_ratio = county.region.failure.hazard_ratio
    return fit(lots, prior_effects(model), hazard_ratio=hazard_ratio, most=most)


def chance_failed_by(county: County, systems: pd.DataFrame, model: Model, day: date) -> np.ndarray:
    """Chance (n,) that each system has failed by an earlier day, by what was on file then."""
    return chance_of(fit_county(county, systems, model, day=day, most=MOST_FITTED), IF_FAILED)


def condition_factors(model: Model) -> tuple[Factor, ...]:
    """Factors of the failure score that the condition model reads.

    Not the age, which its hazard has, nor what is made of records, which it reads themselves; nor
    what is worked out from the age: it holds for the day of the run, and would tell of earlier
    years which system has a repair on file.
    """

    def holds_through_the_years(feature: str) -> bool:
        about = column(feature)
        return "age_yr" not in (feature, *about.depends_on) and not about.from_visits

    return tuple(
        factor
        for factor in model.of("failure")
        if factor.weight > 0 and holds_through_the_years(factor.feature)
    )


def prior_effects(model: Model) -> np.ndarray:
    """Log hazard (factors,) from no limitation to the worst, by the scoring model's weights."""
    weights = np.array([factor.weight for factor in condition_factors(model)])
    return weights * model.scale("failure") * model.log_hazard_per_point


def county_lots(county: County, systems: pd.DataFrame, model: Model, *, day: date) -> Lots:
    """Bring some parcels of a county, as on file on a day, into the form that the model reads.

    Parameters
    ----------
    systems
        Features of parcels that may have a system, index ``parcel_id``.
    """
    parcels = county.tables["parcels"].set_index("parcel_id", drop=False)
    ids = systems.index
    given = county.tables.get("permits")
    permits = None if given is None else pd.DataFrame(match_permits(given, parcels))
    if permits is not None:
        permits = permits[~(permit_date(permits) > pd.Timestamp(day))]
    visits = county.tables.get("inspections")
    if visits is not None:
        visits = visits[~(visits["date"] > pd.Timestamp(day))]
    built = parcels["year_built"].astype(float).reindex(ids)
    lots = pd.DataFrame(
        {
            "year_built": built,
            "first_year": first_year(built, systems["installed_year"], permits, day.year),
            "first_permit_year": _first_permit_year(permits, ids),
            "lot_m2": systems["lot_m2"].astype(float),
            "neighborhood": systems["neighborhood"],
            "pump_interval_yr": systems["pump_interval_yr"].astype(float),
        }
    )
    factors = condition_factors(model)
    limits, _ = factor_points(systems, model, "failure")
    limits = limits[[f.name for f in factors]].fillna({f.name: f.unknown for f in factors})
    return lots_of(
        lots,
        records_on_file(lots, permits, visits),
        limits,
        year=day.year,
        passed_frac=day.timetuple().tm_yday / YEAR_D,
        of_system=tuple(f.name for f in factors if f.feature in OF_SYSTEM),
        fitted_on=systems["service"].eq("onsite").to_numpy(bool),
    )


def _first_permit_year(permits: pd.DataFrame | None, ids: pd.Index) -> pd.Series:
    if permits is None:
        return pd.Series(np.nan, index=ids)
    new = permits[permits["action"].eq("new")]
    years: pd.Series = permit_date(new).dt.year.groupby(new["parcel_id"].to_numpy()).min()
    return years.reindex(ids).astype(float)


def _published(found: pd.DataFrame, year: int) -> pd.DataFrame:
    """Columns as they are published."""
    visit = found[[f"visit_{stage}" for stage in STAGES]].to_numpy(float)
    return pd.DataFrame(
        {
            "chance_failed_frac": found["failed"],
            "chance_failed_low_frac": found["failed_low"],
            "chance_failed_high_frac": found["failed_high"],
            "chance_stressed_frac": found["stressed"],
            "chance_failing_frac": found["failing"],
            "likely_finding": np.array(STAGES)[visit.argmax(axis=1)],
            "look_again_year": year + found["again_in"],
        },
        index=found.index,
    )


def _columns(found: pd.DataFrame, parcels: pd.Index) -> pd.DataFrame:
    """Bring the declared columns onto all parcels, with their marks."""
    table = pd.DataFrame(index=parcels)
    for one in CHANCE:
        values = found[one.name] if one.name in found else pd.Series(np.nan, index=found.index)
        table[one.name] = values.reindex(parcels)
        if one.dtype == "text":
            table[one.name] = table[one.name].astype("string")
        if column(one.name).evidence:
            known = table[one.name].notna()
            table[f"{one.name}_evidence"] = np.where(known, "inferred", "unknown")
    return table
