"""The public edition: a folder of its own that holds nothing about any one lot.

It may be put on a static host as it is. Everything in it is made from one table whose small counts
have been taken out (:mod:`riskmap.publish.public.table`); nothing else of the parcels is read.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import geopandas as gpd
from xstatic.pkg import leaflet

from riskmap.action.aggregate import TOTAL
from riskmap.action.suppression import THRESHOLD
from riskmap.publish.map.plan import BaseMap
from riskmap.publish.public.map import compose_map
from riskmap.publish.public.pages import (
    LABELS,
    full_table,
    grid_words,
    page_file,
    public_csv,
    render,
    sum_rows,
    table_rows,
    withheld_words,
)
from riskmap.publish.public.summary import summary_pages
from riskmap.publish.public.table import make_public_table
from riskmap.publish.words.imprint import Imprint, contact_words, sender_of
from riskmap.publish.words.text_safety import plain_text
from riskmap.stages.result import Result


@dataclass(frozen=True)
class PublicReport:
    """What was written: areas, how many show their count and its split, width of hexagons (m)."""

    areas: int
    with_count: int
    with_split: int
    width_m: float | None


GUIDES: Final = ("roads", "places", "streams", "waterbodies")
"""Open layers for finding one's way on the public map."""


def public_edition(folder: Path, result: Result) -> None:
    """Write the public edition of a run, unless the region file wants none."""
    settings, tables = result.region.public, result.county.tables
    if settings.threshold:
        write_public_edition(
            folder,
            result.parcels,
            sender_of(result.region),
            threshold=settings.threshold,
            cell_m=settings.cell_m or None,
            areas=tables.get("public_areas"),
            layers={name: tables[name] for name in GUIDES if name in tables},
        )


def write_public_edition(
    folder: Path,
    parcels: gpd.GeoDataFrame,
    imprint: Imprint,
    *,
    threshold: int = THRESHOLD,
    cell_m: float | None = None,
    areas: gpd.GeoDataFrame | None = None,
    layers: Mapping[str, gpd.GeoDataFrame] | None = None,
    base_map: BaseMap | None = None,
) -> PublicReport:
    """Write ``public/`` into `folder`: pages, map and table, by area, for anybody.

    Parameters
    ----------
    parcels
        One row per parcel: lot polygons, ``service``, ``age_yr``, ``priority_class``. The hexagons
        hang on the origin of its projected coordinate system.
    imprint
        County, day, units, and whom to call.
    threshold
        Largest count that is withheld.
    cell_m
        Width of the hexagons, m; chosen when None. Keep it the same from year to year.
    areas
        Polygons (column ``name``) to count by in place of hexagons.
    layers
        Open layers for finding one's way: :data:`GUIDES`.
    """
    table = make_public_table(
        parcels, crs=parcels.crs, threshold=threshold, cell_m=cell_m, areas=areas
    )
    place = folder / "public"
    (place / "page").mkdir(parents=True, exist_ok=True)
    words = {
        "county": plain_text(imprint.county),
        "date": imprint.date.isoformat(),
        "threshold": threshold,
    }
    index = {
        "contact": contact_words(imprint),
        "sums": sum_rows(table),
        "grid_words": grid_words(table, units=imprint.units),
        "withheld_words": withheld_words(table),
    }
    rows = {
        "labels": ["Area", *(LABELS[name] for name in full_table(table).columns)],
        "rows": table_rows(table),
    }
    chart = compose_map(
        table, county=imprint.county, units=imprint.units, layers=layers or {}, base_map=base_map
    )
    _write(place / "index.html", render("index.html", {**words, **index}))
    for name, text in summary_pages(table, imprint).items():
        _write(place / name, text)
    _write(place / "table.html", render("table.html", {**words, **rows}))
    _write(place / "map.html", chart)
    _write(place / "areas.csv", public_csv(table))
    for name in ("public.css", "public.js"):
        _write(place / "page" / name, page_file(name))
    for name in ("leaflet.js", "leaflet.css"):
        shutil.copyfile(Path(leaflet.BASE_DIR) / name, place / "page" / name)
    return PublicReport(
        areas=len(table.counts),
        with_count=int(table.counts[TOTAL].notna().sum()),
        with_split=int(table.counts["raised"].notna().sum()),
        width_m=table.width_m,
    )


def _write(path: Path, text: str) -> None:
    path.write_bytes(text.encode("utf-8"))
