"""A planned season as tables: stops with their hours, days, and what is left out, each with why."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from pyproj import Transformer

from riskmap.action.season import Choice, Day, Routes, day_times
from riskmap.contract.arrays import Floats
from riskmap.spatial.roads import nearest_line
from riskmap.stages.result import Result


def plan_tables(
    result: Result,
    chosen: pd.DataFrame,
    choice: Choice,
    calendar: Sequence[Day],
    dates: Sequence[datetime.date],
    routes: Routes,
    offices: Floats,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Make tables of stops and of days, without days on which nobody goes out."""
    rows, order, days = [], [], []
    number = 0
    for day, route in zip(calendar, routes, strict=True):
        if not route:
            continue
        number += 1
        begins, back = day_times(choice, day, route)
        whole = {"day": number, "date": dates[day.number], "inspector": day.inspector}
        here = -1
        for place, (stop, begin) in enumerate(zip(route, begins, strict=True), start=1):
            a, b = choice.place(day.office, here), choice.place(day.office, stop)
            leg = {"leg_m": choice.way_m[a, b], "leg_min": choice.minutes[a, b]}
            rows.append({**whole, "stop": place, "begins_min": begin, **leg})
            order.append(stop)
            here = stop
        a = choice.place(day.office, here)
        days.append(
            {**whole, "begins_min": day.begins_min, "ends_min": day.ends_min, "back_min": back,
             "stops": len(route), "home_m": choice.way_m[a, day.office],
             "office_x_m": offices[day.office, 0], "office_y_m": offices[day.office, 1]}
        )  # fmt: skip
    columns = ["day", "date", "inspector", "stop", "begins_min", "leg_m", "leg_min"]
    stops = pd.DataFrame(rows, columns=columns, index=chosen.index[order])
    stops["service_min"] = choice.service_min[order]
    stops = stops.join(chosen.drop(columns=[c for c in stops if c in chosen]))
    stops["why"] = _why(stops)
    return _placed(result, stops), pd.DataFrame(days)


def _why(stops: pd.DataFrame) -> list[str]:
    """Say why a stop comes later than its place on the list would have it."""
    listed = stops["visit"].eq("list")
    per_date = max(1.0, len(stops) / max(1, stops["date"].nunique()))
    due = np.ceil(stops["rank"].rank().to_numpy() / per_date)
    dates = stops["date"].rank(method="dense").to_numpy()
    mates = stops.groupby("day")["rank"].transform("mean")
    said = []
    for late, plain, mean in zip(dates - due, listed, mates, strict=True):
        if not plain or late <= 1:
            said.append("")
        else:
            said.append(
                f"{late:.0f} days later than its rank alone would have it: driven together with "
                f"stops of mean rank {mean:,.0f}"
            )
    return said


def _placed(result: Result, stops: pd.DataFrame) -> pd.DataFrame:
    points = stops[["x_m", "y_m"]].to_numpy(float)
    to_degrees = Transformer.from_crs(result.county.crs, 4326, always_xy=True)
    longitude, latitude = to_degrees.transform(points[:, 0], points[:, 1])
    roads = result.county.tables.get("roads")
    road: Any = ""
    if roads is not None and len(roads) and len(stops):
        names = roads["name"].fillna("").to_numpy(dtype=object)
        road = names[nearest_line(roads.geometry.to_numpy(), points)]
    return stops.assign(longitude=longitude, latitude=latitude, road=road)


def left_out_of(
    chosen: pd.DataFrame, choice: Choice, calendar: Sequence[Day], routes: Routes
) -> pd.DataFrame:
    """Of as many as are visited, the first of the list that are not, and why."""
    planned = {stop for route in routes for stop in route}
    first = [n for n in range(min(len(planned), len(chosen))) if n not in planned]
    rows = []
    for stop in first:
        if choice.worth[stop] <= 0:
            why = "nothing tells that a failure would be found"
        else:
            why = _detour(choice, calendar, routes, stop)
        rows.append(
            {"rank": chosen["rank"].iloc[stop], "parcel_id": chosen.index[stop],
             "chance": chosen["chance"].iloc[stop], "why": why}
        )  # fmt: skip
    return pd.DataFrame(rows, columns=["rank", "parcel_id", "chance", "why"])


def _detour(choice: Choice, calendar: Sequence[Day], routes: Routes, stop: int) -> str:
    """Say what the visit would take on the day that passes nearest, and what that day has left."""
    best = (np.inf, 0.0)
    for day, route in zip(calendar, routes, strict=True):
        places = np.array([choice.place(day.office, s) for s in (-1, *route, -1)])
        here = choice.place(day.office, stop)
        extra = (
            choice.minutes[places[:-1], here]
            + choice.minutes[here, places[1:]]
            - choice.minutes[places[:-1], places[1:]]
        )
        left = day.ends_min - day_times(choice, day, route)[1]
        best = min(best, (float(extra.min()), left))
    need = best[0] + float(choice.service_min[stop])
    return (
        f"{need:.0f} minutes on the day that passes nearest, of which {max(0.0, best[1]):.0f} are "
        "left; the stops there find more in that time"
    )


def owed_but_left_out(chosen: pd.DataFrame, choice: Choice, routes: Routes) -> list[str]:
    """Name the visits that are owed and did not fit."""
    planned = {stop for route in routes for stop in route}
    missing = [n for n in np.flatnonzero(choice.duty).tolist() if n not in planned]
    return [
        f"{chosen.index[n]} ({chosen['visit'].iloc[n]}) did not fit into the season's hours."
        for n in missing
    ]
