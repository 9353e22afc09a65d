"""Read a file geodatabase of the survey, as whole states are distributed, cut to one county.

Only the polygons near the county are read, then the rows of each table that belong to their map
units: a state has millions of rows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

import pandas as pd

from data_pipelines.soil_survey.defects import Defect
from data_pipelines.soil_survey.polygons import LAYER, Polygons, find_store_layer, read_store
from data_pipelines.soil_survey.schema import RULE_WORDS, TABLES, RawSource, short_name
from data_pipelines.soil_survey.tables import table_frame
from data_pipelines.values import as_text
from data_pipelines.vector_files import Box, Table, list_tables, open_table, read_rows
from riskmap.contract.errors import SourceFormatError

SUFFIX: Final = ".gdb"
_KEYS_AT_ONCE: Final = 1_000
MOST_ROWS: Final = 3_000_000


def read_geodatabase(path: Path, box: Box | None) -> tuple[RawSource, Polygons]:
    """Read tables and polygons of a geodatabase.

    Parameters
    ----------
    path
        The folder ``*.gdb``.
    box
        West, south, east and north in degrees; all is read where it is not given.

    Raises
    ------
    riskmap.contract.errors.SourceFormatError
        If it has no map units, or a table has too many rows to be read whole.
    """
    name = find_store_layer(path)
    if name is None:
        raise SourceFormatError(
            LAYER, f"{path.name} has no layer MUPOLYGON.", "Give a soil survey geodatabase."
        )
    units, defects = read_store(path, name, box)
    whole = open_table(path, layer=LAYER, table=name).records
    if len(units) < whole:
        said = f"{len(units):,} of {whole:,} polygons"
        defects.append(Defect(LAYER, "", "cut to the county", short_name(path), said, "kept"))
    present = {one.casefold(): one for one, _ in list_tables(path, layer=LAYER)}
    held: dict[str, pd.DataFrame] = {"mapunit": units[["mukey"]]}
    tables: dict[str, pd.DataFrame] = {}
    for table, spec in TABLES.items():
        if table not in present:
            continue
        parent = "mapunit" if table in ("mapunit", "legend") else spec.parent
        key = "mukey" if table == "mapunit" else spec.parent_key
        keys = None if table == "legend" else _keys(held, parent, key)
        tables[table] = held[table] = _table(path, present[table], table, key, keys)
    if "legend" in tables and "lkey" in tables.get("mapunit", ()):
        areas = tables["mapunit"]["lkey"]
        tables["legend"] = tables["legend"][tables["legend"]["lkey"].isin(areas)]
    return RawSource(short_name(path), tables), (units, defects)


def _keys(held: dict[str, pd.DataFrame], parent: str | None, key: str | None) -> list[str]:
    """Keys of the rows kept of a table's parent; none where the parent has none."""
    if parent not in held or key not in held[parent]:
        return []
    return sorted(held[parent][key].dropna().unique())


def _table(
    path: Path, name: str, table: str, key: str | None, keys: Sequence[str] | None
) -> pd.DataFrame:
    """Rows of one table as text, those of `keys` only; all where they are None."""
    opened = open_table(path, layer=short_name(path), table=name)
    columns = {column.casefold(): column for column in opened.columns}
    wanted = [column for folded, column in columns.items() if folded in _read_of(table)]
    parts = [
        pd.DataFrame(read_rows(opened, columns=wanted, shapes=False, where=where).values)
        for where in _conditions(opened, columns, table, key, keys)
    ]
    rows = pd.concat(parts) if parts else pd.DataFrame(columns=wanted)
    if len(rows) > MOST_ROWS:
        raise SourceFormatError(
            short_name(path),
            f"table {name} has more than {MOST_ROWS:,} rows of this county.",
            "Give the county's survey areas only.",
        )
    text = {column.casefold(): _cells(rows[column]) for column in wanted}
    return table_frame(list(zip(*text.values(), strict=True)), list(text))


def _cells(column: pd.Series) -> list[str]:
    if column.dtype != object:
        return as_text(column).fillna("").tolist()
    return ["" if cell is None else str(cell).strip() for cell in column]


def _read_of(table: str) -> set[str]:
    spec = TABLES[table]
    keys = {spec.key, spec.parent_key or spec.key}
    return keys | {field.source for field in spec.fields} | {"lkey"}


def _conditions(
    opened: Table,
    columns: dict[str, str],
    table: str,
    key: str | None,
    keys: Sequence[str] | None,
) -> Iterator[str | None]:
    """Conditions under which the rows of some keys are read, so many keys at once."""
    rule = f"{columns['mrulename']} ILIKE '%{RULE_WORDS}%'" if "mrulename" in columns else ""
    rule = rule if table == "cointerp" else ""
    if keys is None or key is None:
        yield rule or None
        return
    if key not in columns:
        return
    column = columns[key]
    plain = opened.dtypes[column].startswith(("int", "uint", "float"))
    for start in range(0, len(keys), _KEYS_AT_ONCE):
        part = keys[start : start + _KEYS_AT_ONCE]
        listed = ", ".join(part if plain else ["'" + one.replace("'", "''") + "'" for one in part])
        yield f"{column} IN ({listed})" + (f" AND {rule}" if rule else "")
