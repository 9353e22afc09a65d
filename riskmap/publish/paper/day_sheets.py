"""Day sheets on paper: for each day a page of its stops, then a page a stop to fill in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.action.inspections import inspection_stops
from riskmap.contract.quantities import LENGTH, SMALL_LENGTH, Units, text
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
from riskmap.publish.words.imprint import Imprint, sender_of
from riskmap.stages.listing import as_listed
from riskmap.stages.result import Result

ORDER_NOTE: Final = (
    "The order is by straight lines between the stops. It is no route: roads, rivers and gates are "
    "not known to it."
)
LONGEST_REASON: Final = 120
"""Letters of a reason; the words of a run stay whole, free text from outside may be cut."""
STAGES: Final = (
    ("sound", "no sign of trouble"),
    ("stressed", "effluent ponds high in the field, none at the surface"),
    ("failed", "sewage at the surface or backing up"),
    ("could not tell", "no access, snow, no one there"),
)
"""What the visitor ticks; the first three are the words that inspections are read back in."""


DRAWN: Final = ("buildings", "wells", "streams", "waterbodies")
"""Layers drawn on the small maps, from below."""


def day_sheets(folder: Path, result: Result) -> None:
    """Write the day sheets of a run, if any stops are wanted."""
    lists, tables = result.region.lists, result.county.tables
    if lists.stops:
        write_day_sheets(
            folder,
            as_listed(result.parcels, lists.order),
            sender_of(result.region),
            stops=lists.stops,
            areas=result.areas,
            layers={name: tables[name] for name in DRAWN if name in tables},
        )


def write_day_sheets(
    folder: Path,
    ranked: gpd.GeoDataFrame,
    imprint: Imprint,
    *,
    stops: int = 200,
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
    stops
        Stops at most.
    areas
        Likely treatment areas, index ``parcel_id``.
    layers
        Those of :data:`DRAWN` that there are, by name, same reference system.

    Returns
    -------
    list of Path
        The file written; empty where nothing is ranked.
    """
    plan = inspection_stops(pd.DataFrame(ranked), stops=stops)
    if plan.empty:
        return []
    layers, units = layers or {}, imprint.units
    source = MapSource({"lots": ranked[["geometry"]], **{name: layers.get(name) for name in DRAWN}})
    drawn_areas = None if areas is None else areas.geometry
    pages = _stop_pages(plan, source, drawn_areas, units)
    content = typeset(
        "day_sheets",
        {
            "county": field(imprint.county, 60),
            "date": imprint.date.isoformat(),
            "contact": field(imprint.contact, 80),
            "ponding_unit": SMALL_LENGTH.scale(units).unit,
            "cautions": {"safety": SAFETY, "screening": SCREENING, "local": LOCAL_CODE,
                         "staff": STAFF_ONLY, "order": ORDER_NOTE},
            "stages": [list(stage) for stage in STAGES],
            "buildings_given": len(layers.get("buildings", ())) > 0,
            "days": _days(plan, pages, source, units),
        },
        date=imprint.date,
        paper=paper_of(units),
    )  # fmt: skip
    return [write_pdf(folder / "sheets" / "day_sheets.pdf", content)]


def _days(
    plan: pd.DataFrame, pages: Sequence[dict[str, Any]], source: MapSource, units: Units
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
