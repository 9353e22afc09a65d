"""The survey's tables from SQLite, from CSV and from replies of the soil data web service.

The web service answers a query by POST with JSON: ``{"Table": [[names], [metadata], [row], ...]}``;
names and metadata only if asked for. An empty result is ``{}``. A fault comes as an XML
ServiceException, and in the maintenance window as plain text.
"""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import closing
from pathlib import Path
from typing import Final

import pandas as pd

from data_pipelines.soil_survey.defects import Defect
from data_pipelines.soil_survey.schema import (
    CANONICAL_LAYER,
    RULE_WORDS,
    TABLES,
    RawSource,
    keep_wanted_rules,
    short_name,
)
from data_pipelines.soil_survey.tables import decode, table_frame
from riskmap.contract.errors import SourceFormatError

SQLITE_SUFFIXES: Final = (".sqlite", ".sqlite3", ".gpkg", ".db")
_METADATA_MARK: Final = "columnordinal="
_EXCEPTION: Final = re.compile(r"<ServiceException[^>]*>(.*?)</ServiceException>", re.S | re.I)
_NAMES_CURE: Final = "Ask the service for the format JSON+COLUMNNAME."


def read_sqlite(path: Path) -> RawSource:
    """Read the survey's tables from a SQLite file or a GeoPackage.

    A template that was never filled gives an empty source with a defect.

    Raises
    ------
    riskmap.contract.errors.SourceFormatError
        If the file is not SQLite.
    """
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as database:
            listed = database.execute(
                "select name from sqlite_master where type in ('table','view')"
            )
            present = {name.casefold(): name for (name,) in listed}
            tables = {
                table: _query_table(database, table, present[table])
                for table in TABLES
                if table in present
            }
    except sqlite3.DatabaseError as error:
        raise SourceFormatError(
            str(path), f"cannot be read as SQLite ({error}).", "Check the file or leave it out."
        ) from error
    source = RawSource(short_name(path), tables)
    if not source.is_empty:
        return source
    empty = Defect("soil_mapunits", "", "store empty", path.name, "", "store skipped")
    return RawSource(short_name(path), {}, (empty,))


def _query_table(database: sqlite3.Connection, table: str, name: str) -> pd.DataFrame:
    quoted = '"' + name.replace('"', '""') + '"'
    where, values = "", []
    columns = [row[1] for row in database.execute(f"pragma table_info({quoted})")]
    if table == "cointerp" and "mrulename" in [column.casefold() for column in columns]:
        where, values = " where lower(mrulename) like ?", [f"%{RULE_WORDS}%"]
    cursor = database.execute(f"select * from {quoted}{where}", values)
    names = [entry[0] for entry in cursor.description]
    return _text_frame(cursor.fetchall(), names)


def read_csv(path: Path) -> RawSource:
    """Read one CSV file with a header; its table is told by its name, else by its columns."""
    rows = list(csv.reader(io.StringIO(decode(path.read_bytes())[0], newline="")))
    rows = [row for row in rows if row]
    if not rows:
        return RawSource(short_name(path), {}, (_empty_file(path),))
    width = len(rows[0])
    good = [row for row in rows[1:] if len(row) == width]
    bad = tuple(
        Defect(_layer_of(path), "", "number of fields", row[0], str(len(row)), "row left out")
        for row in rows[1:]
        if len(row) != width
    )
    return RawSource(short_name(path), _assign(path, _text_frame(good, rows[0])), bad)


def read_reply(path: Path) -> RawSource:
    """Read one reply of the web service kept as a file; several tables may be joined in it."""
    frame = parse_reply(decode(path.read_bytes())[0], name=str(path))
    if frame.empty and not len(frame.columns):
        return RawSource(short_name(path), {}, (_empty_file(path),))
    return RawSource(short_name(path), _assign(path, frame))


def parse_reply(
    text: str, *, columns: Sequence[str] | None = None, name: str = "soil data reply"
) -> pd.DataFrame:
    """Turn the body of a reply into a table of text, missing where blank.

    Parameters
    ----------
    text
        Body of the reply, in format json, json+columnname or json+columnname+metadata.
    columns
        Column names, needed only for the format json, which carries none.
    name
        What to call the reply in an error message.

    Raises
    ------
    riskmap.contract.errors.SourceFormatError
        If the service answered with an error, or column names are missing.

    Examples
    --------
    >>> parse_reply('{"Table": [["mukey", "musym"], ["565248", "BoA"]]}').to_dict("list")
    {'mukey': ['565248'], 'musym': ['BoA']}
    >>> parse_reply("{}").empty
    True
    """
    rows = _reply_rows(text, name)
    if not rows:
        return table_frame([], list(columns or []))
    if _are_names(rows[0]):
        names, rows = [str(cell) for cell in rows[0]], rows[1:]
    elif columns is not None:
        names = list(columns)
    else:
        raise SourceFormatError(name, "the reply carries no column names.", _NAMES_CURE)
    if rows and rows[0] and all(_METADATA_MARK in str(cell).casefold() for cell in rows[0]):
        rows = rows[1:]
    if any(len(row) != len(names) for row in rows):
        raise SourceFormatError(name, "rows and column names differ in number.", _NAMES_CURE)
    return _text_frame(rows, names)


def _reply_rows(text: str, name: str) -> list[list[object]]:
    try:
        body = json.loads(text)
    except json.JSONDecodeError:
        raise SourceFormatError(
            name,
            f"the soil data service answered with an error: {_error_words(text)}",
            "Correct the query, or try again after the service's daily maintenance.",
        ) from None
    rows = body.get("Table", []) if isinstance(body, dict) else None
    if not isinstance(rows, list) or not all(isinstance(row, list) for row in rows):
        raise SourceFormatError(name, "the JSON is not a reply of the soil data service.", "")
    return rows


def _error_words(text: str) -> str:
    found = _EXCEPTION.search(text)
    words = re.sub(r"<[^>]+>", " ", found.group(1) if found else text)
    return " ".join(words.split())[:300] or "an empty page."


def _are_names(row: Sequence[object]) -> bool:
    known = {word for spec in TABLES.values() for word in (spec.key, *spec.signature)}
    cells = [str(cell).casefold() for cell in row if isinstance(cell, str)]
    identifiers = all(re.fullmatch(r"[a-z_][a-z0-9_]*", cell) for cell in cells)
    return len(cells) == len(row) and identifiers and bool(known & set(cells))


def _text_frame(rows: Iterable[Sequence[object]], names: Sequence[str]) -> pd.DataFrame:
    text = [["" if cell is None else str(cell).strip() for cell in row] for row in rows]
    frame = table_frame(text, [name.strip().casefold() for name in names])
    return frame.loc[:, ~frame.columns.duplicated()]


def _assign(path: Path, frame: pd.DataFrame) -> dict[str, pd.DataFrame]:
    stem = path.stem.casefold()
    if stem in TABLES:
        return {stem: keep_wanted_rules(stem, frame)}
    found = {
        table: keep_wanted_rules(table, _distinct(frame, spec.key))
        for table, spec in TABLES.items()
        if set(spec.signature) <= set(frame.columns)
    }
    if not found:
        raise SourceFormatError(
            str(path),
            "neither its name nor its columns tell which soil table it is.",
            f"Name it after its table, one of: {', '.join(TABLES)}.",
        )
    return found


def _distinct(frame: pd.DataFrame, key: str) -> pd.DataFrame:
    if key not in frame:
        return frame.drop_duplicates(ignore_index=True)
    return frame.dropna(subset=[key]).drop_duplicates(subset=[key], ignore_index=True)


def _empty_file(path: Path) -> Defect:
    return Defect(_layer_of(path), "", "file empty", path.name, "", "file skipped")


def _layer_of(path: Path) -> str:
    return CANONICAL_LAYER.get(path.stem.casefold(), "soil_mapunits")
