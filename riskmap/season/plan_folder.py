"""Writes a planned season: routes, day sheets, workbooks, forms, calendars, and what it finds."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.contract.columns import Column
from riskmap.contract.features import column
from riskmap.contract.quantities import Units, shown
from riskmap.contract.visits import STOP_COLUMNS
from riskmap.publish.lists.list_columns import (
    file_name_of,
    inspection_columns,
    list_table,
    visit_results,
)
from riskmap.publish.lists.workbook import RunMark, Worklist, write_workbook
from riskmap.publish.paper.day_sheets import DRAWN, write_day_sheets
from riskmap.publish.words.imprint import imprint_of, sender_of
from riskmap.publish.words.text_safety import csv_text, plain_text
from riskmap.region.sections import Region
from riskmap.results.swap import result_folder
from riskmap.season.calendars import calendar_of, gpx_of
from riskmap.season.form import form_page
from riskmap.season.plan_page import plan_page
from riskmap.season.planning import SeasonPlan
from riskmap.stages.progress import Progress
from riskmap.stages.result import Result

PLAN: Final = "season plan 1"
"""What the mark of a plan's folder says it is; only a plan takes its place."""
OWN: Final = {found.name: found for found in STOP_COLUMNS}
ORDER_NOTE: Final = {
    "roads": "The order is by roads, at one speed. It gives no directions; gates, closed "
    "and one-way roads are not known to it.",
    "": "The order is by straight lines between the stops. It is no route: roads, rivers and gates "
    "are not known to it.",
}


def write_plan(plan: SeasonPlan, result: Result, out: Path, progress: Progress) -> None:
    """Write a plan's folder, whole or not at all; an earlier plan there is replaced.

    What people filled in or added to the earlier one is kept beside it, as with a result.

    Raises
    ------
    OutputError
        If something else is there, or the folder cannot be written.
    """
    with (
        progress.stage("write the plan"),
        result_folder(out, tell=progress.tell, kind=PLAN) as folder,
    ):
        stops = worded(plan)
        _write_tables(folder, plan, stops)
        write_text(folder / "routes.geojson", routes_geojson(plan, result))
        for _, day in stops.groupby("day"):
            _write_day(folder, plan, day)
        for person, own in stops.groupby("inspector"):
            content = calendar_of(
                own, inspector=str(person), county=plan.region.county.name, run=plan.run
            )
            write_text(folder / "calendars" / f"{file_word(str(person))}.ics", content)
        _write_sheets(folder, plan, result, stops)
        write_text(folder / "index.html", plan_page(plan, stops, routes_geojson(plan, result)))


def worded(plan: SeasonPlan) -> pd.DataFrame:
    """Return the stops with their hour as people read it."""
    return plan.stops.assign(begins=[clock(minute) for minute in plan.stops["begins_min"]])


def clock(minute: float) -> str:
    """Hour and minute of the day.

    >>> clock(495.4)
    '08:15'
    """
    whole = round(minute)
    return f"{whole // 60:02d}:{whole % 60:02d}"


def file_word(words: str) -> str:
    """Name as part of a file's name, in letters that every system takes.

    >>> file_word("A. Bee / north")
    'a_bee_north'
    """
    plain = "".join(sign if sign.isalnum() else " " for sign in plain_text(words).lower())
    return "_".join(plain.split()) or "inspector"


def day_name(day: pd.DataFrame) -> str:
    """Name of a day's files: the date and who goes out."""
    first = day.iloc[0]
    return f"{first['date'].isoformat()}_{file_word(str(first['inspector']))}"


def write_text(path: Path, content: str) -> None:
    """Write a text file as it is, making its folder."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content.encode("utf-8"))


def day_table(day: pd.DataFrame, units: Units) -> tuple[pd.DataFrame, list[Column]]:
    """Return a day's stops as people read them, and their columns in order."""
    listed = {found.name: found for found in inspection_columns()}
    table = list_table(day, units=units).set_axis(day.index)
    columns: list[Column] = []
    front = ("stop", "begins", "parcel_id", "visit", "address", "neighborhood", "rank", "leg_m")
    why = (*(f"reason_{n}" for n in (1, 2, 3)), "look_for", "unknown", "why")
    for name in (*front, "road", "longitude", "latitude", *why):
        found = OWN.get(name) or listed.get(name) or column(name)
        if name in OWN:
            values = day[name]
            number = pd.api.types.is_float_dtype(values.dtype)
            table[name] = shown(values, found.quantity, units) if number else values
        elif name not in table:
            continue
        columns.append(found)
    return table[[found.name for found in columns]].reset_index(drop=True), columns


def _write_day(folder: Path, plan: SeasonPlan, day: pd.DataFrame) -> None:
    region, name = plan.region, day_name(day)
    imprint = imprint_of(region)
    table, columns = day_table(day, imprint.units)
    first = day.iloc[0]
    write_workbook(
        folder / "days" / f"{name}.xlsx",
        Worklist(
            name="Visits",
            heading=f"{plain_text(region.county.name)}: {first['date'].isoformat()}, "
            f"{plain_text(first['inspector'])} (run {plan.run})",
            table=table,
            columns=columns,
            results=visit_results(imprint.units),
            units=imprint.units,
            who="the inspector",
            pages_wide=2,
        ),
        mark=RunMark(plan.run, region.county.name),
    )
    title = f"{region.county.name}, {first['date'].isoformat()}, {first['inspector']}"
    write_text(folder / "gpx" / f"{name}.gpx", gpx_of(day, name=title))
    page = form_page(day, name=name, county=region.county.name, run=plan.run, units=imprint.units)
    write_text(folder / "forms" / f"{name}.html", page)


def _write_tables(folder: Path, plan: SeasonPlan, stops: pd.DataFrame) -> None:
    units = plan.region.county.units
    table, columns = day_table(stops, units)
    names = {found.name: file_name_of(found, units=units) for found in columns}
    head = stops[["day", "date", "inspector"]].reset_index(drop=True)
    chance = stops[["chance"]].reset_index(drop=True)
    write_text(folder / "stops.csv", csv_text(head.join(table.rename(columns=names)).join(chance)))
    write_text(folder / "left_out.csv", csv_text(plan.left_out))
    content = {
        "run": plan.run,
        "county": plan.region.county.name,
        "audit": {"drawn": plan.drawn, "from": plan.frame},
        "ways_compared": json.loads(plan.compared.to_json(orient="index", double_precision=4)),
        "notes": plan.notes,
    }
    write_text(folder / "plan.json", json.dumps(content, indent=1, ensure_ascii=False) + "\n")


def routes_geojson(plan: SeasonPlan, result: Result) -> str:
    """Write a line for each day, from the office and back, and a point for each stop (WGS 84)."""
    features: list[dict[str, Any]] = []
    for number, day in plan.stops.groupby("day"):
        place = plan.days.set_index("day").loc[number]
        office = gpd.GeoSeries.from_xy(
            [place["office_x_m"]], [place["office_y_m"]], crs=result.county.crs
        ).to_crs(4326)
        ends = np.array([[office.x.iloc[0], office.y.iloc[0]]])
        line = np.vstack([ends, day[["longitude", "latitude"]].to_numpy(float), ends]).round(6)
        whole = {
            "day": int(str(number)),
            "date": day["date"].iloc[0].isoformat(),
            "inspector": str(day["inspector"].iloc[0]),
        }
        features.append(_feature("LineString", line.tolist(), whole | {"stops": len(day)}))
        for parcel, row in day.iterrows():
            about = {"parcel_id": str(parcel), "stop": int(row["stop"]), "visit": row["visit"]}
            point = [round(float(row["longitude"]), 6), round(float(row["latitude"]), 6)]
            features.append(_feature("Point", point, whole | about))
    return json.dumps({"type": "FeatureCollection", "features": features}) + "\n"


def _feature(kind: str, coordinates: Any, about: dict[str, Any]) -> dict[str, Any]:
    shape = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "geometry": shape, "properties": about}


def _write_sheets(
    folder: Path, plan: SeasonPlan, result: Result, stops: pd.DataFrame
) -> list[Path]:
    region: Region = plan.region
    tables = result.county.tables
    first = stops.groupby("day")[["date", "inspector"]].first()
    heads = {
        int(str(d)): f"{row['date'].isoformat()}, {row['inspector']}" for d, row in first.iterrows()
    }
    ways = "roads" if "roads" in tables else ""
    return write_day_sheets(
        folder,
        result.parcels,
        sender_of(region),
        run=plan.run,
        planned=stops[["day", "stop", "leg_m", "begins"]],
        day_heads=heads,
        order_note=ORDER_NOTE[ways],
        ledgers=result.ledgers,
        areas=result.areas,
        layers={name: tables[name] for name in DRAWN if name in tables},
    )
