"""The ``[layers.NAME]`` tables of the region file: where each layer comes from."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from riskmap.contract.layers import LAYERS
from riskmap.contract.settings import settings_of
from riskmap.contract.sources import ColumnSource, Source
from riskmap.contract.suggest import nearest, unknown_keys
from riskmap.contract.units import FACTORS
from riskmap.region.values import shown, values_of

SOIL_SURVEY: Final = "soil_survey"
"""Layer name under which the region file gives a soil survey (it yields six layers)."""
NEEDED: Final = ("parcels", SOIL_SURVEY)

FILE_KEYS: Final = {
    "file": "The file, or the folder of a soil survey; relative to the region file",
    "files": "Several files of the same layer",
    "attributes": "Second table with more columns, many rows per shape allowed",
    "columns": "Canonical column = source column, or a table (below)",
}
"""Keys of a layer's table that name files or hold tables; the others are settings of
:class:`riskmap.contract.sources.Source`."""


def read_sources(
    tables: Any, folder: Path, faults: list[str], *, day: datetime.date | None = None
) -> dict[str, Source]:
    """Read all layers' tables; what is wrong is added to `faults`.

    Parameters
    ----------
    tables
        What the file has below ``layers``, of any type.
    folder
        Folder of the region file, to which file names are relative.
    faults
        Grows by a sentence for each fault.
    day
        The day of the run, which every source is given.

    Returns
    -------
    Sources by layer, without those that have a fault.
    """
    if not isinstance(tables, dict):
        faults.append("[layers] must hold a table for each layer, such as [layers.parcels].")
        return {}
    known = {*LAYERS, SOIL_SURVEY}
    faults += unknown_keys(tables, known, "[layers]")
    for needed in NEEDED:
        if needed not in tables:
            faults.append(
                f"[layers.{needed}] is missing. A run needs at least parcels and a soil survey."
            )
    found = {
        name: _source(name, table, folder, faults, day)
        for name, table in tables.items()
        if name in known
    }
    return {name: source for name, source in found.items() if source is not None}


def _source(
    name: str, table: Any, folder: Path, faults: list[str], day: datetime.date | None
) -> Source | None:
    place, before = f"[layers.{name}]", len(faults)
    if not isinstance(table, dict):
        faults.append(f"{place} must be a table of key = value lines.")
        return None
    faults += unknown_keys(table, {*FILE_KEYS, *settings_of(Source)}, place)
    files = _files(table, place, faults)
    values = values_of(Source, table, place, faults)
    attributes = table.get("attributes")
    if attributes is not None and not _is_name(attributes):
        faults.append(f"{place} attributes = {shown(attributes)}: expected the name of a file.")
    if (attributes is not None) != (values.get("join_on") is not None):
        faults.append(f"{place}: attributes and join_on go together.")
    columns = _columns(name, table.get("columns", {}), place, faults)
    _check_private(name, values.get("keep_private", ()), place, faults)
    if len(faults) > before:
        return None
    return Source(
        layer=name,
        files=tuple(folder / file for file in files),
        columns=columns,
        attributes=folder / attributes if attributes else None,
        day=day,
        **values,
    )


def _is_name(given: object) -> bool:
    return isinstance(given, str) and bool(given.strip()) and given.isprintable()


def _files(table: Mapping[str, Any], place: str, faults: list[str]) -> list[str]:
    if ("file" in table) == ("files" in table):
        faults.append(f"{place}: give either file or files.")
        return []
    files = [table["file"]] if "file" in table else table["files"]
    if not isinstance(files, list) or not files or not all(_is_name(file) for file in files):
        key, expected = ("file", "a name") if "file" in table else ("files", "a list of names")
        faults.append(f"{place} {key} = {shown(table[key])}: expected {expected}.")
        return []
    return files


def _check_private(name: str, wanted: tuple[str, ...], place: str, faults: list[str]) -> None:
    layer = LAYERS.get(name)
    private = {c.name for c in layer.columns if c.private} if layer else set()
    faults += [
        f"{place} keep_private: {column!r} is not a private column of this layer."
        + nearest(column, private)
        for column in wanted
        if column not in private
    ]


def _columns(name: str, table: Any, place: str, faults: list[str]) -> dict[str, ColumnSource]:
    place = f"{place[:-1]}.columns]"
    if not isinstance(table, dict):
        faults.append(f"{place} must be a table of canonical column = source column lines.")
        return {}
    layer = LAYERS.get(name)
    known = layer.column_names if layer else []
    faults += unknown_keys(table, known, place)
    found = {
        column: _column(name, column, entry, f"{place} {column}", faults)
        for column, entry in table.items()
        if column in known
    }
    return {column: source for column, source in found.items() if source is not None}


def _column(
    layer: str, column: str, entry: Any, place: str, faults: list[str]
) -> ColumnSource | None:
    before = len(faults)
    table = {"column": entry} if isinstance(entry, str) else entry
    if isinstance(entry, list) and len(entry) > 1:
        table = {"column": entry[0], "and_columns": entry[1:]}
    if not isinstance(table, dict):
        faults.append(f"{place} = {shown(entry)}: expected a column name or a table.")
        return None
    faults += unknown_keys(table, settings_of(ColumnSource), place)
    if ("column" in table) == ("constant" in table):
        faults.append(f"{place}: give either column or constant.")
    values = values_of(ColumnSource, table, place, faults)
    if values.get("and_columns") and (LAYERS[layer].column(column).dtype != "text"):
        faults.append(f"{place}: only text can stand in several columns.")
    units = FACTORS.get(LAYERS[layer].column(column).unit, {})
    unit = values.get("unit")
    if unit is not None and unit not in units:
        faults.append(
            f"{place} unit = {unit!r}: use one of {', '.join(units) or '(none for this column)'}."
            + nearest(unit, units)
        )
    return None if len(faults) > before else ColumnSource(**values)
