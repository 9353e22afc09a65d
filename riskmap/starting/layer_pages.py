"""The part of a layer's handbook page that is written from the declarations.

A page of ``docs/layers`` has this part between two marks: what the layer is, what it adds, where it
can be had, its columns. Below it stands what a reader corrects and the traps, written by hand.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from riskmap.contract.columns import Layer
from riskmap.contract.dictionary import columns_table
from riskmap.contract.layers import LAYERS
from riskmap.contract.soil_layers import SOIL_LAYERS
from riskmap.region.layers import SOIL_SURVEY
from riskmap.starting.open_sources import OPEN_SOURCES

FIRST: Final = "<!-- Written by docs/generate.py from the declarations, to the next mark. -->"
LAST: Final = "<!-- From here on by hand. -->"
FORMS: Final = {
    "polygon": "polygons: any [map layer](sources.md#files)",
    "line": "lines: any [map layer](sources.md#files)",
    "point": "points: any [map layer](sources.md#files), or a table with columns of coordinates",
    "table": "a [table](sources.md#files): delimited text, a sheet of a workbook, a map layer's "
    "table",
    "raster": "a [raster](sources.md#files), also as several tiles",
}
"""Kind of layer -> the files that give it."""


def layers_with_pages() -> tuple[str, ...]:
    """Names of all sources that have a page: each layer, and the soil survey as one."""
    soils = {layer.name for layer in SOIL_LAYERS}
    return (*(name for name in LAYERS if name not in soils), SOIL_SURVEY)


def with_written_part(page: str, name: str) -> str:
    """Return a page with its written part made anew.

    Parameters
    ----------
    page
        The whole page, with both marks.
    name
        The layer, or ``soil_survey``.

    Raises
    ------
    ValueError
        If the marks are not there, once each.
    """
    before, first, rest = page.partition(FIRST)
    _, last, after = rest.partition(LAST)
    if not (first and last):
        raise ValueError(f"docs/layers/{name}.md lacks one of the marks of its written part.")
    return before + "\n".join([FIRST, "", *_written(name), "", LAST]) + after


def _written(name: str) -> list[str]:
    if name == SOIL_SURVEY:
        return [*_where(name)[1:], *_columns(SOIL_LAYERS)]
    layer = LAYERS[name]
    form = f"**Form:** {FORMS[layer.kind]}."
    return [layer.meaning, "", form, *_where(name), *_columns([layer])]


def _where(name: str) -> list[str]:
    source = OPEN_SOURCES.get(name)
    if source is None:
        return []
    lines = ["", f"**What it adds:** {source.adds}", "", "## Where to get it", ""]
    lines.append(f"- **Source:** {source.name}.")
    if source.address:
        lines.append(f"- **Address:** <{source.address}>")
    if source.fetched:
        lines.append(
            f"- **By itself:** `riskmap fetch FOLDER --layers {name} ...` "
            "([what it does](../fetching.md))"
        )
    return [*lines, f"- **How:** {source.clicks}", f"- **License:** {source.license}."]


def _columns(layers: Iterable[Layer]) -> list[str]:
    lines: list[str] = []
    with_pages = layers_with_pages()
    for layer in layers:
        if not layer.columns:
            continue
        if layer.name in with_pages:
            lines += ["", "## Columns", ""]
        else:
            lines += ["", f"## {layer.name}", "", layer.meaning, ""]
        if layer.key:
            lines += [f"Key: `{layer.key}`.", ""]
        lines += columns_table(layer)
    return lines
