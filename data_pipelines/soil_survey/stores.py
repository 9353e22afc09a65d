"""The survey's tables from SQLite, from CSV and from replies of the soil data web service.

The web service answers a query by POST with JSON: ``{"Table": [[names], [metadata], [row], ...]}``;
names and metadata only if asked for. An empty result is ``{}``. A fault comes as an XML
ServiceException, and in the maintenance window as plain text.
"""

from __future__ import annotations

import json
import re
import sqlite3
import time
from collections.abc import Iterable, Sequence
from contextlib import closing
from pathlib import Path
from typing import Final

import pandas as pd

from data_pipelines.soil_survey.defects import Defect
from data_pipelines.soil_survey.records import parse_records, read_text, refuse_cut, sign_of
from data_pipelines.soil_survey.schema import (
    RULE_WORDS,
    TABLES,
    RawSource,
    keep_wanted_rules,
    short_name,
)
from data_pipelines.soil_survey.tables import bad_rows, table_frame
from riskmap.contract.errors import SourceFormatError

SQLITE_SUFFIXES: Final = (".sqlite", ".sqlite3", ".gpkg", ".db")
_METADATA_MARK: Final = "columnordinal="
_EXCEPTION: Final = re.compile(r"<ServiceException[^>]*>(.*?)</ServiceException>", re.S | re.I)
_NAMES_CURE: Final = "Ask the service for the format JSON+COLUMNNAME."
MOST_REPLY_ROWS: Final = 100_000
"""The soil data web service gives no more rows than this in one reply (its own documentation)."""
MOST_STORE_ROWS: Final = 3_000_000
MOST_QUERY_S: Final = 60.0
"""A table of a store that is longer, or takes longer, is not one of a county's soil survey."""


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
            end = time.monotonic() + MOST_QUERY_S
            database.set_progress_handler(lambda: time.monotonic() > end, 100_000)
            listed = database.execute(
                "select name from sqlite_master where type in ('table','view')"
            )
            present = {name.casefold(): name for (name,) in listed}
            tables = {
                table: _query_table(database, table, present[table], path)
                for table in TABLES
                if table in present
            }
    except sqlite3.DatabaseError as error:
        raise SourceFormatError(
            short_name(path),
            f"cannot be read as SQLite ({error}).",
            "Check the file or leave it out.",
        ) from error
    source = RawSource(short_name(path), tables)
    if not source.is_empty:
        return source
    empty = Defect("soil_mapunits", "", "store empty", path.name, "", "store skipped")
    return RawSource(short_name(path), {}, (empty,))


def _query_table(database: sqlite3.Connection, table: str, name: str, path: Path) -> pd.DataFrame:
    quoted = '"' + name.replace('"', '""') + '"'
    where, values = "", []
    columns = [row[1] for row in database.execute(f"pragma table_info({quoted})")]
    if table == "cointerp" and "mrulename" in [column.casefold() for column in columns]:
        where, values = " where lower(mrulename) like ?", [f"%{RULE_WORDS}%"]
    cursor = database.execute(f"select * from {quoted}{where}", values)
    names = [entry[0] for entry in cursor.description]
    rows = cursor.fetchmany(MOST_STORE_ROWS + 1)
    if len(rows) > MOST_STORE_ROWS:
        raise SourceFormatError(
            short_name(path),
            f"table {name} has more than {MOST_STORE_ROWS:,} rows.",
            "Cut the store down to the county's survey areas.",
        )
    return _text_frame(rows, names)


def read_csv(path: Path) -> RawSource:
    """Read one CSV file with a header; its table is told by its name, else by its columns.

    Fields may be parted by commas, semicolons, tabs or bars.
    """
    text, odd_encoding = read_text(path)
    rows, bad = parse_records(text, sign=sign_of(text))
    refuse_cut(text, bad, path)
    if not rows:
        return RawSource(short_name(path), {}, (_empty_file(path),))
    tables = _assign(path, _text_frame(rows[1:], rows[0]))
    first = next(iter(tables))
    defects = bad_rows(bad, first, path) + _repeated_names(rows[0], first, path)
    if odd_encoding:
        place = short_name(path)
        action = "read as Windows-1252"
        defects.append(Defect(TABLES[first].layer, "", "not UTF-8", place, "", action))
    return RawSource(short_name(path), tables, tuple(defects))


def _repeated_names(names: Sequence[str], table: str, path: Path) -> list[Defect]:
    folded = [name.strip().casefold() for name in names]
    again = dict.fromkeys(name for n, name in enumerate(folded) if name in folded[:n])
    return [
        Defect(
            TABLES[table].layer, "", "column twice", short_name(path), name, "first column read"
        )
        for name in again
    ]  # fmt: skip


def read_reply(path: Path) -> RawSource:
    """Read one reply of the web service kept as a file; several tables may be joined in it.

    An empty reply in a file named after a table says that the table has no rows.
    """
    frame = parse_reply(read_text(path)[0], name=short_name(path))
    stem = path.stem.casefold()
    if len(frame.columns):
        return RawSource(short_name(path), _assign(path, frame))
    if stem in TABLES:
        return RawSource(short_name(path), {stem: table_frame([], [TABLES[stem].key])})
    return RawSource(short_name(path), {}, (_empty_file(path),))


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
    if any(isinstance(cell, list | dict) for row in rows for cell in row):
        raise SourceFormatError(name, "a cell holds a list.", "Fetch the reply again.")
    if len(rows) >= MOST_REPLY_ROWS:
        raise SourceFormatError(
            name,
            f"the reply has {len(rows):,} rows, the most that the service gives: it may be cut.",
            "Ask for one survey area or one table at a time.",
        )
    return _text_frame(rows, names)


def _reply_rows(text: str, name: str) -> list[list[object]]:
    try:
        body = json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise SourceFormatError(
            name,
            f"the soil data service answered with an error: {_error_words(text)}",
            "Correct the query, or try again after the service's daily maintenance.",
        ) from None
    rows = body.get("Table", None if body else []) if isinstance(body, dict) else None
    if not isinstance(rows, list) or not all(isinstance(row, list) for row in rows):
        raise SourceFormatError(
            name, "the JSON is not a whole reply of the soil data service.", "Fetch it again."
        )
    return rows


def _no_number(word: str) -> None:
    """Refuse NaN and Infinity, which are no JSON."""
    raise ValueError(word)


def _error_words(text: str) -> str:
    found = _EXCEPTION.search(text)
    words = re.sub(r"<[^>]+>", " ", found.group(1) if found else text)
    return " ".join(words.split())[:300] or "an empty page."


def _are_names(row: Sequence[object]) -> bool:
    known = {field.source for spec in TABLES.values() for field in spec.fields}
    cells = [str(cell).casefold() for cell in row if isinstance(cell, str)]
    identifiers = all(re.fullmatch(r"[a-z_][a-z0-9_]*", cell) for cell in cells)
    return len(cells) == len(row) and identifiers and bool(known & set(cells))


def _text_frame(rows: Iterable[Sequence[object]], names: Sequence[str]) -> pd.DataFrame:
    text = [[_text_of(cell) for cell in row] for row in rows]
    frame = table_frame(text, [name.strip().casefold() for name in names])
    return frame.loc[:, ~frame.columns.duplicated()]


def _text_of(cell: object) -> str:
    if isinstance(cell, bytes):
        return cell.decode("utf-8", errors="replace")
    return "" if cell is None else str(cell).strip()


def _assign(path: Path, frame: pd.DataFrame) -> dict[str, pd.DataFrame]:
    stem = path.stem.casefold()
    if stem in TABLES:
        if not {field.source for field in TABLES[stem].fields} & set(frame.columns):
            raise SourceFormatError(
                short_name(path),
                f"none of its columns is one of table {stem}.",
                "Check the file's first line, or name the file after its table.",
            )
        return {stem: keep_wanted_rules(stem, frame)}
    told = [name for name, spec in TABLES.items() if set(spec.signature) <= set(frame.columns)]
    found = {
        table: keep_wanted_rules(
            table, frame if len(told) == 1 else _distinct(frame, TABLES[table].key)
        )
        for table in told
    }
    if not found:
        raise SourceFormatError(
            short_name(path),
            "neither its name nor its columns tell which soil table it is.",
            f"Name it after its table, one of: {', '.join(TABLES)}.",
        )
    return found


def _distinct(frame: pd.DataFrame, key: str) -> pd.DataFrame:
    if key not in frame:
        return frame.drop_duplicates(ignore_index=True)
    return frame.dropna(subset=[key]).drop_duplicates(subset=[key], ignore_index=True)


def _empty_file(path: Path) -> Defect:
    spec = TABLES.get(path.stem.casefold(), TABLES["mapunit"])
    return Defect(spec.layer, "", "file empty", short_name(path), "", "file skipped")
