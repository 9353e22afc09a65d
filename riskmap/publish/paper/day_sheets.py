"""Day sheets on paper: for each day a page of its stops, then a page a stop to fill in."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.action.inspections import inspection_stops, look_for
from riskmap.contract.columns import Column
from riskmap.contract.quantities import LENGTH, Units, text
from riskmap.contract.visits import FOUND_WORDS, QUESTIONS
from riskmap.publish.lists.list_columns import YES_NO
from riskmap.publish.paper.sheet_facts import facts_table
from riskmap.publish.paper.sheet_map import (
    MapSource,
    apart,
    day_svg,
    day_window,
    places,
    scale_bar,
    stop_svg,
    stop_window,
)
from riskmap.publish.paper.typesetting import field, paper_of, typeset, whole, write_pdf
from riskmap.publish.words.cautions import LOCAL_CODE, SAFETY, SCREENING, STAFF_ONLY

NO_HEADS: Final[Mapping[int, str]] = MappingProxyType({})
ORDER_NOTE: Final = (
    "The order is by straight lines between the stops. It is no route: roads, rivers and gates are "
    "not known to it."
)
LONGEST_REASON: Final = 120
"""Letters of a reason; the words of a run stay whole, free text from outside may be cut."""
APART: Final = ("found", "notes", "sketch")
"""Questions that have a place of their own on the page."""


def write_day_sheets(
    folder: Path,
    ranked: gpd.GeoDataFrame,
    *,
    county: str,
    date: datetime.date,
    units: Units = "us",
    contact: str = "",
    stops: int = 200,
    per_day: int = 8,
    start: tuple[float, float] | None = None,
    planned: pd.DataFrame | None = None,
    day_heads: Mapping[int, str] = NO_HEADS,
    order_note: str = ORDER_NOTE,
    areas: gpd.GeoDataFrame | None = None,
    buildings: gpd.GeoDataFrame | None = None,
    wells: gpd.GeoDataFrame | None = None,
    streams: gpd.GeoDataFrame | None = None,
    waterbodies: gpd.GeoDataFrame | None = None,
) -> list[Path]:
    """Write ``sheets/day_sheets.pdf``.

    Parameters
    ----------
    folder
        The result folder.
    ranked
        Lots with features and ranks, index ``parcel_id``, projected meters.
    county, date, contact
        Printed on every page; the date is also the file's.
    units
        ``us`` (letter paper, feet) or ``si`` (A4, meters).
    stops, per_day, start
        See :func:`riskmap.action.inspections.inspection_stops`.
    planned
        Stops of a planned season instead: parcel (index), ``day``, ``stop``, ``leg_m``.
    day_heads, order_note
        Words beside a day's number, and on how the order was made.
    areas
        Likely treatment areas, index ``parcel_id``.
    buildings, wells, streams, waterbodies
        Drawn where given, same reference system.

    Returns
    -------
    list of Path
        The file written; empty where nothing is ranked.
    """
    if planned is None:
        plan = inspection_stops(pd.DataFrame(ranked), stops=stops, per_day=per_day, start=start)
    else:
        plan = planned_stops(pd.DataFrame(ranked), planned)
    if plan.empty:
        return []
    source = MapSource(
        {"lots": ranked[["geometry"]], "buildings": buildings, "wells": wells,
         "streams": streams, "waterbodies": waterbodies}
    )  # fmt: skip
    drawn_areas = None if areas is None else areas.geometry
    pages = _stop_pages(plan, source, drawn_areas, units)
    content = typeset(
        "day_sheets",
        {
            "county": field(county, 60),
            "date": date.isoformat(),
            "contact": field(contact, 80),
            "cautions": {"safety": SAFETY, "screening": SCREENING, "local": LOCAL_CODE,
                         "staff": STAFF_ONLY, "order": order_note},
            "stages": [list(found) for found in FOUND_WORDS.items()],
            "questions": [_question(q, units) for q in QUESTIONS if q.name not in APART],
            "apart": {q.name: q.label for q in QUESTIONS if q.name in APART},
            "buildings_given": buildings is not None and len(buildings) > 0,
            "days": _days(plan, pages, source, units, day_heads),
        },
        date=date,
        paper=paper_of(units),
    )  # fmt: skip
    return [write_pdf(folder / "sheets" / "day_sheets.pdf", content)]


def planned_stops(ranked: pd.DataFrame, planned: pd.DataFrame) -> pd.DataFrame:
    """Put the stops of a season beside the ranked table, with what to look for, by day and stop."""
    names = ["day", "stop", "leg_m"]
    table = planned[names].join(ranked.drop(columns=names, errors="ignore"))
    prompts = pd.Series(look_for(table), index=table.index)
    return table.assign(look_for=prompts).sort_values(["day", "stop"], kind="stable")


def _question(asked: Column, units: Units) -> dict[str, object]:
    """One question as the sheet asks it: its heading, and boxes to tick or a line to write on."""
    choices = YES_NO if asked.dtype == "flag" else asked.domain
    unit = asked.quantity.scale(units).unit
    return {"label": asked.label, "choices": list(choices), "unit": unit}


def _days(
    plan: pd.DataFrame,
    pages: Sequence[dict[str, Any]],
    source: MapSource,
    units: Units,
    heads: Mapping[int, str],
) -> list[dict[str, object]]:
    days = []
    for number in plan["day"].unique():
        rows = np.flatnonzero((plan["day"] == number).to_numpy())
        x_m, y_m = (plan[name].to_numpy(dtype=float)[rows] for name in ("x_m", "y_m"))
        window = day_window(x_m, y_m)
        dots = places(x_m, y_m, window)
        days.append(
            {
                "number": int(number),
                "head": field(heads.get(int(number), ""), 60),
                "svg": day_svg(source, window, np.column_stack([x_m, y_m])),
                "dots": dots.tolist(),
                "labels": apart(dots).tolist(),
                "bar": scale_bar(window, units),
                "stops": [pages[row] for row in rows.tolist()],
            }
        )
    return days


def _stop_pages(
    plan: pd.DataFrame, source: MapSource, areas: gpd.GeoSeries | None, units: Units
) -> list[dict[str, Any]]:
    facts = facts_table(plan, units)
    pages = []
    for row, (parcel_id, stop) in enumerate(plan.iterrows()):
        area = None if areas is None else areas.get(parcel_id)
        window = stop_window(stop["geometry"], area, (stop["x_m"], stop["y_m"]))
        pages.append(
            {
                **_head(str(parcel_id), stop, units),
                "reasons": _reasons(stop),
                "look_for": list(stop["look_for"]),
                "unknown": field(stop.get("unknown"), 190),
                "facts": facts[row],
                "svg": stop_svg(source, window, lot=stop["geometry"], area=area),
                "bar": scale_bar(window, units),
            }
        )
    return pages


def _reasons(stop: pd.Series) -> list[str]:
    texts = (field(stop.get(f"reason_{n}"), LONGEST_REASON) for n in (1, 2, 3))
    return [text for text in texts if text]


def _head(parcel_id: str, stop: pd.Series, units: Units) -> dict[str, object]:
    return {
        "stop": int(stop["stop"]),
        "rank": int(stop["rank"]),
        "parcel_id": field(parcel_id, 26),
        "address": field(stop.get("address"), 60) or "No address on record",
        "neighborhood": field(stop.get("neighborhood"), 28),
        "leg": _leg(stop["leg_m"], units),
        "failure": whole(stop.get("failure_score")),
        "failure_class": field(stop.get("failure_class")),
        "groundwater": whole(stop.get("groundwater_score")),
        "groundwater_class": field(stop.get("groundwater_class")),
    }


def _leg(meters: float, units: Units) -> str:
    return "" if np.isnan(meters) else text(meters, LENGTH, units)
