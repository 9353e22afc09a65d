"""Plans a season from a run: who goes where on which day, and what that is expected to find."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from riskmap.action.aims import chance_to_find, on_file_as_failed, share_visits, worth
from riskmap.action.season import (
    Choice,
    Day,
    comparison,
    nearest_first,
    plan_season,
    summary,
)
from riskmap.action.settings import SeasonSettings
from riskmap.action.travel import Travel, at_speed, straight
from riskmap.contract.arrays import Floats
from riskmap.contract.errors import RegionError
from riskmap.contract.suggest import nearest
from riskmap.outcomes.log import visits
from riskmap.publish.words.imprint import run_name
from riskmap.region.sections import Region
from riskmap.season.plan_tables import left_out_of, owed_but_left_out, plan_tables
from riskmap.spatial.roads import road_ways
from riskmap.stages.listing import as_listed
from riskmap.stages.progress import Progress
from riskmap.stages.result import Result

HOUR_MIN: Final = 60.0
WORKING: Final = 5
"""Days of a week that are worked on, from Monday."""
MOST_DAYS_AHEAD: Final = 1000


@dataclass(frozen=True)
class SeasonPlan:
    """A season as planned.

    ``stops`` has a row a visit, index ``parcel_id``, by day and stop: ``day`` (a number for each
    working day of each inspector), ``date``, ``inspector``, ``stop``, ``begins_min`` (from
    midnight), ``leg_m``, ``leg_min``, ``visit``, ``service_min``, ``chance``, ``x_m``, ``y_m``,
    ``longitude``, ``latitude``, ``road``, ``why`` and the columns of the ranked table. ``days`` has
    a row a day that somebody goes out. ``compared`` holds the plan and the simple ways side by
    side; ``left_out`` the systems high on the list that are not visited, and why. ``frame`` is the
    number of systems that the audit was drawn from, ``drawn`` how many were drawn.
    """

    region: Region
    run: str
    stops: pd.DataFrame
    days: pd.DataFrame
    compared: pd.DataFrame
    left_out: pd.DataFrame
    frame: int
    drawn: int
    notes: list[str] = field(default_factory=list)


def plan(
    result: Result,
    *,
    inspectors: int | None = None,
    days: int = 20,
    failed: pd.Series | None = None,
    progress: Progress | None = None,
) -> SeasonPlan:
    """Plan a season.

    Parameters
    ----------
    result
        From :func:`riskmap.assess`.
    inspectors
        How many go out; those of the region file, the first so many of them, or as many alike.
    days
        Working days of the season.
    failed
        What is truly so by parcel, on an invented county: then the comparison says what each way
        would truly find. None in earnest.
    progress
        Shows what is going on; quiet by default.

    Raises
    ------
    RegionError
        If the region file's season cannot be: an appointment outside it, an inspector without a
        day, a parcel that is not there.
    """
    progress, region = progress or Progress(), result.region
    settings = region.season
    notes: list[str] = []
    ranked = pd.DataFrame(as_listed(result.parcels, region.lists.order).drop(columns="geometry"))
    ranked = ranked[ranked["rank"].notna() & ranked["x_m"].notna()].sort_values("rank")
    offices, calendar, dates = _calendar(region, ranked, inspectors, days)
    _require_parcels(settings, ranked, result.parcels.index)
    _require_inspectors(settings, calendar, dates)
    ranked = _not_yet_visited(region, ranked, notes)
    points = np.vstack([offices, ranked[["x_m", "y_m"]].to_numpy(float)])
    frame = ranked.assign(
        chance=chance_to_find(ranked) * ~on_file_as_failed(ranked),
        worth=worth(ranked, settings.stops_by) * ~on_file_as_failed(ranked),
    )
    with progress.stage("choose what may be visited"):
        chosen, drawn = _choose(frame, settings, calendar, offices, region.run.seed)
    with progress.stage("find the ways between stops"):
        rows = np.r_[np.arange(len(offices)), len(offices) + frame.index.get_indexer(chosen.index)]
        travel = _travel(result, points[rows], settings, notes)
    choice = _as_choice(chosen, travel, len(offices), settings, dates)
    with progress.stage("choose stops and their order"):
        routes, simple = plan_season(
            choice,
            calendar,
            together_min=settings.together_min,
            rounds=settings.search_rounds,
            seed=region.run.seed,
        )
    chance = chosen["chance"].to_numpy(float)
    truly = None if failed is None else failed.reindex(chosen.index).fillna(0).to_numpy(float)
    if truly is not None:
        truly = truly * ~on_file_as_failed(chosen)
    compared = comparison(
        {
            name: summary(choice, calendar, way, chance, truly)
            for name, way in {"this plan": routes, **simple}.items()
        }
    )
    stops, table = plan_tables(result, chosen, choice, calendar, dates, routes, offices)
    left_out = left_out_of(chosen, choice, calendar, routes)
    notes += owed_but_left_out(chosen, choice, routes)
    return SeasonPlan(
        region, run_name(region, result.inputs), stops, table, compared, left_out,
        len(frame), drawn, notes,
    )  # fmt: skip


def _calendar(
    region: Region, ranked: pd.DataFrame, inspectors: int | None, days: int
) -> tuple[Floats, list[Day], list[datetime.date]]:
    """Offices (k, 2), working days of the inspectors, and the dates of the season."""
    settings = region.season
    if days < 1 or (inspectors is not None and inspectors < 1):
        raise RegionError("A season needs at least one inspector and one day.")
    dates = _dates(settings, region.county.date, days)
    named = settings.inspectors
    if named and inspectors is not None and inspectors > len(named):
        raise RegionError(
            f"[season] names {len(named)} inspectors, not {inspectors}. Name them all, or none."
        )
    middle = ranked[["x_m", "y_m"]].median().to_numpy(float)
    office = (
        middle
        if settings.office_x_m is None
        else np.array([settings.office_x_m, settings.office_y_m], dtype=float)
    )
    offices, calendar = [office], []
    people: list[Any] = list(named[:inspectors]) or [None] * (inspectors or 1)
    for number, person in enumerate(people, start=1):
        place = 0
        name = f"Inspector {number}" if person is None else person.name
        begins, ends, off = settings.begins_h, settings.ends_h, ()
        if person is not None:
            begins = settings.begins_h if person.begins_h is None else person.begins_h
            ends = settings.ends_h if person.ends_h is None else person.ends_h
            off = person.days_off
            if person.x_m is not None:
                place = len(offices)
                offices.append(np.array([person.x_m, person.y_m], dtype=float))
        if begins >= ends:
            raise RegionError(f"[season] inspector {name} has no hours: {begins:g} to {ends:g}.")
        own = [
            Day(name, day, begins * HOUR_MIN, ends * HOUR_MIN, place)
            for day, date in enumerate(dates)
            if date not in off
        ]
        if not own:
            raise RegionError(f"[season] inspector {name} has no working day in the season.")
        calendar += own
    return np.array(offices), sorted(calendar, key=lambda day: day.number), dates


def _dates(settings: SeasonSettings, run: datetime.date, days: int) -> list[datetime.date]:
    date = settings.begins or run + datetime.timedelta(days=1)
    dates: list[datetime.date] = []
    for _ in range(MOST_DAYS_AHEAD + days):
        if date.weekday() < WORKING and date not in settings.days_off:
            dates.append(date)
        if len(dates) == days:
            break
        date += datetime.timedelta(days=1)
    for one in settings.appointments:
        if one.date not in dates:
            raise RegionError(
                f"[season] the appointment at {one.parcel} on {one.date.isoformat()} is no working "
                f"day of the season, {dates[0].isoformat()} to {dates[-1].isoformat()}."
            )
    return dates


def _require_parcels(settings: SeasonSettings, ranked: pd.DataFrame, parcels: pd.Index) -> None:
    for name in (*settings.revisits, *(one.parcel for one in settings.appointments)):
        if name in ranked.index:
            continue
        why = "has no rank or no place" if name in parcels else "is not in the parcels layer"
        raise RegionError(f"[season] parcel {name!r} {why}.{nearest(name, ranked.index)}")


def _require_inspectors(
    settings: SeasonSettings, calendar: Sequence[Day], dates: Sequence[datetime.date]
) -> None:
    """Refuse an appointment with an inspector who does not go out on its day."""
    names = list(dict.fromkeys(day.inspector for day in calendar))
    for one in settings.appointments:
        if one.inspector and one.inspector not in names:
            raise RegionError(
                f"[season] the appointment at {one.parcel} is with {one.inspector!r}, who does not "
                f"go out this season.{nearest(one.inspector, names)}"
            )
        at_work = {d.inspector for d in calendar if dates[d.number] == one.date}
        if one.inspector and one.inspector not in at_work:
            raise RegionError(
                f"[season] the appointment at {one.parcel} is with {one.inspector} on "
                f"{one.date.isoformat()}, a day off."
            )


def _not_yet_visited(region: Region, ranked: pd.DataFrame, notes: list[str]) -> pd.DataFrame:
    """Leave out what was visited since the run, unless it is to be visited again."""
    if region.outcomes is None:
        return ranked
    told = visits(region.outcomes.place, up_to=region.outcomes.entries)
    fresh = told.loc[told["visited_on"] > pd.Timestamp(region.county.date), "parcel_id"]
    again = {*region.season.revisits, *(one.parcel for one in region.season.appointments)}
    done = ranked.index.isin(set(fresh) - again)
    if done.any():
        notes.append(f"{int(done.sum()):,} systems were visited since the run and are left out.")
    return ranked[~done]


def _choose(
    frame: pd.DataFrame,
    settings: SeasonSettings,
    calendar: Sequence[Day],
    offices: Floats,
    seed: int,
) -> tuple[pd.DataFrame, int]:
    """Say of each system that may be visited why; the audit is drawn from all, at random."""
    room = _capacity(frame, settings, calendar, offices)
    dice = np.random.default_rng(seed)
    audits = min(round(settings.audit_frac * room), len(frame))
    drawn = frame.index[dice.choice(len(frame), audits, replace=False)]
    failed = on_file_as_failed(frame)
    most, _ = share_visits(room, settings.followup_frac, int(failed.sum()))
    follow = frame[failed].sort_values("list_rank", kind="stable").index[:most]
    promised = [one.parcel for one in settings.appointments]
    visit = pd.Series("", index=frame.index)
    visit[frame.index[~failed][: settings.candidates]] = "list"
    visit[follow] = "follow-up"
    visit[drawn] = "audit"
    visit[list(settings.revisits)] = "re-visit"
    visit[promised] = visit[promised].replace("", "list")
    owed = visit.isin(["follow-up", "audit", "re-visit"]) | frame.index.isin(promised)
    chosen = frame.assign(visit=visit, duty=owed)
    return chosen[chosen["visit"] != ""], audits


def _capacity(
    frame: pd.DataFrame, settings: SeasonSettings, calendar: Sequence[Day], offices: Floats
) -> int:
    """About how many stops the season has: as many as always driving to the nearest would reach."""
    first = frame.head(settings.candidates)
    points = np.vstack([offices, first[["x_m", "y_m"]].to_numpy(float)])
    travel = straight(points, circuity=settings.circuity, speed_km_h=settings.speed_km_h)
    table = first.assign(visit="list", duty=False)
    choice = _as_choice(table, travel, len(offices), settings, [], dated=False)
    return sum(map(len, nearest_first(choice, calendar)))


def _travel(result: Result, points: Floats, settings: SeasonSettings, notes: list[str]) -> Travel:
    plain = straight(points, circuity=settings.circuity, speed_km_h=settings.speed_km_h)
    roads = result.county.tables.get("roads")
    if roads is None or not len(roads):
        notes.append(
            f"There is no road layer: ways are straight lines times {settings.circuity:g}."
        )
        return plain
    ways = road_ways(roads.geometry.to_numpy(), points)
    none = ~np.isfinite(ways)
    if none.any():
        notes.append(
            f"{none.mean():.1%} of the ways have no road between their ends: straight lines times "
            f"{settings.circuity:g} stand for them."
        )
        ways = np.where(none, plain.way_m, ways)
    return at_speed(ways, settings.speed_km_h, "roads")


def _as_choice(
    table: pd.DataFrame,
    travel: Travel,
    offices: int,
    settings: SeasonSettings,
    dates: Sequence[datetime.date],
    *,
    dated: bool = True,
) -> Choice:
    minutes = {
        "list": settings.list_min,
        "follow-up": settings.followup_min,
        "audit": settings.audit_min,
        "re-visit": settings.revisit_min,
    }
    count = len(table)
    by = [""] * count
    on_day, begin, end = np.full(count, -1), np.zeros(count), np.full(count, 24 * HOUR_MIN)
    for one in settings.appointments if dated else ():
        row = table.index.get_loc(one.parcel)
        on_day[row], by[row] = dates.index(one.date), one.inspector
        begin[row], end[row] = one.from_h * HOUR_MIN, one.to_h * HOUR_MIN
    areas = (
        pd.factorize(table["neighborhood"].astype(object))[0]
        if "neighborhood" in table
        else np.zeros(count, dtype=np.int64)
    )
    return Choice(
        minutes=travel.minutes,
        way_m=travel.way_m,
        offices=offices,
        points=table[["x_m", "y_m"]].to_numpy(float),
        worth=table["worth"].to_numpy(float),
        service_min=np.array([minutes[word] for word in table["visit"]], dtype=float),
        duty=table["duty"].to_numpy(bool),
        area=np.asarray(areas, dtype=np.int64),
        on_day=on_day,
        by=tuple(by),
        from_min=begin,
        to_min=end,
    )
