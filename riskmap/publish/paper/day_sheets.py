"""Day sheets on paper: for each day a page of its stops, then a page a stop to fill in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.action.inspections import inspection_stops, look_for
from riskmap.contract.columns import Column
from riskmap.contract.features.ranks import RECORDS
from riskmap.contract.quantities import LENGTH, Units, text
from riskmap.contract.visits import FOUND_WORDS, QUESTIONS
from riskmap.publish.lists.list_columns import YES_NO
from riskmap.publish.paper.place_code import geo_address, qr_svg
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
from riskmap.publish.words.chance_words import chance_words
from riskmap.publish.words.imprint import Imprint, run_name, sender_of
from riskmap.publish.words.ledger import ledger_sums
from riskmap.ranking.reasons import REASON_COLUMNS
from riskmap.stages.listing import as_listed
from riskmap.stages.result import Result

NO_HEADS: Final[Mapping[int, str]] = MappingProxyType({})
ORDER_NOTE: Final = (
    "The order is by straight lines between the stops. It is no route: roads, rivers and gates are "
    "not known to it."
)
LONGEST_REASON: Final = 120
LONGEST_RECORDS: Final = 140
"""Letters of a reason and of the records; the words of a run stay whole, free text from outside and
long histories may be cut."""
APART: Final = ("found", "notes", "sketch")
"""Questions that have a place of their own on the page."""


DRAWN: Final = ("buildings", "wells", "roads", "streams", "waterbodies")
"""Layers drawn on the small maps, from below."""


def day_sheets(folder: Path, result: Result) -> None:
    """Write the day sheets of a run, if the region file asks for any."""
    region, tables = result.region, result.county.tables
    lists = region.lists
    if lists.stops:
        write_day_sheets(
            folder,
            as_listed(result.parcels, lists.order),
            sender_of(region),
            run=run_name(region, result.inputs),
            stops=lists.stops,
            followup_frac=region.season.followup_frac,
            ledgers=result.ledgers,
            areas=result.areas,
            layers={name: tables[name] for name in DRAWN if name in tables},
        )


def write_day_sheets(
    folder: Path,
    ranked: gpd.GeoDataFrame,
    imprint: Imprint,
    *,
    run: str,
    stops: int = 200,
    followup_frac: float = 0.0,
    ledgers: pd.DataFrame | None = None,
    planned: pd.DataFrame | None = None,
    day_heads: Mapping[int, str] = NO_HEADS,
    order_note: str = ORDER_NOTE,
    areas: gpd.GeoDataFrame | None = None,
    layers: Mapping[str, gpd.GeoDataFrame] | None = None,
) -> list[Path]:
    """Write ``sheets/day_sheets.pdf``.

    Parameters
    ----------
    folder
        The result folder.
    ranked
        Lots with features and ranks, index ``parcel_id``, projected meters.
    imprint
        Printed on every page; the date is also the file's. Units ``us``: letter paper and feet,
        ``si``: A4 and meters.
    run
        Name of the run that the sheets come from, at the foot of every page.
    stops
        Stops at most.
    followup_frac
        Most of them for systems on file, 0..1.
    ledgers
        Ledgers of some systems (:mod:`riskmap.condition.ledger`); None: none are printed.
    planned
        Stops of a planned season instead: parcel (index), ``day``, ``stop``, ``leg_m`` and
        ``begins``, the hour.
    day_heads, order_note
        Words beside a day's number, and on how the order was made.
    areas
        Likely treatment areas, index ``parcel_id``.
    layers
        Those of :data:`DRAWN` that there are, by name, same reference system.

    Returns
    -------
    list of Path
        The file written; empty where nothing is ranked.
    """
    if planned is None:
        plan = inspection_stops(pd.DataFrame(ranked), stops=stops, followup_frac=followup_frac)
    else:
        plan = planned_stops(pd.DataFrame(ranked), planned)
    if plan.empty:
        return []
    layers, units = layers or {}, imprint.units
    sums = {} if ledgers is None else ledger_sums(ledgers)
    source = MapSource({"lots": ranked[["geometry"]], **{name: layers.get(name) for name in DRAWN}})
    drawn_areas = None if areas is None else areas.geometry
    spots = gpd.GeoSeries.from_xy(plan["x_m"], plan["y_m"], crs=ranked.crs).to_crs(4326)
    pages = _stop_pages(plan, source, drawn_areas, spots, units)
    for page, parcel_id in zip(pages, plan.index, strict=True):
        page["ledger"] = sums.get(str(parcel_id), "")
    content = typeset(
        "day_sheets",
        {
            "county": field(imprint.county, 60),
            "date": imprint.date.isoformat(),
            "contact": field(imprint.contact, 80),
            "run": field(run, 40),
            "cautions": {"safety": SAFETY, "screening": SCREENING, "local": LOCAL_CODE,
                         "staff": STAFF_ONLY, "order": order_note},
            "stages": [list(found) for found in FOUND_WORDS.items()],
            "questions": [_question(q, units) for q in QUESTIONS if q.name not in APART],
            "apart": {q.name: q.label for q in QUESTIONS if q.name in APART},
            "buildings_given": len(layers.get("buildings", ())) > 0,
            "days": _days(plan, pages, source, units, day_heads),
        },
        date=imprint.date,
        paper=paper_of(units),
    )  # fmt: skip
    return [write_pdf(folder / "sheets" / "day_sheets.pdf", content)]


def planned_stops(ranked: pd.DataFrame, planned: pd.DataFrame) -> pd.DataFrame:
    """Put the stops of a season beside the ranked table, with what to look for, by day and stop."""
    names = ["day", "stop", "leg_m", "begins"]
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
    plan: pd.DataFrame,
    source: MapSource,
    areas: gpd.GeoSeries | None,
    spots: gpd.GeoSeries,
    units: Units,
) -> list[dict[str, Any]]:
    facts = facts_table(plan, units)
    pages = []
    for row, (parcel_id, stop) in enumerate(plan.iterrows()):
        area = None if areas is None else areas.get(parcel_id)
        window = stop_window(stop["geometry"], area, (stop["x_m"], stop["y_m"]))
        pages.append(
            {
                **_head(str(parcel_id), stop, units),
                **_place(spots.iloc[row]),
                "reasons": why_this_stop(stop),
                "look_for": list(stop["look_for"]),
                "unknown": field(stop.get("unknown"), 190),
                "facts": facts[row],
                "svg": stop_svg(source, window, lot=stop["geometry"], area=area),
                "bar": scale_bar(window, units),
            }
        )
    return pages


def why_this_stop(stop: pd.Series) -> list[str]:
    """Say why a system is visited: the county's own records first, then the model's reasons."""
    records = [(found.label, field(stop.get(found.name), LONGEST_RECORDS)) for found in RECORDS]
    told = [f"{label}: {text}" for label, text in records if text]
    reasons = [field(stop.get(name), LONGEST_REASON) for name in REASON_COLUMNS]
    return [*told, *filter(None, reasons[: max(1, len(REASON_COLUMNS) - len(told))])]


def _place(spot: Any) -> dict[str, str]:
    """Coordinates as a person types them, and as a telephone reads them; empty where unknown."""
    if spot is None or spot.is_empty or np.isnan(spot.x):
        return {"coordinates": "", "code": ""}
    return {
        "coordinates": f"{spot.y:.5f}, {spot.x:.5f}",
        "code": qr_svg(geo_address(spot.x, spot.y)),
    }


def _head(parcel_id: str, stop: pd.Series, units: Units) -> dict[str, object]:
    return {
        "stop": int(stop["stop"]),
        "place": "" if pd.isna(stop["list_rank"]) else f"{int(stop['list_rank']):,}",
        "list": field(stop["worklist"]),
        "chance": chance_words(float(stop.get("chance_failed_frac", np.nan))),
        "parcel_id": field(parcel_id, 26),
        "address": field(stop.get("address"), 60) or "No address on record",
        "neighborhood": field(stop.get("neighborhood"), 28),
        "leg": _leg(stop["leg_m"], units),
        "begins": field(stop.get("begins"), 5),
        "failure": whole(stop.get("failure_score")),
        "groundwater": whole(stop.get("groundwater_score")),
    }


def _leg(meters: float, units: Units) -> str:
    return "" if np.isnan(meters) else text(meters, LENGTH, units)
