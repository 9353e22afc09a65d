"""The outcome log by itself: added to by many at once, never changed, in both databases."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest

from riskmap.contract.errors import RiskmapError, SourceFormatError
from riskmap.contract.visits import PERSONAL, QUESTIONS, VISIT_KEYS
from riskmap.outcomes.log import LogState, Recording, add, history, log_state, visits

WRITER = """
import sys
from pathlib import Path
import pandas as pd
from riskmap.outcomes.log import Recording, add
place, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
if "dbname" not in place:
    place = Path(place)
for number in range(count):
    rows = pd.DataFrame([{"parcel_id": f"{name}-{number}-{row}", "visit": "list", "cell": "A1",
                          "run": "r", "visited_on": "2026-07-01", "visited_by": name,
                          "found": "sound"} for row in range(5)])
    assert add(place, [Recording(f"{name}.xlsx", "0", name, rows)]) == [5]
"""
TIMES = 20
POSTGRES = Path("/usr/lib/postgresql")


def rows(*answers: dict[str, object]) -> pd.DataFrame:
    plain = {"visit": "list", "cell": "A2", "run": "r", "visited_on": "2026-07-01",
             "visited_by": "AB", "found": "sound", "longitude": -87.5,
             "latitude": 43.5}  # fmt: skip
    return pd.DataFrame([plain | answer for answer in answers])


def recording(*answers: dict[str, object], by: str = "me") -> Recording:
    return Recording("list.xlsx", "ab", by, rows(*answers))


@pytest.fixture(scope="module")
def postgres(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server of its own, started for these tests and stopped after them."""
    programs = sorted(POSTGRES.glob("*/bin")) if POSTGRES.is_dir() else []
    if not programs or not (programs[-1] / "initdb").exists():
        pytest.skip("no PostgreSQL server is installed (Debian: postgresql-postgis)")
    here = programs[-1]
    version = here.parent.name
    if not list(Path(f"/usr/share/postgresql/{version}/extension").glob("postgis.control")):
        pytest.skip("PostGIS is not installed (Debian: postgresql-postgis)")
    if shutil.which("setpriv") is None:
        pytest.skip("the server cannot be started as another user than root")
    place = Path("/tmp") / f"riskmap-pg-{tmp_path_factory.getbasetemp().name}"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    shutil.chown(place, "postgres", "postgres")

    def run(*words: str) -> None:
        subprocess.run([*map(str, words)], check=True, user="postgres", capture_output=True)

    data = place / "data"
    run(str(here / "initdb"), "-D", str(data), "-A", "trust", "-U", "postgres", "-E", "UTF8")
    options = f"-k {place} -h ''"
    control = str(here / "pg_ctl")
    run(control, "-D", str(data), "-o", options, "-l", str(place / "log"), "-w", "start")
    try:
        yield f"host={place} dbname=postgres user=postgres"
    finally:
        run(control, "-D", str(data), "-m", "immediate", "stop")
        shutil.rmtree(place, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgres"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Path | str:
    if request.param == "sqlite":
        return tmp_path / "outcomes.sqlite"
    import psycopg

    address: str = request.getfixturevalue("postgres")
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute("DROP SCHEMA IF EXISTS riskmap CASCADE")
    return address


class TestBoth:
    def test_nothing_was_ever_recorded(self, place: Path | str) -> None:
        assert log_state(place) is None

    def test_what_goes_in_comes_out(self, place: Path | str) -> None:
        told = {"parcel_id": "1", "ponding_cm": 12.5, "well_sampled": True, "telephone": "555-0101",
                "notes": "gate; \"quote\" 'é 你"}  # fmt: skip
        assert add(place, [recording(told), recording({"parcel_id": "2"}, by="you")]) == [1, 1]
        table = visits(place)
        assert table["parcel_id"].tolist() == ["1", "2"]
        assert table["ponding_cm"].tolist()[0] == 12.5
        assert table["well_sampled"].tolist()[0] is True
        assert table["well_sampled"].isna().tolist() == [False, True]
        assert table["notes"].tolist()[0] == told["notes"]
        assert table["visited_on"].tolist() == [pd.Timestamp("2026-07-01")] * 2
        assert table["recorded_by"].tolist() == ["me", "you"]
        assert not set(PERSONAL) & set(table)
        state = log_state(place)
        assert state is not None
        assert (state.place, state.entries) == (place, 2)

    def test_recorded_again_nothing_is_added(self, place: Path | str) -> None:
        add(place, [recording({"parcel_id": "1"})])
        assert add(place, [recording({"parcel_id": "1"}, {"parcel_id": "2"})]) == [1]
        assert len(history(place)) == 2

    def test_the_later_answer_counts_and_the_earlier_stays(self, place: Path | str) -> None:
        add(place, [recording({"parcel_id": "1", "found": "failed"})])
        state = log_state(place)
        add(place, [recording({"parcel_id": "1", "found": "sound"})])
        assert visits(place)["found"].tolist() == ["sound"]
        assert history(place)["found"].tolist() == ["failed", "sound"]
        assert state is not None
        assert state.entries == 1

    def test_all_or_nothing(self, place: Path | str) -> None:
        add(place, [recording({"parcel_id": "1"})])
        bad = Recording("b.xlsx", "cd", "me", rows({"parcel_id": None}))
        with pytest.raises(RiskmapError, match="othing was recorded"):
            add(place, [recording({"parcel_id": "2"}), bad])
        assert visits(place)["parcel_id"].tolist() == ["1"]

    def test_the_database_refuses_to_change_or_delete(self, place: Path | str) -> None:
        add(place, [recording({"parcel_id": "1"})])
        for change in ("UPDATE visits SET found = 'failed'", "DELETE FROM visits"):
            with pytest.raises(Exception, match="only added to"):
                run_sql(place, change)
        assert visits(place)["found"].tolist() == ["sound"]

    def test_what_is_said_about_people_can_be_deleted(self, place: Path | str) -> None:
        add(place, [recording({"parcel_id": "1", "telephone": "555-0101", "consent": True})])
        assert run_sql(place, "SELECT telephone FROM people") == [("555-0101",)]
        run_sql(place, "DELETE FROM people")
        assert run_sql(place, "SELECT count(*) FROM people") == [(0,)]
        assert len(visits(place)) == 1

    def test_an_older_log_gets_new_columns(self, place: Path | str) -> None:
        add(place, [recording({"parcel_id": "1"})])
        run_sql(place, "ALTER TABLE visits DROP COLUMN sketch")
        assert visits(place)["sketch"].isna().all()
        add(place, [recording({"parcel_id": "2", "sketch": "drawn"})])
        assert visits(place)["sketch"].tolist() == [None, "drawn"]

    def test_two_who_record_at_once_lose_nothing(self, place: Path | str) -> None:
        words = [[sys.executable, "-c", WRITER, str(place), name, str(TIMES)] for name in "ab"]
        writers = [subprocess.Popen(one, stderr=subprocess.PIPE, text=True) for one in words]
        said = [writer.communicate(timeout=300)[1] for writer in writers]
        assert [writer.returncode for writer in writers] == [0, 0], said
        told = visits(place)
        assert len(told) == 2 * TIMES * 5
        assert told["parcel_id"].is_unique
        assert told["recorded_by"].value_counts().to_dict() == {"a": TIMES * 5, "b": TIMES * 5}


def run_sql(place: Path | str, statement: str) -> list[tuple[object, ...]]:
    if isinstance(place, Path):
        with sqlite3.connect(place) as connection:
            return connection.execute(statement).fetchall()
    import psycopg

    with psycopg.connect(place) as connection:
        connection.execute("SET search_path TO riskmap, public")
        done = connection.execute(statement)
        return done.fetchall() if done.description else []


class TestServer:
    def test_visits_are_points_that_a_map_program_reads(self, postgres: str) -> None:
        add(postgres, [recording({"parcel_id": "9"})])
        ((text,),) = run_sql(
            postgres, "SELECT ST_AsText(place) FROM visits WHERE parcel_id = '9' LIMIT 1"
        )
        assert text == "POINT(-87.5 43.5)"

    def test_no_server_is_one_sentence(self, tmp_path: Path) -> None:
        with pytest.raises(RiskmapError, match="outcome log on the server") as told:
            add(f"host={tmp_path} dbname=none", [recording({"parcel_id": "1"})])
        assert "\n" not in str(told.value)

    def test_a_password_is_not_repeated(self, tmp_path: Path) -> None:
        with pytest.raises(RiskmapError) as told:
            log_state(f"host={tmp_path} dbname=none password=secret")
        assert "secret" not in str(told.value)


class TestFile:
    def test_another_database_is_no_log(self, tmp_path: Path) -> None:
        path = tmp_path / "other.sqlite"
        with sqlite3.connect(path) as connection:
            connection.execute("CREATE TABLE wells (a)")
        assert log_state(path) is None

    def test_a_broken_log_is_said(self, tmp_path: Path) -> None:
        path = tmp_path / "outcomes.sqlite"
        add(path, [recording(*({"parcel_id": str(n)} for n in range(200)))])
        content = bytearray(path.read_bytes())
        content[5000:20000] = b"\xff" * 15000
        path.write_bytes(content)
        with pytest.raises(SourceFormatError, match="no outcome log"):
            visits(path)

    def test_a_folder_that_may_not_be_written(self, tmp_path: Path) -> None:
        with pytest.raises(RiskmapError, match="cannot be opened"):
            add(tmp_path / "none" / "outcomes.sqlite", [recording({"parcel_id": "1"})])

    def test_a_killed_writer_leaves_nothing_half(self, tmp_path: Path) -> None:
        path = tmp_path / "outcomes.sqlite"
        add(path, [recording({"parcel_id": "1"})])
        program = (
            "import os, sys\nfrom pathlib import Path\nfrom riskmap.outcomes import log\n"
            "from tests.outcomes.test_log import recording\n"
            "add_one = log._add_one\n"
            "def die(base, one):\n    add_one(base, one)\n    os._exit(9)\n"
            "log._add_one = die\nlog.add(Path(sys.argv[1]), [recording({'parcel_id': '2'})])\n"
        )
        done = subprocess.run([sys.executable, "-c", program, str(path)], check=False)
        assert done.returncode == 9
        assert visits(path)["parcel_id"].tolist() == ["1"]
        assert add(path, [recording({"parcel_id": "2"})]) == [1]


def test_every_question_has_a_column(tmp_path: Path) -> None:
    path = tmp_path / "outcomes.sqlite"
    add(path, [recording({"parcel_id": "1"})])
    there = {row[1] for row in run_sql(path, "PRAGMA table_info(visits)")}
    people = {row[1] for row in run_sql(path, "PRAGMA table_info(people)")}
    assert {column.name for column in (*VISIT_KEYS, *QUESTIONS)} <= there | people
    assert isinstance(log_state(path), LogState)
