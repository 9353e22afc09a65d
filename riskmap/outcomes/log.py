"""The outcome log: visits as they were recorded, in SQLite or in PostgreSQL with PostGIS.

Entries are only added; the database itself refuses to change or delete them. A visit that is
recorded again with another answer is a correction: both entries stay, the later one counts. Letters
and what came back of them are kept in the same way. What
is said about people (:data:`riskmap.contract.visits.PERSONAL`) is in a table of its own, from
which it can be deleted.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import uuid
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Literal

import pandas as pd

from riskmap.contract.columns import Column
from riskmap.contract.errors import OutputError, RiskmapError, SourceFormatError
from riskmap.contract.letters import LETTER_COLUMNS
from riskmap.contract.visits import PERSONAL, QUESTIONS, SAME_VISIT, VISIT_KEYS, VISIT_PLACE
from riskmap.outcomes import server

WAIT_S: Final = 60.0
"""How long one who records waits for another who is recording."""
RUN: Final = "run"
ANSWERS: Final = tuple(c for c in (*VISIT_KEYS, *QUESTIONS) if c.name not in PERSONAL)
COLUMNS: Final = (*ANSWERS, *VISIT_PLACE)
OF_THE_ENTRY: Final = ("entry", "recording", "cell", RUN, "fingerprint")
LAYER: Final = "outcome log"

_NEWEST_LETTERS: Final = """
SELECT l.* FROM letters l
WHERE NOT EXISTS (SELECT 1 FROM letters later
                  WHERE later.entry > l.entry AND later.reference = l.reference)
ORDER BY l.entry
"""
_TYPES: Final = {"number": "double precision", "flag": "boolean"}
_NEWEST: Final = """
SELECT v.*, r.recorded_at, r.recorded_by, r.file FROM visits v
JOIN recordings r ON r.recording = v.recording
WHERE NOT EXISTS (SELECT 1 FROM visits later WHERE later.entry > v.entry AND {same})
ORDER BY v.entry
""".format(same=" AND ".join(f"later.{name} = v.{name}" for name in SAME_VISIT))


@dataclass(frozen=True)
class LogState:
    """An outcome log as a run finds it: where it is, how many entries and letters it has.

    ``file`` is None for a log on a server, whose connection string is ``server`` then.
    """

    file: Path | None
    server: str
    entries: int
    letters: int = 0

    @property
    def place(self) -> Path | str:
        """Where the log is, as the functions here take it."""
        return self.file or self.server


@dataclass(frozen=True)
class Recording:
    """One file about to be recorded: its rows, and who records it.

    ``rows`` are visits with a column per answer (dates as ISO text), ``cell``, :data:`RUN`, and
    the coordinates of the lot; or, where ``of`` says so, letters with the columns of
    :data:`riskmap.contract.letters.LETTER_COLUMNS`, ``cell`` and :data:`RUN`.
    """

    file: str
    sha256: str
    recorded_by: str
    rows: pd.DataFrame
    of: Literal["visits", "letters"] = "visits"


def log_state(place: Path | str) -> LogState | None:
    """Look whether there is a log and how far it goes; None where nothing was ever recorded.

    Raises
    ------
    SourceFormatError
        If what is there is no outcome log.
    RiskmapError
        If the server cannot be reached.
    """
    if isinstance(place, Path) and not place.exists():
        return None
    with _opened(place, write=False) as base:
        if not base.has("visits"):
            return None
        entries, sent = (
            int(base.rows(f"SELECT coalesce(max(entry), 0) FROM {table}")[0][0])
            if base.has(table)
            else 0
            for table in ("visits", "letters")
        )
    if isinstance(place, Path):
        return LogState(place, "", entries, sent)
    return LogState(None, place, entries, sent)


def add(place: Path | str, recordings: Sequence[Recording]) -> list[int]:
    """Add recordings to the log, all or none; returns how many rows of each were new.

    Visits and letters that are in the log already, answer for answer, are left out.

    Raises
    ------
    OutputError
        If the log cannot be written: the disk is full, or another program holds it too long.
    """
    with _opened(place, write=True) as base:
        base.create(_tables())
        base.add_columns("visits", [(c.name, _type(c)) for c in COLUMNS])
        base.add_columns("letters", [(c.name, _type(c)) for c in LETTER_COLUMNS.values()])
        return [_add_one(base, recording) for recording in recordings]


def visits(place: Path | str, *, up_to: int | None = None) -> pd.DataFrame:
    """Return the visits that count: of each the latest entry, without what is said about people.

    Returns
    -------
    DataFrame
        Columns :data:`COLUMNS` and :data:`OF_THE_ENTRY`, ``recorded_at``, ``recorded_by``,
        ``file``; dates are timestamps. `up_to` leaves out later entries.
    """
    with _opened(place, write=False) as base:
        names, rows = base.table(_NEWEST)
    table = _typed(pd.DataFrame(rows, columns=names), COLUMNS)
    return table if up_to is None else table[table["entry"] <= up_to].reset_index(drop=True)


def letters(place: Path | str | None, *, up_to: int | None = None) -> pd.DataFrame:
    """Return the letters that were sent: of each the latest entry; empty where there is no log.

    `up_to` leaves out later entries.
    """
    names: list[str] = []
    rows: list[Any] = []
    if isinstance(place, str) or (place is not None and place.exists()):
        with _opened(place, write=False) as base:
            if base.has("letters"):
                names, rows = base.table(_NEWEST_LETTERS)
    table = _typed(pd.DataFrame(rows, columns=names), tuple(LETTER_COLUMNS.values()))
    return table if up_to is None else table[table["entry"] <= up_to].reset_index(drop=True)


def _typed(table: pd.DataFrame, columns: Sequence[Column]) -> pd.DataFrame:
    for column in columns:
        if column.name not in table:
            table[column.name] = None
        if column.dtype == "date":
            table[column.name] = pd.to_datetime(table[column.name]).astype("datetime64[ns]")
        elif column.dtype == "number":
            table[column.name] = table[column.name].astype("float64")
        elif column.dtype == "flag":
            table[column.name] = table[column.name].astype("boolean")
    return table


def history(place: Path | str) -> pd.DataFrame:
    """Return every entry, also those that a later one corrects, with who recorded it and when."""
    with _opened(place, write=False) as base:
        names, rows = base.table(
            "SELECT v.*, r.recorded_at, r.recorded_by, r.file FROM visits v "
            "JOIN recordings r ON r.recording = v.recording ORDER BY v.entry"
        )
    return pd.DataFrame(rows, columns=names)


def _type(column: Column) -> str:
    return _TYPES.get(column.dtype, "text")


def _tables() -> list[str]:
    answers = ", ".join(f"{c.name} {_type(c)}{'' if c.nullable else ' NOT NULL'}" for c in COLUMNS)
    people = ", ".join(f"{c.name} {_type(c)}" for c in QUESTIONS if c.name in PERSONAL)
    of_letters = ", ".join(f"{c.name} {_type(c)}" for c in LETTER_COLUMNS.values())
    return [
        "CREATE TABLE IF NOT EXISTS recordings (recording text PRIMARY KEY, "
        "recorded_at text NOT NULL, recorded_by text NOT NULL, file text NOT NULL, "
        "sha256 text NOT NULL)",
        "CREATE TABLE IF NOT EXISTS visits (entry {serial}, recording text NOT NULL REFERENCES "
        f"recordings, cell text NOT NULL, {RUN} text NOT NULL, {answers}, "
        "fingerprint text NOT NULL UNIQUE)",
        f"CREATE TABLE IF NOT EXISTS people (fingerprint text PRIMARY KEY, {people})",
        "CREATE TABLE IF NOT EXISTS letters (entry {serial}, recording text NOT NULL REFERENCES "
        f"recordings, cell text NOT NULL, {RUN} text NOT NULL, {of_letters}, "
        "fingerprint text NOT NULL UNIQUE)",
    ]


def _add_one(base: _Base, recording: Recording) -> int:
    name, new = uuid.uuid4().hex, 0
    now = datetime.now(UTC).isoformat(timespec="seconds")
    told = COLUMNS if recording.of == "visits" else tuple(LETTER_COLUMNS.values())
    columns = ("recording", "cell", RUN, *(c.name for c in told), "fingerprint")
    people = ("fingerprint", *PERSONAL)
    head = (name, now, recording.recorded_by, recording.file, recording.sha256)
    base.insert("recordings", ("recording", "recorded_at", "recorded_by", "file", "sha256"), head)
    answers = (*VISIT_KEYS, *QUESTIONS) if recording.of == "visits" else told
    for row in recording.rows.to_dict("records"):
        plain = {str(key): _plain(value) for key, value in row.items()}
        mark = _fingerprint(plain, answers)
        entry = {**plain, "recording": name, "fingerprint": mark}
        if not base.insert(recording.of, columns, [entry.get(column) for column in columns]):
            continue
        new += 1
        if recording.of == "visits" and any(entry.get(c) is not None for c in PERSONAL):
            base.insert("people", people, [entry.get(column) for column in people])
    if not new:
        base.run("DELETE FROM recordings WHERE recording = ?", (name,))
    return new


def _plain(value: object) -> Any:
    """Return a value that both databases take; nothing for what is missing."""
    if value is None or value is pd.NA or value is pd.NaT or value != value:
        return None
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    return value.item() if hasattr(value, "item") else value


def _fingerprint(row: Mapping[str, Any], answers: Sequence[Column]) -> str:
    """Hash of all that was answered, by which the same row recorded twice is known."""
    told = [row.get(column.name) for column in answers]
    return hashlib.sha256(json.dumps(told, ensure_ascii=False).encode()).hexdigest()


class _Base:
    """One connection in one transaction; the statements are the same for both databases."""

    serial = "integer PRIMARY KEY AUTOINCREMENT"
    sign = "?"

    def __init__(self, connection: Any) -> None:
        self.connection = connection

    def run(self, statement: str, values: Sequence[object] = ()) -> Any:
        return self.connection.execute(statement.replace("?", self.sign), tuple(values))

    def rows(self, statement: str) -> list[Any]:
        return list(self.run(statement).fetchall())

    def table(self, statement: str) -> tuple[list[str], list[Any]]:
        found = self.run(statement)
        return [column[0] for column in found.description], list(found.fetchall())

    def insert(self, table: str, columns: Sequence[str], values: Sequence[object]) -> bool:
        marks = ", ".join("?" * len(columns))
        done = self.run(
            f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks}) ON CONFLICT DO NOTHING",
            values,
        )
        return int(done.rowcount) == 1

    def create(self, tables: Sequence[str]) -> None:
        for statement in tables:
            self.run(statement.replace("{serial}", self.serial))
        for table, name in (("visits", "keep"), ("letters", "keep_letters")):
            for change in ("UPDATE", "DELETE"):
                self.run(
                    f"CREATE TRIGGER IF NOT EXISTS {name}_{change.lower()} BEFORE {change} ON "
                    f"{table} BEGIN SELECT RAISE(ABORT, 'the outcome log is only added to'); END"
                )

    def has(self, table: str) -> bool:
        return table in self.columns_of("sqlite_schema", "name")

    def columns_of(self, table: str, name: str) -> set[str]:
        return {row[0] for row in self.rows(f"SELECT {name} FROM {table}")}

    def add_columns(self, table: str, columns: Sequence[tuple[str, str]]) -> None:
        there = self.columns_of(f"pragma_table_info('{table}')", "name")
        for name, kind in columns:
            if name not in there:
                self.run(f"ALTER TABLE {table} ADD COLUMN {name} {kind}")


class _Server(_Base):
    serial = "bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY"
    sign = "%s"

    def create(self, tables: Sequence[str]) -> None:
        for statement in (*server.FIRST, *tables, *server.LAST):
            self.run(statement.replace("{serial}", self.serial))

    def has(self, table: str) -> bool:
        return bool(self.rows(f"SELECT to_regclass('riskmap.{table}')")[0][0])

    def add_columns(self, table: str, columns: Sequence[tuple[str, str]]) -> None:
        for name, kind in columns:
            self.run(f"ALTER TABLE {table} ADD COLUMN IF NOT EXISTS {name} {kind}")


@contextmanager
def _opened(place: Path | str, *, write: bool) -> Iterator[_Base]:
    """Give a connection in a transaction; what fails is said in a sentence and undone."""
    if isinstance(place, str):
        with server.opened(place, write=write) as connection:
            yield _Server(connection)
        return
    fresh = not place.exists()
    try:
        with closing(_sqlite(place, write=write)) as connection:
            connection.execute("BEGIN IMMEDIATE" if write else "BEGIN")
            try:
                yield _Base(connection)
                connection.execute("COMMIT")
            except BaseException:
                with closing(connection.cursor()) as cursor:
                    if connection.in_transaction:
                        cursor.execute("ROLLBACK")
                raise
    except sqlite3.Error as error:
        raise _said(place, error, write=write) from error
    finally:
        if fresh and place.exists() and place.stat().st_size == 0:
            place.unlink()


def _sqlite(place: Path, *, write: bool) -> sqlite3.Connection:
    if write:
        return sqlite3.connect(place, timeout=WAIT_S, isolation_level=None)
    address = f"{place.resolve().as_uri()}?mode=ro"
    return sqlite3.connect(address, timeout=WAIT_S, isolation_level=None, uri=True)


def _said(place: Path, error: sqlite3.Error, *, write: bool) -> RiskmapError:
    what = str(error)
    if "full" in what:
        what = "the disk is full"
    elif "locked" in what or "busy" in what:
        what = "another program has held it for a minute"
    elif "readonly" in what or "unable to open" in what:
        what = "it cannot be opened: the folder or the file may not be written to"
    elif not write or "not a database" in what or "malformed" in what:
        return SourceFormatError(
            LAYER,
            f"{place.name} is no outcome log ({what}).",
            "Put a copy of the log in its place, or name another file as log in [season].",
        )
    return OutputError(f"{place}: {what}. Nothing was recorded. Cure that and record again.")
