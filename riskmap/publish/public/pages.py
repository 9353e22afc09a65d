"""The words and tables of the public edition: what it means, what to do, all areas as a table."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files
from typing import Any, Final

import pandas as pd
from jinja2 import DictLoader, Environment, StrictUndefined

from riskmap.action.aggregate import TOTAL
from riskmap.contract.quantities import Units
from riskmap.contract.units import MILE_M
from riskmap.publish import palette
from riskmap.publish.public.table import OLD_SHARE, SHARE, UNKNOWN, WHOLE, PublicTable, with_shares
from riskmap.publish.words import cautions
from riskmap.publish.words.class_words import IN_LINE
from riskmap.publish.words.text_safety import csv_text, is_missing

HELD: Final = "withheld"

LABELS: Final = {
    TOTAL: "Onsite systems",
    "raised": IN_LINE.capitalize(),
    "not_raised": "Later in line",
    "no_score": "Not scored",
    SHARE: f"Share {IN_LINE}",
    "age_under_20": "Under 20 years old",
    "age_20_to_39": "20 to 39 years old",
    "age_40_or_more": "40 years or older",
    "age_unknown": "Age not known",
    OLD_SHARE: "Share of 40 years or older",
    UNKNOWN: "Lots where it is not known whether there is a system",
}
"""Columns of the public tables in their order, and what they are called."""

PERCENT: Final = frozenset({SHARE, OLD_SHARE})
INSET: Final = frozenset(LABELS) - {TOTAL, UNKNOWN}

CAUTIONS: Final = {
    "screening": cautions.SCREENING,
    "local_code": cautions.LOCAL_CODE,
    "safety": cautions.SAFETY,
    "water": cautions.WATER,
    "unknown": cautions.UNKNOWN,
}


def page_file(name: str) -> str:
    """Text of a template, style or script of the public edition."""
    return (files("riskmap.publish.public") / "page" / name).read_text(encoding="utf-8")


def render(name: str, words: Mapping[str, Any]) -> str:
    """Fill a template; everything from outside is escaped by the engine."""
    names = ("frame.html", "index.html", "summary.html", "table.html", "panel.html")
    loader = DictLoader({each: page_file(each) for each in names})
    engine = Environment(loader=loader, autoescape=True, undefined=StrictUndefined)
    usual = {"colors": palette.css_colors(), "cautions": CAUTIONS, "language": "en"}
    return engine.get_template(name).render(usual | dict(words))


def full_table(table: PublicTable) -> pd.DataFrame:
    """County first, then every area, with percentages; missing where withheld."""
    whole = table.sums.to_frame(WHOLE).T.astype("Int64")
    every = with_shares(pd.concat([whole, table.counts]))
    return every[[name for name in LABELS if name in every]]


def sum_rows(table: PublicTable) -> list[dict[str, Any]]:
    """Rows of the county's own numbers, for people."""
    line = full_table(table).iloc[0]
    return [
        {"label": LABELS[name], "text": _text(name, line[name]), "inset": name in INSET}
        for name in line.index
    ]


def table_rows(table: PublicTable) -> list[list[str]]:
    """All rows as texts: name, then each column."""
    every = full_table(table)
    blank = _no_share(every)
    return [
        [str(name), *("–" if blank[str(name), column] else _text(column, line[column])
                      for column in every.columns)]
        for name, line in every.iterrows()
    ]  # fmt: skip


def public_csv(table: PublicTable) -> str:
    """Write the table by RFC 4180; withheld counts say so, a share of nothing is empty."""
    every = full_table(table)
    blank = _no_share(every)
    columns: dict[str, list[Any]] = {"area": list(every.index)}
    centers = table.shapes.map(lambda shape: None if shape is None else shape.envelope.centroid)
    for axis, name in (("x", "longitude"), ("y", "latitude")):
        places = [None if c is None else round(getattr(c, axis), 5) for c in centers]
        columns[name] = [None, *places]
    for column in every.columns:
        columns[column] = [
            None if blank[str(name), column] else HELD if is_missing(value) else int(value)
            for name, value in every[column].items()
        ]
    made = {name: pd.Series(values, dtype=object) for name, values in columns.items()}
    return csv_text(pd.DataFrame(made))


def grid_words(table: PublicTable, *, units: Units) -> str:
    """Say what the areas are."""
    if table.width_m is None:
        return "Systems were then counted in given areas."
    size = table.width_m / MILE_M if units == "us" else table.width_m / 1000
    unit = "miles" if units == "us" else "kilometers"
    return (
        f"Systems were then counted in hexagons {size:.2g} {unit} wide, on a fixed grid that "
        "follows no property line."
    )


def withheld_words(table: PublicTable) -> str:
    """Say how much had to be withheld, in areas (whose number gives nothing away)."""
    counts = table.counts
    return (
        f"Of {len(counts):,} areas, the number of systems is withheld in "
        f"{int(counts[TOTAL].isna().sum()):,} and its split by class in "
        f"{int(counts['raised'].isna().sum()):,}."
    )


def _text(column: str, value: Any) -> str:
    if is_missing(value):
        return HELD
    return shown_number(column, value)


def shown_number(column: str, value: Any) -> str:
    """Return a number of the public table as people read it."""
    return f"{int(value)}%" if column in PERCENT else f"{int(value):,}"


def _no_share(every: pd.DataFrame) -> dict[tuple[str, str], bool]:
    """Where a percentage is missing because there is nothing to divide by."""
    parts = {SHARE: ["raised", "not_raised"], OLD_SHARE: ["age_under_20", "age_20_to_39",
                                                         "age_40_or_more"]}  # fmt: skip
    found = {}
    for column in every.columns:
        empty = (
            every[parts[column]].eq(0).fillna(False).all(axis=1)
            if column in parts
            else pd.Series(False, index=every.index)
        )
        found.update({(str(name), str(column)): bool(flag) for name, flag in empty.items()})
    return found
