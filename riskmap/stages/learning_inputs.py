"""What is learned from: the county as it was known when the label window opened, and its visits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np
import pandas as pd

from riskmap.action.aims import FAILED
from riskmap.contract.arrays import Flags
from riskmap.inventory.permits import match_permits, permit_date
from riskmap.inventory.service_history import decimal_year_of, service_history
from riskmap.inventory.systems import describe_systems, neighborhood_years
from riskmap.ranking.contenders import Design, Visits, design
from riskmap.ranking.labels import label_systems, visit_weights
from riskmap.ranking.model import Model
from riskmap.ranking.score import factor_points
from riskmap.stages.condition import chance_failed_by
from riskmap.stages.county import County
from riskmap.stages.failure import failure_features, learn_aging

JUDGES: Final[Mapping[str, tuple[str, ...]]] = {
    "random audits": ("audit",),
    "visits that no complaint prompted": ("audit", "sale", "routine"),
    "all visits, complaints among them (figures are too rosy)": (),
}
"""What figures may be taken on, the least biased first; an empty tuple means every visit."""


@dataclass(frozen=True)
class Lesson:
    """Visits to learn from, and what must be said of them.

    ``labels`` as :func:`riskmap.ranking.labels.label_systems` gives them, for the visited parcels;
    ``judged_on`` the words of :data:`JUDGES`; ``effective`` the number of equally weighted visits
    that would be worth as much.
    """

    visits: Visits
    labels: pd.DataFrame
    start: pd.Timestamp
    end: pd.Timestamp
    judged_on: str
    effective: float


def window(day: date, years: float) -> tuple[pd.Timestamp, pd.Timestamp]:
    """First day of the label window, and the day after its last.

    >>> [str(t.date()) for t in window(date(2026, 6, 1), 5)]
    ['2021-06-02', '2026-06-02']
    """
    end = pd.Timestamp(day) + pd.Timedelta(days=1)
    return end - pd.DateOffset(months=round(12 * years)), end


def inventory_as_of(day: date, features: pd.DataFrame, county: County) -> pd.DataFrame:
    """Rows of the inventory as a run on an earlier day would have had them.

    Permits, visits and pump-outs after the day do not count; ages count to it; flow, load and
    reserve follow, by the aging curves that the permits up to then teach. Soil, terrain, distances
    and the space on the lot are those of today. Systems that were not there yet are left out.

    Parameters
    ----------
    features
        The county's present rows, index ``parcel_id``.
    """
    parcels = county.tables["parcels"].set_index("parcel_id", drop=False)
    records = county.tables.get("permits")
    permits = None if records is None else match_permits(records, parcels)
    if permits is not None:
        permits = permits[~(permit_date(permits) > pd.Timestamp(day))]
    systems = describe_systems(
        parcels,
        permits,
        county.tables.get("inspections"),
        date=day,
        rules=county.region.rules,
        neighborhoods=neighborhood_years(parcels, permits),
    )
    there = ~(parcels["year_built"].astype(float) > day.year)
    onsite = features["service"].eq("onsite") & there.reindex(features.index)
    rows = features[onsite & features[["x_m", "y_m"]].notna().all(axis=1)]
    then = rows.assign(**{name: systems[name].reindex(rows.index) for name in systems.columns})
    built = parcels["year_built"].reindex(then.index)
    lives = service_history(
        then[["kind"]].assign(year_built=built), permits, at_year=decimal_year_of(day)
    )
    derived, _ = failure_features(
        then, rules=county.region.rules, physics=county.region.failure, aging=learn_aging(lives)
    )
    return then.drop(columns=[c for c in derived.columns if c in then]).join(derived)


def prepare_lesson(
    features: pd.DataFrame,
    county: County,
    model: Model,
    *,
    years: float,
    min_failures: int,
    min_visits: int,
) -> Lesson:
    """Label the visits of the window and describe the visited systems as they were before it.

    Parameters
    ----------
    features
        The county's present rows, index ``parcel_id``.
    county
        Gives inspections, permits and the date of the run.
    model
        The scoring model.
    years
        Length of the window before the date of the run.
    min_failures, min_visits
        Fewest failures (and sound systems), and visits, that figures may be taken on.
    """
    start, end = window(county.region.county.date, years)
    before = (start - pd.Timedelta(days=1)).date()
    then = inventory_as_of(before, features, county)
    inspections = county.tables["inspections"]
    labels = label_systems(
        inspections, then.index, start=start, end=end, repairs=_repairs(county, then.index)
    )
    visited = labels["visited"].to_numpy(bool)
    plan = learnable(then, model)
    weights = visit_weights(plan.features, visited)
    judged_on, judged = _judged(
        inspections, labels, start, end, min_failures=min_failures, min_visits=min_visits
    )
    by = np.where(visited, weights.weight, np.nan)
    if judged_on != list(JUDGES)[-1]:
        by = judging_weights(plan.features, judged, at_random=judged_on == next(iter(JUDGES)))
    given = {
        "oldest_first": then["age_yr"].to_numpy(float),
        "soil_rule": then["soil_rating"].to_numpy(float),
        "score": failure_points(then, model).to_numpy(float),
        "records_first": failure_points(then, model).to_numpy(float)
        + 1000.0 * then["last_stage"].eq(FAILED).fillna(False).to_numpy(float),
        "condition": chance_failed_by(county, then, model, before),
    }
    visits = Visits(
        design=Design(plan.features[visited], plan.signs),
        failed=labels["failed"].to_numpy(float)[visited],
        weight=weights.weight[visited],
        x_m=then["x_m"].to_numpy(float)[visited],
        y_m=then["y_m"].to_numpy(float)[visited],
        given={name: values[visited] for name, values in given.items()},
        evaluate=judged[visited],
        judged_weight=np.nan_to_num(by[visited], nan=0.0),
        base="condition",
    )
    return Lesson(visits, labels[visited], start, end, judged_on, weights.effective)


def at_most(visits: Visits, most: int, *, seed: int) -> Visits:
    """Return a random sample of the visits where there are more than `most`: enough to compare.

    Comparing takes time in proportion to the visits, and its intervals are narrow long before.

    Parameters
    ----------
    visits
        The visited systems.
    most
        Number to keep.
    seed
        Of the sample.
    """
    count = len(visits.failed)
    if count <= most:
        return visits
    keep = np.sort(np.random.default_rng(seed).permutation(count)[:most])
    return replace(
        visits,
        design=Design(visits.design.features.iloc[keep], visits.design.signs),
        given={name: values[keep] for name, values in visits.given.items()},
        **{
            name: getattr(visits, name)[keep]
            for name in ("failed", "weight", "x_m", "y_m", "evaluate", "judged_weight")
        },
    )


def learnable(features: pd.DataFrame, model: Model) -> Design:
    """Numbers to learn from: the failure factors' features, with what was on record by then.

    Complaints, repairs and findings are those of the day the features are of: for visits the day
    before the window opens, so that no visit gives itself away.
    """
    return design(features, model)


def failure_points(features: pd.DataFrame, model: Model) -> pd.Series:
    """Sum of the failure points of each row."""
    return factor_points(features, model, "failure")[1].sum(axis=1)


def judging_weights(features: pd.DataFrame, judged: Flags, *, at_random: bool) -> np.ndarray:
    """Weights of the rows that figures are taken on.

    Parameters
    ----------
    features
        Numbers that the choice of visits may depend on (n, k).
    judged
        Whether figures are taken on the row (n,).
    at_random
        Whether these rows were chosen at random; all weigh the same then.

    Returns
    -------
    ndarray
        (n,); NaN where the row is not judged.
    """
    if at_random:
        return np.where(judged, 1.0, np.nan)
    return visit_weights(features, judged).weight


def _judged(
    inspections: pd.DataFrame,
    labels: pd.DataFrame,
    start: pd.Timestamp,
    end: pd.Timestamp,
    *,
    min_failures: int,
    min_visits: int,
) -> tuple[str, Flags]:
    """Choose the least biased visits of which there are enough to take figures on."""
    failed = labels["failed"].to_numpy(float)
    visited = labels["visited"].to_numpy(bool)
    for words, reasons in JUDGES.items():
        chosen = inspections[inspections["reason"].isin(reasons)]
        found = label_systems(chosen, labels.index, start=start, end=end)["visited"]
        rows = found.to_numpy(bool) & visited if reasons else visited
        failures = int(np.nansum(failed[rows]))
        if rows.sum() >= min_visits and min_failures <= failures <= rows.sum() - min_failures:
            return words, rows
    return list(JUDGES)[-1], visited


def _repairs(county: County, parcels: pd.Index) -> pd.DataFrame | None:
    """Repair permits with their day, of systems that were there before the window."""
    records = county.tables.get("permits")
    if records is None:
        return None
    lots = county.tables["parcels"].set_index("parcel_id", drop=False)
    matched = match_permits(records, lots)
    repairs = pd.DataFrame(matched.loc[matched["action"].eq("repair")])
    repairs = repairs.assign(date=permit_date(repairs))[["parcel_id", "date"]]
    return repairs[repairs["parcel_id"].isin(parcels)].dropna().reset_index(drop=True)
