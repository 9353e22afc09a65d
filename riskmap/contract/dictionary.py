"""The data dictionary of the handbook, written from the declarations."""

from __future__ import annotations

from collections.abc import Iterable

from riskmap.contract.columns import Column, Layer
from riskmap.contract.features import COLUMNS
from riskmap.contract.layers import LAYERS
from riskmap.contract.quantities import in_units
from riskmap.contract.results import (
    ASSESSED_WELLS,
    CAPTURE_ZONES,
    MAILING,
    REPLACEMENT_PLACES,
    SAMPLING,
    TREATMENT_AREAS,
    ZONES,
)
from riskmap.contract.soil_layers import SOIL_LAYERS


def data_dictionary() -> str:
    """Write the data dictionary page (Markdown) from the declarations.

    >>> print(data_dictionary().splitlines()[0])
    # Data dictionary
    """
    lines = [
        "# Data dictionary",
        "",
        "Generated from `riskmap/contract`; change it there. First the layers that readers give,",
        "each with a page of its own, then the tables of a result. All shapes are in the region's",
        "reference system. Private columns are dropped on reading unless the region file keeps",
        "them.",
        "",
        "## Layers",
        "",
        *_table(("layer", "kind", "what it is"), map(_named, LAYERS.values())),
    ]
    lines += [
        "",
        "## Result",
        "",
        "A column with evidence has a companion `<name>_evidence`. Each factor of the scoring",
        "model adds its points, `<factor>_points`.",
        "",
        "### parcels (result)",
        "",
        *_result_table(COLUMNS.values()),
    ]
    for layer in (TREATMENT_AREAS, REPLACEMENT_PLACES, ZONES, CAPTURE_ZONES, ASSESSED_WELLS,
                  SAMPLING, MAILING):  # fmt: skip
        lines += ["", f"### {_result_name(layer)}", "", layer.meaning, ""]
        lines += _result_table(layer.columns)
    return "\n".join(lines) + "\n"


def _named(layer: Layer) -> tuple[str, ...]:
    page = "soil_survey" if layer in SOIL_LAYERS else layer.name
    return (f"[{layer.name}]({page}.md)", layer.kind, layer.meaning)


def columns_table(layer: Layer) -> list[str]:
    """Write the columns of a layer as lines of a table (Markdown)."""
    heads = ("column", "type", "unit", "range or words", "may be missing", "meaning")
    return _table(heads, map(_layer_row, layer.columns))


def _result_name(layer: Layer) -> str:
    return f"{layer.name} (result)" if layer.name in LAYERS else layer.name


def _result_table(columns: Iterable[Column]) -> list[str]:
    heads = ("column", "type", "unit", "words", "evidence", "meaning")
    return _table(heads, map(_result_row, columns))


def _table(heads: Iterable[str], rows: Iterable[Iterable[str]]) -> list[str]:
    names = list(heads)
    lines = [f"| {' | '.join(names)} |", "|---" * len(names) + "|"]
    return [*lines, *(f"| {' | '.join(row)} |" for row in rows)]


def _layer_row(column: Column) -> tuple[str, ...]:
    words = ", ".join(column.domain)
    if column.low is not None:
        words = f"{column.low:g} to {column.high:g}"
    missing = "yes" if column.nullable else "no"
    meaning = _meaning(column) + (" (private)" if column.private else "")
    return (column.name, column.dtype, column.unit, words, missing, meaning)


def _result_row(column: Column) -> tuple[str, ...]:
    evidence = "yes" if column.evidence else ""
    words = ", ".join(column.domain)
    return (column.name, column.dtype, column.unit, words, evidence, _meaning(column))


def _meaning(column: Column) -> str:
    return in_units(column.meaning, "si")
