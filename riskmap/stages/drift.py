"""How a run differs from an earlier one: who moved, by how much, and why."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from riskmap.contract.errors import ModelError, RegionError
from riskmap.contract.features import CHANCE, FAILURE
from riskmap.contract.units import YEAR_D
from riskmap.failure.aging import DEFAULT_AGING
from riskmap.ranking.drift import (
    CAUSE_WORDS,
    CAUSES,
    SHARES,
    Drift,
    age_records,
    compare_priorities,
)
from riskmap.ranking.model import Model, parse_model
from riskmap.region.sections import Region
from riskmap.stages.county import County
from riskmap.stages.failure import failure_features
from riskmap.stages.listing import list_length

SAME: Final = 1e-6
"""A number that comes out alike within this when derived again was made by the same rules."""


_NOT_A_RESULT: Final = (
    OSError, ValueError, KeyError, TypeError, AttributeError, RuntimeError, ModelError,
)  # fmt: skip
"""What reading a damaged record or table raises: other types than expected, and the libraries'."""


@dataclass(frozen=True)
class Earlier:
    """An earlier result: its ranked table, its scoring model, and its date.

    ``field_margin`` is the clogging model's margin, None where the run did not record it.
    """

    parcels: pd.DataFrame
    model: Model
    date: date
    field_margin: float | None


@dataclass(frozen=True)
class CountyDrift:
    """``changes``: a row per parcel that is ranked in either run, greatest change first.

    Columns ``parcel_id, address, status, priority_before, priority_after, scores_before,
    scores_after, change, rank_before, rank_after, time, data, curves, weights, main_factor,
    main_cause``; the four causes add up to the change of the scores. ``drift``: the parts by factor
    behind it.
    """

    before: date
    changes: pd.DataFrame
    drift: Drift
    words: tuple[str, ...]


def read_earlier(folder: Path) -> Earlier:
    """Read the result folder of an earlier run.

    Raises
    ------
    RegionError
        If the folder is no result of a run, or one that cannot be compared with.
    """
    try:
        settings = json.loads((folder / "run.json").read_text(encoding="utf-8"))["settings"]
        parcels = pd.read_parquet(folder / "parcels.parquet")
        day = date.fromisoformat(settings["in_force"]["county"]["date"])
        model = _model_of(settings["model"])
        margin = settings.get("field_margin")
        margin = None if margin is None else float(margin)
        drop = [name for name in ("geometry", "bbox") if name in parcels]
        parcels = parcels.drop(columns=drop).set_index("parcel_id")
    except _NOT_A_RESULT as error:
        raise RegionError(
            f"{folder}: no result of an earlier run can be read there ({error}). Name a result "
            "folder with run.json and parcels.parquet, or leave it out."
        ) from error
    return Earlier(parcels, model, day, margin)


def read_run_before(county: County) -> Earlier | None:
    """Do :func:`read_earlier` as a stage; None where the region names no earlier run."""
    return None if county.region.before is None else read_earlier(county.region.before)


def compare_with_earlier(
    county: County, earlier: Earlier | None, parcels: pd.DataFrame, model: Model
) -> CountyDrift | None:
    """Explain the change of every ranked parcel's scores since an earlier run, if one is named.

    The two scores count by their shares. The priority comes from chances; it is given before and
    after, without parts.

    Parameters
    ----------
    earlier
        The earlier run; None where none is named.
    parcels
        The present ranked table, index ``parcel_id``.

    Raises
    ------
    RegionError
        If the earlier run is for a later day.
    """
    if earlier is None:
        return None
    region = county.region
    years = (region.county.date - earlier.date).days / YEAR_D
    if years < 0:
        raise RegionError(
            f"[run] before: that run is for {earlier.date}, this one for {region.county.date}. "
            "Name an earlier one."
        )
    read = [factor.feature for factor in (*earlier.model.factors, *model.factors)]
    then, now = (_ranked(table, read) for table in (earlier.parcels, parcels))
    drift = compare_priorities(
        then,
        now,
        model_before=earlier.model,
        model_after=model,
        years=years,
        top=list_length(parcels, region.lists),
        aged=aged_inventory(then, years, region, margin=earlier.field_margin),
    )
    changes = _changes(drift, then, now, (earlier.model, model))
    head = f"Compared with the run for {earlier.date} ({years:.1f} years before)."
    words = (head, *drift.words, *_only_one(drift))
    return CountyDrift(earlier.date, changes, drift, words)


def aged_inventory(
    then: pd.DataFrame, years: float, region: Region, *, margin: float | None = None
) -> pd.DataFrame:
    """Return the old records as time alone would have them now.

    Ages grow; what the failure models derive from them (load, reserve, overdue pump-outs) is
    derived again, where doing so without aging gives back what the earlier run had. Elsewhere the
    rules have changed, and the difference is left to the records.

    Parameters
    ----------
    then
        Ranked rows of the earlier run.
    years
        Time between the runs.
    region
        The present run's rules and physics.
    margin
        Factor on the fields' rate that the earlier run used; None: fitted again.
    """
    aged = age_records(then, years)
    try:
        same, grown = (
            failure_features(
                _underived(t),
                rules=region.rules,
                physics=region.failure,
                aging=DEFAULT_AGING,
                margin=margin,
            )[0]
            for t in (then, aged)
        )
    except KeyError:
        return aged
    for name in same.columns.intersection(then.columns):
        if pd.api.types.is_numeric_dtype(same[name]) and pd.api.types.is_numeric_dtype(then[name]):
            old, again = (t[name].to_numpy(float) for t in (then, same))
            alike = np.isclose(old, again, rtol=SAME, atol=SAME)
            aged[name] = np.where(alike, grown[name].to_numpy(float), old)
    return aged


def _underived(table: pd.DataFrame) -> pd.DataFrame:
    """Rows without what the failure models add, so that it can be added again."""
    names = {feature.name for feature in (*FAILURE, *CHANCE)}
    both = names | {f"{name}_evidence" for name in names}
    return table.drop(columns=[name for name in table.columns if name in both])


def _model_of(settings: Mapping[str, Any]) -> Model:
    """Model from the run's record, where its tuples have become lists."""
    factors = [
        {key: value for key, value in factor.items() if key not in ("curve", "table") or value}
        for factor in settings["factors"]
    ]
    for factor in factors:
        if "table" in factor:
            factor["table"] = dict(factor["table"])
    plain = {key: value for key, value in settings.items() if key != "factors"}
    return parse_model({**plain, "factor": factors})


def _ranked(table: pd.DataFrame, read: list[str]) -> pd.DataFrame:
    """Ranked rows with every column that either model reads, missing ones unknown."""
    rows = table[table["rank"].notna()]
    return rows.assign(**dict.fromkeys((name for name in read if name not in rows), np.nan))


def _changes(
    drift: Drift, then: pd.DataFrame, now: pd.DataFrame, models: tuple[Model, Model]
) -> pd.DataFrame:
    every = drift.moves.index.union(drift.came).union(drift.went)
    moves = drift.moves.reindex(every)
    labels = {f.name: f.label for model in models for f in model.factors}
    labels[SHARES] = "Shares of the two scores"
    table = pd.DataFrame(
        {
            "address": now["address"].reindex(every).fillna(then["address"].reindex(every)),
            "status": _status(every, drift),
            "priority_before": then["priority"].reindex(every),
            "priority_after": now["priority"].reindex(every),
            "scores_before": moves["score_before"],
            "scores_after": moves["score_after"],
            "change": moves["change"],
            "rank_before": then["rank"].reindex(every).astype("Int64"),
            "rank_after": now["rank"].reindex(every).astype("Int64"),
            **{cause: moves[cause] for cause in CAUSES},
            "main_factor": moves["main_factor"].map(labels).fillna(""),
            "main_cause": moves["main_cause"].map(CAUSE_WORDS).fillna(""),
        },
        index=every.rename("parcel_id"),
    )
    ends = [f"{what}_{end}" for what in ("priority", "scores") for end in ("before", "after")]
    numbers = [*ends, "change", *CAUSES]
    table[numbers] = table[numbers].astype(float).round(3)
    order = table["change"].abs().fillna(np.inf).to_numpy()
    return table.iloc[np.argsort(-order, kind="stable")]


def _status(every: pd.Index, drift: Drift) -> np.ndarray:
    return np.select(
        [
            every.isin(drift.came),
            every.isin(drift.went),
            every.isin(drift.joined),
            every.isin(drift.left),
        ],
        ["ranked in this run only", "ranked in the earlier run only", "came onto the list",
         "left the list"],
        "",
    )  # fmt: skip


def _only_one(drift: Drift) -> tuple[str, ...]:
    if not len(drift.came) and not len(drift.went):
        return ()
    return (
        f"{len(drift.came):,} systems are ranked in this run only, {len(drift.went):,} in the "
        "earlier run only.",
    )
