"""The outcome log on a county's server: PostgreSQL with PostGIS, reached by psycopg."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

from riskmap.contract.errors import OutputError, RiskmapError

LOCK: Final = 7_201_311
"""Number of the lock under which tables are made, so that two do not make them at once."""

FIRST: Final = (
    f"SELECT pg_advisory_xact_lock({LOCK})",
    "CREATE SCHEMA IF NOT EXISTS riskmap",
    "CREATE EXTENSION IF NOT EXISTS postgis",
)
LAST: Final = (
    "ALTER TABLE visits ADD COLUMN IF NOT EXISTS place geometry(Point, 4326) GENERATED ALWAYS AS "
    "(ST_SetSRID(ST_MakePoint(longitude, latitude), 4326)) STORED",
    "CREATE INDEX IF NOT EXISTS visits_place ON visits USING gist (place)",
    "CREATE OR REPLACE FUNCTION keep() RETURNS trigger LANGUAGE plpgsql AS "
    "'BEGIN RAISE EXCEPTION ''the outcome log is only added to''; END'",
    "CREATE OR REPLACE TRIGGER keep_visits BEFORE UPDATE OR DELETE ON visits "
    "FOR EACH ROW EXECUTE FUNCTION keep()",
    "CREATE OR REPLACE TRIGGER keep_letters BEFORE UPDATE OR DELETE ON letters "
    "FOR EACH ROW EXECUTE FUNCTION keep()",
)
"""What the server needs besides the tables: points for maps, and that nothing is changed."""


@contextmanager
def opened(address: str, *, write: bool) -> Iterator[Any]:
    """Give a connection in one transaction, in the schema ``riskmap``.

    Raises
    ------
    OutputError
        With what the server says, in one sentence; nothing is recorded then.
    """
    try:
        import psycopg
    except ImportError as error:
        raise RiskmapError(
            'The outcome log is on a server, for which psycopg is needed: pip install "riskmap'
            '[server]".'
        ) from error
    try:
        with psycopg.connect(address, connect_timeout=20) as connection:
            connection.read_only = not write
            connection.execute("SET search_path TO riskmap, public")
            yield connection
    except psycopg.Error as error:
        said = " ".join(str(error).split()) or type(error).__name__
        what = "Nothing was recorded. " if write else ""
        raise OutputError(
            f"The outcome log on the server: {said.rstrip('.')}. {what}Cure that and try again."
        ) from error
