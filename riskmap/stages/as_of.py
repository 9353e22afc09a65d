"""A county as it was known on an earlier day: the whole program on the records up to then."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any, Final

import pandas as pd

from riskmap.contract.chunks import crew
from riskmap.region.sections import Region
from riskmap.stages.making import call
from riskmap.stages.order import READING, STAGES
from riskmap.stages.progress import Progress
from riskmap.stages.result import Result
from riskmap.stages.stage import LAYER, Stage, needed_for

RECORDS: Final = ("inspections", "permits", "well_samples")
"""Layers whose later rows are hidden."""
CHANGED: Final = ("county.date", "learning.use", "run.draws")
"""Settings that are other on the earlier day."""


def parcels_as_of(result: Result, day: date, progress: Progress) -> pd.DataFrame:
    """Rank a county as of an earlier day, with later visits, permits and samples hidden.

    All else is as today: the parcels and their houses, soil, terrain, wells. Houses built later are
    on no list. Draws and the comparison of learning, which change no rank, are left out.

    Parameters
    ----------
    result
        The present run.
    day
        The earlier day.
    progress
        Shows what is going on.

    Returns
    -------
    DataFrame
        The parcels of that run, without shapes; index ``parcel_id``.
    """
    region = _region_then(result.region, day)
    things = _Hidden(result.things, pd.Timestamp(day))
    changed = set(things.own)
    with crew(region.run.workers, bar=not progress.quiet):
        for stage in needed_for(["parcels"], STAGES):
            if stage in READING or not _affected(stage, changed):
                continue
            with progress.stage(stage.name):
                given = call(stage, region, things)
            things.own.update(zip(stage.gives, given, strict=True))
            changed |= set(stage.gives)
    table = pd.DataFrame(things["parcels"].drop(columns="geometry"))
    built = things[f"{LAYER}parcels"].set_index("parcel_id")["year_built"].astype(float)
    later = (built > day.year).reindex(table.index, fill_value=False)
    return _off_the_list(table, later.to_numpy(bool))


def _region_then(region: Region, day: date) -> Region:
    """Return the region on the earlier day; draws only where the list is ordered by them."""
    use = region.learning.use if region.learning.use == "allow" else "off"
    draws = region.run.draws if region.lists.order == "chance" else 0
    return replace(
        region,
        county=replace(region.county, date=day),
        learning=replace(region.learning, use=use),
        run=replace(region.run, draws=draws),
    )


class _Hidden(dict[str, Any]):
    """Things of the present run; layers of records without their later rows, and what is new."""

    def __init__(self, things: Mapping[str, Any], day: pd.Timestamp) -> None:
        super().__init__()
        self._things = things
        self.own: dict[str, Any] = {}
        for layer in RECORDS:
            name = f"{LAYER}{layer}"
            table = things[name]
            if table is not None:
                self.own[name] = up_to(table, day, layer)

    def __missing__(self, name: str) -> Any:
        return self.own[name] if name in self.own else self._things[name]


def up_to(table: pd.DataFrame, day: pd.Timestamp, layer: str) -> pd.DataFrame:
    """Rows of a layer of records that were there by a day, with no later date in them.

    Rows without a date stay: a run takes them for old.

    Parameters
    ----------
    table
        Canonical layer.
    day
        The last day.
    layer
        One of :data:`RECORDS`.
    """
    begun = table["issued"].fillna(table["inspected"]) if layer == "permits" else table["date"]
    known = table[~(pd.to_datetime(begun) > day)].reset_index(drop=True)
    dates = known.select_dtypes("datetime").columns
    return known.assign(**{name: known[name].where(~(known[name] > day)) for name in dates})


def _affected(stage: Stage, changed: set[str]) -> bool:
    """Whether a stage reads what is other on the earlier day."""
    by_setting = any(
        setting == own or setting.startswith(f"{own}.") or own.startswith(f"{setting}.")
        for setting in stage.settings
        for own in CHANGED
    )
    return by_setting or bool(changed & set(stage.all_needs))


def _off_the_list(table: pd.DataFrame, later: Any) -> pd.DataFrame:
    """Take houses built later off the lists; places close up."""
    kept = table["list_rank"].where(~later)
    places = kept.groupby(table["worklist"]).rank(method="first")
    return table.assign(list_rank=places.astype("Int64"))
