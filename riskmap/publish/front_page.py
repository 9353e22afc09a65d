"""The front page of a result: what was found, where everything lies, what to be careful about."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import pandas as pd
from jinja2 import Environment, StrictUndefined

from riskmap.contract.features import as_words
from riskmap.contract.sources import DEFECT_COLUMNS
from riskmap.contract.vocabulary import CLASSES, SERVICE
from riskmap.publish import palette
from riskmap.publish.words.cautions import CAUTIONS
from riskmap.publish.words.report_text import words_of
from riskmap.publish.words.text_safety import csv_text, is_missing, plain_text
from riskmap.publish.words.unranked import nothing_ranked

TOP_ROWS: Final = 20

SERVICE_WORDS: Final = {
    "onsite": "On an onsite system",
    "sewer": "On public sewer",
    "none": "Nothing built, no sewage",
    "unknown": "Not known",
}


@dataclass(frozen=True)
class FileLink:
    """A file of the result and what it is for."""

    path: str
    title: str
    meaning: str


FILES: Final = (
    FileLink("map/index.html", "Map", "Opens in any browser, without a network. For staff."),
    FileLink("lists/inspections.xlsx", "Inspection list, workbook", "To be worked in and printed."),
    FileLink("lists/inspections.csv", "Inspection list, CSV", "All ranked parcels, for programs."),
    FileLink("lists/service_unknown.csv", "Service unknown, CSV", "Scored, ranked apart."),
    FileLink("parcels.gpkg", "Parcels, GeoPackage", "Every column; shapes on the lots."),
    FileLink("parcels.parquet", "Parcels, GeoParquet 1.1", "The same, for large tables."),
    FileLink("data_quality.csv", "Data quality, CSV", "Each defect and what was done about it."),
    FileLink("run.json", "Run record", "Inputs, versions and settings, to repeat the run."),
)
"""Files the page links to, where they are there."""


def write_front_page(
    folder: Path,
    ranked: pd.DataFrame,
    *,
    county: str,
    date: datetime.date,
    defects: pd.DataFrame | None = None,
    cautions: Sequence[str] = CAUTIONS,
    extra_files: Sequence[FileLink] = (),
    kept: Sequence[str] = (),
) -> Path:
    """Write ``index.html`` into `folder` and link what already lies there; returns its path.

    Parameters
    ----------
    kept
        What people had changed in the result before this one, where it is kept now.
    """
    links = [link for link in (*FILES, *extra_files) if (folder / link.path).exists()]
    text = compose_front_page(
        ranked,
        county=county,
        date=date,
        defects=defects,
        links=links,
        cautions=cautions,
        kept=kept,
    )
    path = folder / "index.html"
    path.write_bytes(text.encode("utf-8"))
    return path


def compose_front_page(
    ranked: pd.DataFrame,
    *,
    county: str,
    date: datetime.date,
    defects: pd.DataFrame | None,
    links: Sequence[FileLink],
    cautions: Sequence[str] = CAUTIONS,
    kept: Sequence[str] = (),
) -> str:
    """Return the page's text; everything from outside is escaped by the template engine."""
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    environment.filters["thousands"] = lambda value: f"{value:,}"
    source = (files("riskmap.publish") / "templates" / "front_page.html").read_text("utf-8")
    return environment.from_string(source).render(
        county=plain_text(county),
        date=date.isoformat(),
        service=service_counts(ranked),
        classes=class_counts(ranked),
        ranked_count=int(ranked["rank"].notna().sum()),
        parcel_count=len(ranked),
        missing=nothing_ranked(ranked) if "service_reason" in ranked else [],
        top=top_rows(ranked),
        links=links,
        has_map=any(link.path == "map/index.html" for link in links),
        defects=defect_counts(defects),
        cautions=list(cautions),
        kept=[plain_text(path) for path in kept[:TOP_ROWS]],
        kept_more=max(0, len(kept) - TOP_ROWS),
        colors=palette.PAGE_COLORS,
    )


def service_counts(ranked: pd.DataFrame) -> list[tuple[str, int]]:
    """How many parcels are on an onsite system, on sewer, without sewage, or unknown."""
    service = ranked["service"].fillna("unknown")
    return [(SERVICE_WORDS[word], int((service == word).sum())) for word in SERVICE]


def class_counts(ranked: pd.DataFrame) -> list[dict[str, Any]]:
    """Ranked parcels by class of priority, with the width of a bar."""
    has_rank = ranked["rank"].notna()
    counts = ranked.loc[has_rank, "priority_class"].value_counts()
    most = max(1, int(counts.max())) if len(counts) else 1
    return [
        {
            "name": word,
            "count": int(counts.get(word, 0)),
            "color": palette.CLASS_COLORS[word],
            "width": round(100 * int(counts.get(word, 0)) / most, 1),
        }
        for word in CLASSES
    ]


def top_rows(ranked: pd.DataFrame, *, most: int = TOP_ROWS) -> list[dict[str, str]]:
    """Words for the head of the list."""
    rows = ranked[ranked["rank"].notna()].sort_values("rank", kind="stable").head(most)
    unknown = as_words(rows["unknown"]) if "unknown" in rows else pd.Series("", index=rows.index)
    return [
        {
            "rank": f"{int(row['rank']):,}",
            "parcel": plain_text(parcel),
            "address": plain_text(row.get("address", "")),
            "priority": f"{row['priority']:.1f}",
            "class": plain_text(row["priority_class"]),
            "reasons": "; ".join(
                plain_text(row[name])
                for name in ("reason_1", "reason_2", "reason_3")
                if name in rows and not is_missing(row[name]) and row[name]
            ),
            "unknown": plain_text(unknown.iloc[place]),
        }
        for place, (parcel, row) in enumerate(rows.iterrows())
    ]


def defect_counts(defects: pd.DataFrame | None) -> list[dict[str, Any]]:
    """Defects by layer and check, most frequent first."""
    if defects is None or defects.empty:
        return []
    table = defects[["layer", "check", "action"]].fillna("")
    counts = table.value_counts(sort=False).reset_index(name="count")
    order = ["count", "layer", "check", "action"]
    counts = counts.sort_values(order, ascending=[False, True, True, True])
    return [
        {key: words_of(row[key]) for key in ("layer", "check", "action")}
        | {"count": int(row["count"])}
        for _, row in counts.head(40).iterrows()
    ]


def write_data_quality(folder: Path, defects: pd.DataFrame) -> Path:
    """Write ``data_quality.csv``: what is wrong, where, and what was done about it."""
    columns = [name for name in DEFECT_COLUMNS if name in defects]
    extra = [name for name in defects.columns if name not in columns]
    path = folder / "data_quality.csv"
    path.write_bytes(csv_text(defects[columns + extra]).encode("utf-8"))
    return path
