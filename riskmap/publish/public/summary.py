"""The public summary: two pages for a board or a newspaper, made only from the public table.

It holds no number that the tables of the edition do not show, so what cannot be worked out from
these cannot be worked out from all of them together.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from markupsafe import Markup, escape

from riskmap.action.aggregate import TOTAL
from riskmap.contract.vocabulary import NOT_RANKED
from riskmap.publish import palette
from riskmap.publish.public.pages import full_table, page_file, render, shown_number
from riskmap.publish.public.table import OLD_SHARE, SHARE, UNKNOWN, WHOLE, PublicTable
from riskmap.publish.words.class_words import SHARE_COLORS, SHARE_ENDS, band_starts
from riskmap.publish.words.imprint import Imprint, contact_words
from riskmap.publish.words.text_safety import is_missing, plain_text

FILES: Final = {"en": "summary.html", "es": "resumen.html"}
"""Language -> file; a further language is one more file of words and one more entry."""
FIGURES: Final = (TOTAL, "raised", OLD_SHARE, UNKNOWN)
MOST_PLACES: Final = 6
WIDTH: Final = 460
"""Width of the picture, pixels."""
HATCH: Final = "url(#withheld)"


def summary_pages(table: PublicTable, imprint: Imprint) -> dict[str, str]:
    """Return the summary in every language, by file name."""
    return {name: _page(table, imprint, language) for language, name in FILES.items()}


def _page(table: PublicTable, imprint: Imprint, language: str) -> str:
    every = full_table(table)
    whole = every.iloc[0]
    words = _filled(language, whole, table, imprint)
    places = _places(every)
    other = next(one for one in FILES if one != language)
    return render(
        "summary.html",
        {
            "language": language,
            "title": words["title"],
            "words": words,
            "other_language": other,
            "other_file": FILES[other],
            "figures": [
                {"words": words["figures"][name], "text": _said(name, whole[name], words)}
                for name in FIGURES
                if name in whole.index
            ],
            "picture": Markup(_picture(every, places, table.shapes, words["map"]["title"])),
            "key": _key(words["map"]),
            "places": places,
            "contact": contact_words(imprint),
        },
    )


def _filled(
    language: str, whole: pd.Series, table: PublicTable, imprint: Imprint
) -> dict[str, Any]:
    """Words of a language with the county's name and numbers in them."""
    words = tomllib.loads(page_file(f"summary_{language}.toml"))
    hidden = is_missing(whole[TOTAL]) or is_missing(whole["raised"])
    known = {
        "county": plain_text(imprint.county),
        "date": imprint.date.isoformat(),
        "threshold": str(table.threshold),
        "systems": _said(TOTAL, whole[TOTAL], words),
        "raised": _said("raised", whole["raised"], words),
    }
    for name in ("title", "date", "lead", "lead_withheld"):
        words[name] = _put(words[name], known)
    words["lead"] = words["lead_withheld"] if hidden else words["lead"]
    for part in words["part"]:
        part["text"] = [_put(line, known) for line in part["text"]]
    return words


def _put(text: str, known: Mapping[str, str]) -> str:
    for name, value in known.items():
        text = text.replace(f"{{{name}}}", value)
    return text


def _said(column: str, value: Any, words: Mapping[str, Any]) -> str:
    return str(words["withheld"]) if is_missing(value) else shown_number(column, value)


def _places(every: pd.DataFrame) -> list[dict[str, str]]:
    """Areas with the most systems in line, of those whose numbers are shown."""
    areas = every.drop(index=WHOLE)
    shown = areas[areas["raised"].notna() & areas["raised"].gt(0) & areas[TOTAL].notna()]
    first = shown.sort_values(["raised", TOTAL], ascending=False, kind="stable").head(MOST_PLACES)
    return [
        {
            "name": str(name),
            "systems": shown_number(TOTAL, line[TOTAL]),
            "raised": shown_number("raised", line["raised"]),
        }
        for name, line in first.iterrows()
    ]


def _key(words: Mapping[str, str]) -> list[dict[str, str]]:
    starts = band_starts(SHARE_ENDS)
    rows = [
        {"fill": color, "words": words["between"].format(start=start, end=end)}
        for start, end, color in zip(starts, SHARE_ENDS, SHARE_COLORS, strict=True)
    ]
    rows[-1]["words"] = words["most"].format(start=starts[-1])
    rows.append({"fill": HATCH, "words": words["withheld"]})
    return [*rows, {"fill": palette.CLASS_COLORS[NOT_RANKED], "words": words["none"]}]


def _picture(
    every: pd.DataFrame, places: list[dict[str, str]], shapes: gpd.GeoSeries, title: str
) -> str:
    """Draw the areas as SVG, north up, by their share; the listed ones have their names."""
    areas = [
        (line, shape) for (_, line), shape in zip(every.iloc[1:].iterrows(), shapes, strict=True)
    ]
    areas = [(line, shape) for line, shape in areas if shape is not None]
    if not areas:
        return ""
    west, south, east, north = shapes.total_bounds
    narrow = np.cos(np.radians((south + north) / 2))
    scale = WIDTH / max((east - west) * narrow, 1e-9)
    height = round((north - south) * scale) + 2
    paths, labels, named = [], [], {place["name"] for place in places}
    for line, shape in areas:
        moved = shapely.transform(
            shape,
            lambda at: np.column_stack(
                [(at[:, 0] - west) * narrow * scale + 1, (north - at[:, 1]) * scale + 1]
            ),
        )
        if line.name in named:
            spot = shapely.point_on_surface(moved)
            name = escape(str(line.name).removeprefix("Area "))
            labels.append(f'<text x="{spot.x:.0f}" y="{spot.y:.0f}">{name}</text>')
        paths.append(f'<path d="{_outline(moved)}" fill="{_fill(line)}"/>')
    return (
        f'<svg role="img" aria-label="{escape(title)}" viewBox="0 0 {WIDTH + 2} {height}">'
        '<defs><pattern id="withheld" width="6" height="6" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><rect width="6" height="6" fill="{palette.PANEL}"/>'
        f'<line x1="0" y1="0" x2="0" y2="6" stroke="{palette.OUTLINE}" stroke-width="1.6"/>'
        f'</pattern></defs><g stroke="{palette.OUTLINE}" stroke-width="0.7">{"".join(paths)}</g>'
        f"{''.join(labels)}</svg>"
    )


def _outline(shape: Any) -> str:
    rings = [ring for part in shapely.get_parts(shape) for ring in shapely.get_rings(part)]
    return "".join(
        "M" + "L".join(f"{x:.1f},{y:.1f}" for x, y in shapely.get_coordinates(ring)[:-1]) + "Z"
        for ring in rings
    )


def _fill(line: pd.Series) -> str:
    if is_missing(line[TOTAL]) or (is_missing(line[SHARE]) and line[TOTAL] > 0):
        return HATCH
    if is_missing(line[SHARE]):
        return palette.CLASS_COLORS[NOT_RANKED]
    share = int(line[SHARE])
    return next(c for end, c in zip(SHARE_ENDS, SHARE_COLORS, strict=True) if share <= end)
